-- +goose Up
-- A request is answered from the record that its write has left, found by these two columns. The table request keeps copies of the
-- answers that can no longer be made so, or never could, and those of the schema before this one.
ALTER TABLE record ADD COLUMN request TEXT; -- of the write that has left the record as it is, if it had one and did nothing else
ALTER TABLE record ADD COLUMN hash    BLOB; -- of that request
CREATE UNIQUE INDEX record_request ON record (studio, request) WHERE request IS NOT NULL;
