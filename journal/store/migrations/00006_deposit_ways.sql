-- +goose Up

-- What two of the ways of crediting a deposit need: its share of each invoice,
-- and the floor at which it is filled up again.
ALTER TABLE terms ADD COLUMN deposit_share INTEGER NOT NULL DEFAULT 0;
ALTER TABLE terms ADD COLUMN refill_floor INTEGER NOT NULL DEFAULT 0;
