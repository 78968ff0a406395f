-- +goose Up
-- A request is answered from the record that its write has left, found by these two columns. The table request keeps copies of the
-- answers that can no longer be made so, or never could, and those of the schema before this one.
ALTER TABLE record
    ADD COLUMN request text COLLATE "C", -- of the write that has left the record as it is, if it had one and did nothing else
    ADD COLUMN hash    bytea;            -- of that request
CREATE UNIQUE INDEX record_request ON record (studio, request) WHERE request IS NOT NULL;

-- A tile of two layers is a little larger than what PostgreSQL begins to compress. Its own way of doing so takes longer than all else of the
-- writing, LZ4 a tenth of that. Where the server was built without, it stays as it was.
-- +goose StatementBegin
DO $$
BEGIN
    ALTER TABLE record ALTER COLUMN data SET COMPRESSION lz4;
EXCEPTION WHEN feature_not_supported THEN
    NULL;
END
$$;
-- +goose StatementEnd
