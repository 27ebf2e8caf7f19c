-- The record. The table event is the truth; all else is made from it and can be made again.

CREATE TABLE event (
    number BIGINT NOT NULL PRIMARY KEY,
    stream TEXT NOT NULL,
    stream_version BIGINT NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    hash TEXT NOT NULL,
    UNIQUE (stream, stream_version)
);

CREATE TRIGGER event_stays BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'an event is never changed'); END;
CREATE TRIGGER event_is_kept BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'an event is never deleted'); END;

-- One row: the end of the chain. Who locks it writes next.
CREATE TABLE chain_end (
    one SMALLINT NOT NULL PRIMARY KEY,
    number BIGINT NOT NULL,
    hash TEXT NOT NULL,
    at_ms BIGINT NOT NULL
);
INSERT INTO chain_end VALUES (1, 0, '0000000000000000000000000000000000000000000000000000000000000000', 0);

-- Projections.

CREATE TABLE command_taken (
    command_key TEXT NOT NULL PRIMARY KEY,
    first_event BIGINT NOT NULL,
    last_event BIGINT NOT NULL
);

CREATE TABLE thing (
    node TEXT NOT NULL PRIMARY KEY,
    kind TEXT NOT NULL,
    name TEXT NOT NULL,
    title TEXT NOT NULL,
    status TEXT NOT NULL,
    who TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    since TEXT NOT NULL,
    changed_ms BIGINT NOT NULL,
    version BIGINT NOT NULL,
    use_before TEXT,
    own_use_before TEXT,
    result TEXT,
    usable SMALLINT
);
CREATE INDEX thing_by_time ON thing (kind, since_ms, node);
CREATE INDEX thing_by_person ON thing (kind, who, since_ms, node);
CREATE INDEX thing_by_status ON thing (kind, status, since_ms, node);

CREATE TABLE edge (
    what TEXT NOT NULL,
    on_what TEXT NOT NULL,
    how TEXT NOT NULL,
    at_ms BIGINT NOT NULL,
    PRIMARY KEY (what, on_what, how)
);
CREATE INDEX edge_up ON edge (on_what, at_ms, what);

CREATE TABLE finding (
    determination TEXT NOT NULL,
    code TEXT NOT NULL,
    at_ms BIGINT NOT NULL,
    PRIMARY KEY (determination, code)
);
CREATE INDEX finding_by_code ON finding (code, at_ms, determination);

CREATE TABLE result (
    determination TEXT NOT NULL,
    place BIGINT NOT NULL,
    of_what TEXT NOT NULL,
    name TEXT NOT NULL,
    unit TEXT NOT NULL,
    value DOUBLE PRECISION NOT NULL,
    standard_uncertainty DOUBLE PRECISION NOT NULL,
    expanded_uncertainty DOUBLE PRECISION NOT NULL,
    coverage_factor DOUBLE PRECISION NOT NULL,
    conforms SMALLINT,
    at_ms BIGINT NOT NULL,
    PRIMARY KEY (determination, place)
);
CREATE INDEX result_of ON result (of_what, at_ms, determination);

CREATE TABLE scatter (
    determination TEXT NOT NULL,
    place BIGINT NOT NULL,
    plan TEXT NOT NULL,
    who TEXT NOT NULL,
    burette TEXT NOT NULL,
    relative DOUBLE PRECISION NOT NULL,
    degrees_of_freedom DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (determination, place)
);
CREATE INDEX scatter_by_plan ON scatter (plan, who, burette);

CREATE TABLE word (
    word TEXT NOT NULL,
    node TEXT NOT NULL,
    at_ms BIGINT NOT NULL,
    PRIMARY KEY (word, at_ms, node)
);

CREATE TABLE notice (
    number BIGINT NOT NULL,
    person TEXT NOT NULL,
    node TEXT NOT NULL,
    text TEXT NOT NULL,
    at_ms BIGINT NOT NULL,
    PRIMARY KEY (number, person)
);
CREATE INDEX notice_of ON notice (person, number);

CREATE TABLE unsettled (
    number BIGINT NOT NULL PRIMARY KEY
);

-- What is no event: files, secrets, sessions.

CREATE TABLE attachment (
    sha256 TEXT NOT NULL PRIMARY KEY,
    bytes BLOB NOT NULL
);

CREATE TABLE secret (
    person TEXT NOT NULL,
    which TEXT NOT NULL,
    hash TEXT NOT NULL,
    failures BIGINT NOT NULL,
    locked_until_ms BIGINT NOT NULL,
    PRIMARY KEY (person, which)
);

CREATE TABLE session (
    token_hash TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL,
    device TEXT NOT NULL,
    started_ms BIGINT NOT NULL,
    used_ms BIGINT NOT NULL,
    ends_ms BIGINT NOT NULL
);
CREATE INDEX session_of ON session (person);
