-- Determinations that take no readings any more, folded: so that thousands are read at once. Where one has no row, or one of
-- another form, its events are read.

CREATE TABLE fold (
    node TEXT NOT NULL PRIMARY KEY,
    form BIGINT NOT NULL,
    body TEXT NOT NULL
);

-- With how it rests, so that what rests on a thing is found in the index alone.
DROP INDEX edge_up;
CREATE INDEX edge_up ON edge (on_what, at_ms, what, how);
