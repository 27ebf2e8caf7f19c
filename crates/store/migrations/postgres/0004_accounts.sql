-- Who is signed in by what; failures of names that nobody has, which are forgotten after a while; refused attempts that
-- are counted to be told as one event.
ALTER TABLE session ADD COLUMN which TEXT NOT NULL DEFAULT 'code';
ALTER TABLE secret ADD COLUMN tried_ms BIGINT NOT NULL DEFAULT 0;
CREATE TABLE attempt (
    name TEXT NOT NULL,
    asked TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    times BIGINT NOT NULL,
    PRIMARY KEY (name, asked)
);
