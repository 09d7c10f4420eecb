-- +goose Up

-- Reminders are looked at once more before they are sent. One that is not needed any
-- more says why it is not sent.
ALTER TABLE letters ADD COLUMN reminds TEXT REFERENCES invoices (id) ON DELETE RESTRICT;
ALTER TABLE letters ADD COLUMN reminds_open INTEGER NOT NULL DEFAULT 0 CHECK (reminds_open >= 0);
ALTER TABLE letters ADD COLUMN dropped TEXT NOT NULL DEFAULT '';

-- +goose StatementBegin
CREATE TRIGGER letters_keep_reminds BEFORE UPDATE OF reminds, reminds_open ON letters
BEGIN
  SELECT RAISE(ABORT, 'a letter is never changed');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER letters_keep_dropped BEFORE UPDATE OF dropped, sent_at ON letters
WHEN OLD.dropped <> '' AND (NEW.dropped <> OLD.dropped OR NEW.sent_at <> OLD.sent_at) OR NEW.dropped <> '' AND NEW.sent_at <> ''
BEGIN
  SELECT RAISE(ABORT, 'a letter is sent or not sent for ever');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER reminders_keep_update BEFORE UPDATE ON reminders
BEGIN
  SELECT RAISE(ABORT, 'reminders is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER reminders_keep_delete BEFORE DELETE ON reminders
BEGIN
  SELECT RAISE(ABORT, 'reminders is append-only');
END;
-- +goose StatementEnd
