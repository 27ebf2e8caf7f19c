-- Whose a thing is, beside its name, so that a list of very many reads few rows; and the solutions that rest on a thing. The
-- lists are made again from the events when a record of an older layout is opened.
CREATE UNIQUE INDEX thing_whose ON thing (node, kind, who);
CREATE INDEX edge_bottle ON edge (on_what, what) WHERE what >= 'solution/' AND what < 'solution0';
