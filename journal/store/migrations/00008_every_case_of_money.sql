-- +goose NO TRANSACTION
-- +goose Up

-- All of it is one transaction of our own, because the two CHECKs near the end are
-- changed as sqlite.org/lang_altertable.html describes for changes that do not
-- touch what is stored ("Making Other Kinds Of Table Schema Changes"), so that no
-- table that others refer to is rebuilt.
BEGIN IMMEDIATE;

ALTER TABLE terms ADD COLUMN holdback_cap TEXT NOT NULL DEFAULT '';
ALTER TABLE terms ADD COLUMN mark_up INTEGER NOT NULL DEFAULT 0;
ALTER TABLE terms ADD COLUMN bill_days TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(bill_days));
ALTER TABLE terms ADD COLUMN late_asks INTEGER NOT NULL DEFAULT 0 CHECK (late_asks IN (0, 1));
ALTER TABLE terms ADD COLUMN transport TEXT NOT NULL DEFAULT '';
ALTER TABLE terms ADD COLUMN deliver_to TEXT NOT NULL DEFAULT '';

ALTER TABLE shop ADD COLUMN reminder_days TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(reminder_days));

ALTER TABLE stages ADD COLUMN metered INTEGER NOT NULL DEFAULT 0 CHECK (metered IN (0, 1));
ALTER TABLE stages ADD COLUMN dropped_by TEXT REFERENCES papers (id) ON DELETE RESTRICT;

ALTER TABLE builds ADD COLUMN stopped_on TEXT NOT NULL DEFAULT '' CHECK (length(stopped_on) IN (0, 10));
DROP TRIGGER builds_state_insert;
DROP TRIGGER builds_state_update;
-- +goose StatementBegin
CREATE TRIGGER builds_state_insert BEFORE INSERT ON builds
WHEN NEW.state NOT IN ('scoping', 'agreed', 'delivered', 'stopped')
BEGIN
  SELECT RAISE(ABORT, 'unknown state of a build');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER builds_state_update BEFORE UPDATE OF state ON builds
WHEN NEW.state NOT IN ('scoping', 'agreed', 'delivered', 'stopped')
BEGIN
  SELECT RAISE(ABORT, 'unknown state of a build');
END;
-- +goose StatementEnd

-- Work logged on stages; a wrong one is taken back by another.
CREATE TABLE work (
  added       INTEGER PRIMARY KEY,
  id          TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id    TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id    TEXT NOT NULL,
  kind        TEXT NOT NULL CHECK (kind IN ('labour', 'parts', 'outside')),
  day         TEXT NOT NULL CHECK (length(day) = 10),
  text        TEXT NOT NULL,
  person_id   TEXT REFERENCES people (id) ON DELETE RESTRICT,
  minutes     INTEGER NOT NULL,
  rate        INTEGER NOT NULL CHECK (rate >= 0),
  cost        INTEGER NOT NULL,
  mark_up     INTEGER NOT NULL CHECK (mark_up BETWEEN 0 AND 10000),
  amount      INTEGER NOT NULL,
  file_name   TEXT NOT NULL,
  file_sha256 TEXT NOT NULL CHECK (file_sha256 = '' OR length(file_sha256) = 64),
  takes_back  TEXT UNIQUE REFERENCES work (id) ON DELETE RESTRICT,
  reason      TEXT NOT NULL,
  by_id       TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at          TEXT NOT NULL CHECK (length(at) = 30),
  CHECK (takes_back IS NOT NULL OR amount >= 0),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX work_of_build ON work (build_id, added);

-- +goose StatementBegin
CREATE TRIGGER work_takes_back BEFORE INSERT ON work
WHEN NEW.takes_back IS NOT NULL AND NOT EXISTS (
  SELECT 1 FROM work w
  WHERE w.id = NEW.takes_back AND w.build_id = NEW.build_id AND w.stage_id = NEW.stage_id AND w.kind = NEW.kind
    AND w.minutes = -NEW.minutes AND w.amount = -NEW.amount AND w.takes_back IS NULL
)
BEGIN
  SELECT RAISE(ABORT, 'what takes back work has its opposite figures');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER work_keep_update BEFORE UPDATE ON work
BEGIN
  SELECT RAISE(ABORT, 'work is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER work_keep_delete BEFORE DELETE ON work
BEGIN
  SELECT RAISE(ABORT, 'work is append-only');
END;
-- +goose StatementEnd

-- Suppliers' invoices of logged work.
CREATE TABLE work_files (
  work_id      TEXT PRIMARY KEY NOT NULL REFERENCES work (id) ON DELETE RESTRICT,
  name         TEXT NOT NULL,
  content_type TEXT NOT NULL,
  sha256       TEXT NOT NULL CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
  data         BLOB NOT NULL
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER work_files_keep_update BEFORE UPDATE ON work_files
BEGIN
  SELECT RAISE(ABORT, 'work_files is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER work_files_keep_delete BEFORE DELETE ON work_files
BEGIN
  SELECT RAISE(ABORT, 'work_files is append-only');
END;
-- +goose StatementEnd

-- Which reminders of which invoices went out.
CREATE TABLE reminders (
  invoice_id TEXT NOT NULL REFERENCES invoices (id) ON DELETE RESTRICT,
  step       INTEGER NOT NULL,
  at         TEXT NOT NULL CHECK (length(at) = 30),
  PRIMARY KEY (invoice_id, step)
) STRICT, WITHOUT ROWID;

-- Money on account, money sent back, and one sum for several invoices.
ALTER TABLE payments ADD COLUMN receipt_id TEXT NOT NULL DEFAULT '';
ALTER TABLE payments ADD COLUMN on_account INTEGER NOT NULL DEFAULT 0 CHECK (on_account IN (0, 1) AND (on_account = 0 OR invoice_id IS NULL));
ALTER TABLE payments ADD COLUMN refund INTEGER NOT NULL DEFAULT 0 CHECK (refund IN (0, 1) AND (refund = 0 OR invoice_id IS NULL));
DROP TRIGGER payments_reversal;
-- +goose StatementBegin
CREATE TRIGGER payments_reversal BEFORE INSERT ON payments
WHEN NEW.reverses_id IS NOT NULL AND NOT EXISTS (
  SELECT 1 FROM payments p
  WHERE p.id = NEW.reverses_id AND p.build_id = NEW.build_id AND p.invoice_id IS NEW.invoice_id AND p.amount = -NEW.amount
    AND p.on_account = NEW.on_account AND p.refund = NEW.refund AND p.reverses_id IS NULL
)
BEGIN
  SELECT RAISE(ABORT, 'a reversal undoes one payment of the same build and invoice');
END;
-- +goose StatementEnd

PRAGMA writable_schema = ON;
UPDATE sqlite_schema SET sql = replace(sql,
  'CHECK (amount > 0 OR amount < 0 AND reverses_id IS NOT NULL)',
  'CHECK (amount > 0 OR amount < 0 AND (reverses_id IS NOT NULL OR refund = 1))')
WHERE type = 'table' AND name = 'payments';
UPDATE sqlite_schema SET sql = replace(sql,
  '''date change'', ''delivery acceptance'')',
  '''date change'', ''delivery acceptance'', ''early stop'')')
WHERE type = 'table' AND name = 'papers';
PRAGMA writable_schema = RESET;
COMMIT;
