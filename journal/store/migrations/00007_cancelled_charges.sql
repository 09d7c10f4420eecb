-- +goose Up

-- A charge can be billed again once a credit memo has taken its invoice back, so
-- it is billed a first, second ... time. Nothing refers to the table that is
-- replaced.
CREATE TABLE billed_times (
  build_id   TEXT NOT NULL,
  ref        TEXT NOT NULL CHECK (ref <> ''),
  time       INTEGER NOT NULL CHECK (time >= 1),
  invoice_id TEXT NOT NULL,
  PRIMARY KEY (build_id, ref, time),
  FOREIGN KEY (build_id, invoice_id) REFERENCES invoices (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

INSERT INTO billed_times (build_id, ref, time, invoice_id) SELECT build_id, ref, 1, invoice_id FROM billed_charges;
DROP TABLE billed_charges;
ALTER TABLE billed_times RENAME TO billed_charges;

-- What a credit memo has taken back.
CREATE TABLE cancelled_charges (
  build_id TEXT NOT NULL,
  ref      TEXT NOT NULL,
  time     INTEGER NOT NULL,
  memo_id  TEXT NOT NULL,
  PRIMARY KEY (build_id, ref, time),
  FOREIGN KEY (build_id, ref, time) REFERENCES billed_charges (build_id, ref, time) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, memo_id) REFERENCES invoices (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER billed_charges_once BEFORE INSERT ON billed_charges
WHEN NEW.time IS NOT (SELECT count(*) + 1 FROM cancelled_charges WHERE build_id = NEW.build_id AND ref = NEW.ref)
BEGIN
  SELECT RAISE(ABORT, 'a charge is billed once, and again only after it was taken back');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER billed_charges_keep_update BEFORE UPDATE ON billed_charges
BEGIN
  SELECT RAISE(ABORT, 'billed_charges is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER billed_charges_keep_delete BEFORE DELETE ON billed_charges
BEGIN
  SELECT RAISE(ABORT, 'billed_charges is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER cancelled_charges_keep_update BEFORE UPDATE ON cancelled_charges
BEGIN
  SELECT RAISE(ABORT, 'cancelled_charges is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER cancelled_charges_keep_delete BEFORE DELETE ON cancelled_charges
BEGIN
  SELECT RAISE(ABORT, 'cancelled_charges is append-only');
END;
-- +goose StatementEnd
