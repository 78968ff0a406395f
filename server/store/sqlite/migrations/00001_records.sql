-- +goose Up
-- Every key begins with the studio.
CREATE TABLE studio (
    studio   TEXT    NOT NULL,
    live     INTEGER NOT NULL, -- 0 once deleted; the row stays so that the sequence goes on
    sequence INTEGER NOT NULL,
    PRIMARY KEY (studio)
) STRICT, WITHOUT ROWID;

INSERT INTO studio VALUES ('_', 1, 0);

CREATE TABLE version (
    studio  TEXT    NOT NULL,
    kind    TEXT    NOT NULL,
    version INTEGER NOT NULL, -- sequence of the latest write to this kind
    number  INTEGER NOT NULL, -- last number given, for the kinds that are numbered
    PRIMARY KEY (studio, kind)
) STRICT, WITHOUT ROWID;

-- In the order of the sequence, so that new rows go to the end of their studio and kind, and a scan
-- reads neighbouring pages.
CREATE TABLE record (
    studio   TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    sequence INTEGER NOT NULL,
    parent   TEXT    NOT NULL,
    id       TEXT    NOT NULL,
    data     BLOB    NOT NULL,
    PRIMARY KEY (studio, kind, sequence)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX record_name ON record (studio, kind, parent, id);
CREATE INDEX record_key ON record (id) WHERE kind = 'key';

CREATE TABLE label (
    studio   TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    label    TEXT    NOT NULL,
    sequence INTEGER NOT NULL,
    PRIMARY KEY (studio, kind, label, sequence)
) STRICT, WITHOUT ROWID;

-- With a rowid, which is the order in time, so that the oldest can be pruned without one more index.
CREATE TABLE request (
    studio TEXT    NOT NULL,
    id     TEXT    NOT NULL,
    hash   BLOB    NOT NULL,
    answer BLOB    NOT NULL,
    time   INTEGER NOT NULL -- microseconds since 1970
) STRICT;
CREATE UNIQUE INDEX request_id ON request (studio, id);
