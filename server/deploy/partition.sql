-- Splits the two large tables by studio into 16 parts each, within one PostgreSQL (14 or newer). Run it on a schema that has just been
-- migrated, while no server runs. Every query of the server names the studio, or is the look-up of a key, so each goes to one part, but
-- for that look-up, which asks the small index of each.
--
--   catchline-server migrate --store postgres://...
--   psql -v ON_ERROR_STOP=1 --single-transaction -f server/deploy/partition.sql postgres://...
--
-- Later migrations alter the parents, and PostgreSQL passes that on to the parts.

ALTER TABLE record RENAME TO record_whole;
ALTER TABLE request RENAME TO request_whole;

CREATE TABLE record (LIKE record_whole INCLUDING COMPRESSION) PARTITION BY HASH (studio);
CREATE TABLE request (LIKE request_whole) PARTITION BY HASH (studio);

DO $$
BEGIN
    FOR i IN 0..15 LOOP
        EXECUTE format('CREATE TABLE record_%s PARTITION OF record FOR VALUES WITH (MODULUS 16, REMAINDER %s)', i, i);
        EXECUTE format('CREATE TABLE request_%s PARTITION OF request FOR VALUES WITH (MODULUS 16, REMAINDER %s)', i, i);
    END LOOP;
END
$$;

INSERT INTO record SELECT * FROM record_whole;
INSERT INTO request SELECT * FROM request_whole;
DROP TABLE record_whole, request_whole;

ALTER TABLE record ADD CONSTRAINT record_pkey PRIMARY KEY (studio, kind, parent, id);
CREATE UNIQUE INDEX record_sequence ON record (studio, kind, sequence);
CREATE UNIQUE INDEX record_request ON record (studio, request) WHERE request IS NOT NULL;
CREATE INDEX record_key ON record (id) WHERE kind = 'key';
ALTER TABLE request ADD CONSTRAINT request_pkey PRIMARY KEY (studio, id);
CREATE INDEX request_time ON request USING brin (time);
