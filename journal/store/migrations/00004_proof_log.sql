-- +goose Up

-- The Merkle tree over events: each node by its place in the order in which
-- journal/prooflog gives them out. Nothing here is changed once written.
CREATE TABLE log_nodes (
  place INTEGER PRIMARY KEY CHECK (place >= 0),
  hash  BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;

CREATE TABLE log_keys (
  added  INTEGER PRIMARY KEY,
  public TEXT NOT NULL UNIQUE CHECK (public <> ''),
  size   INTEGER NOT NULL CHECK (size >= 0), -- entries in the log when the key was made
  why    TEXT NOT NULL,
  at     TEXT NOT NULL CHECK (length(at) = 30)
) STRICT;

CREATE TABLE checkpoints (
  size INTEGER PRIMARY KEY CHECK (size >= 1),
  note TEXT NOT NULL CHECK (note <> ''),
  at   TEXT NOT NULL CHECK (length(at) = 30)
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER log_nodes_gapless BEFORE INSERT ON log_nodes
WHEN NEW.place IS NOT (SELECT coalesce(max(place), -1) + 1 FROM log_nodes)
BEGIN
  SELECT RAISE(ABORT, 'nodes of the log are added in order');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER log_nodes_keep_update BEFORE UPDATE ON log_nodes
BEGIN
  SELECT RAISE(ABORT, 'log_nodes is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER log_nodes_keep_delete BEFORE DELETE ON log_nodes
BEGIN
  SELECT RAISE(ABORT, 'log_nodes is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER log_keys_keep_update BEFORE UPDATE ON log_keys
BEGIN
  SELECT RAISE(ABORT, 'log_keys is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER log_keys_keep_delete BEFORE DELETE ON log_keys
BEGIN
  SELECT RAISE(ABORT, 'log_keys is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checkpoints_keep_update BEFORE UPDATE ON checkpoints
BEGIN
  SELECT RAISE(ABORT, 'checkpoints is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER checkpoints_keep_delete BEFORE DELETE ON checkpoints
BEGIN
  SELECT RAISE(ABORT, 'checkpoints is append-only');
END;
-- +goose StatementEnd
