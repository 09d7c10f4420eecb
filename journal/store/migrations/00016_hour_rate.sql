-- +goose Up

-- What an hour costs on stages agreed by time and materials; 0: what the shop takes
-- on the day it is logged.
ALTER TABLE terms ADD COLUMN hour_rate INTEGER NOT NULL DEFAULT 0 CHECK (hour_rate >= 0);
