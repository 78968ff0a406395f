-- +goose Up
-- Every key begins with the studio, and no foreign key leaves it, so that a distributed PostgreSQL can
-- shard all tables by that column, side by side. Text compares byte by byte, whatever the database's
-- own collation.
CREATE TABLE studio (
    studio   text    COLLATE "C" NOT NULL PRIMARY KEY,
    live     boolean NOT NULL, -- false once deleted; the row stays so that the sequence goes on
    sequence bigint  NOT NULL
) WITH (fillfactor = 50); -- room for the many updates of a row to stay on its page

INSERT INTO studio VALUES ('_', true, 0);

CREATE TABLE version (
    studio  text   COLLATE "C" NOT NULL,
    kind    text   COLLATE "C" NOT NULL,
    version bigint NOT NULL, -- sequence of the latest write to this kind
    number  bigint NOT NULL, -- last number given, for the kinds that are numbered
    PRIMARY KEY (studio, kind)
) WITH (fillfactor = 50);

CREATE TABLE record (
    studio   text   COLLATE "C" NOT NULL,
    kind     text   COLLATE "C" NOT NULL,
    parent   text   COLLATE "C" NOT NULL,
    id       text   COLLATE "C" NOT NULL,
    sequence bigint NOT NULL,
    labels   text   COLLATE "C" NOT NULL, -- each between two line feeds; empty if there is none
    data     bytea  NOT NULL,
    PRIMARY KEY (studio, kind, parent, id)
);
CREATE UNIQUE INDEX record_sequence ON record (studio, kind, sequence);
CREATE INDEX record_key ON record (id) WHERE kind = 'key';

CREATE TABLE request (
    studio text        COLLATE "C" NOT NULL,
    id     text        COLLATE "C" NOT NULL,
    hash   bytea       NOT NULL,
    answer bytea       NOT NULL,
    time   timestamptz NOT NULL,
    PRIMARY KEY (studio, id)
);
CREATE INDEX request_time ON request USING brin (time);
