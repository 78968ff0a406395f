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
-- reads neighbouring pages. No index of labels: three labels a tile dirty three pages far apart, which
-- halves the rate of writing, and a list finds a page of them soon enough by looking at each row.
CREATE TABLE record (
    studio   TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    sequence INTEGER NOT NULL,
    parent   TEXT    NOT NULL,
    id       TEXT    NOT NULL,
    labels   TEXT    NOT NULL, -- each between two line feeds; empty if there is none
    data     BLOB    NOT NULL,
    PRIMARY KEY (studio, kind, sequence)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX record_name ON record (studio, kind, parent, id);
-- Not "kind = 'key'": SQLite would then prepare every statement with "kind = ?" anew for each value, to
-- see whether this index serves it.
CREATE INDEX record_key ON record (id) WHERE kind || '' = 'key';

-- With a rowid, which is the order in time, so that the oldest can be pruned without one more index.
CREATE TABLE request (
    studio TEXT    NOT NULL,
    id     TEXT    NOT NULL,
    hash   BLOB    NOT NULL,
    answer BLOB    NOT NULL,
    time   INTEGER NOT NULL -- microseconds since 1970
) STRICT;
CREATE UNIQUE INDEX request_id ON request (studio, id);
