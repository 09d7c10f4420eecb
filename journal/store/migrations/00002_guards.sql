-- +goose Up

-- Append-only tables. They need recursive_triggers, which the program sets and
-- checks: without it INSERT OR REPLACE would delete a row unseen.

-- +goose StatementBegin
CREATE TRIGGER events_keep_update BEFORE UPDATE ON events
BEGIN
  SELECT RAISE(ABORT, 'events is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER events_keep_delete BEFORE DELETE ON events
BEGIN
  SELECT RAISE(ABORT, 'events is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revisions_keep_update BEFORE UPDATE ON revisions
BEGIN
  SELECT RAISE(ABORT, 'revisions is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revisions_keep_delete BEFORE DELETE ON revisions
BEGIN
  SELECT RAISE(ABORT, 'revisions is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revision_photos_keep_update BEFORE UPDATE ON revision_photos
BEGIN
  SELECT RAISE(ABORT, 'revision_photos is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revision_photos_keep_delete BEFORE DELETE ON revision_photos
BEGIN
  SELECT RAISE(ABORT, 'revision_photos is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER decisions_keep_update BEFORE UPDATE ON decisions
BEGIN
  SELECT RAISE(ABORT, 'decisions is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER decisions_keep_delete BEFORE DELETE ON decisions
BEGIN
  SELECT RAISE(ABORT, 'decisions is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER invoices_keep_update BEFORE UPDATE ON invoices
BEGIN
  SELECT RAISE(ABORT, 'invoices is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER invoices_keep_delete BEFORE DELETE ON invoices
BEGIN
  SELECT RAISE(ABORT, 'invoices is append-only');
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
CREATE TRIGGER payments_keep_update BEFORE UPDATE ON payments
BEGIN
  SELECT RAISE(ABORT, 'payments is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER payments_keep_delete BEFORE DELETE ON payments
BEGIN
  SELECT RAISE(ABORT, 'payments is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_edits_keep_update BEFORE UPDATE ON entry_edits
BEGIN
  SELECT RAISE(ABORT, 'entry_edits is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_edits_keep_delete BEFORE DELETE ON entry_edits
BEGIN
  SELECT RAISE(ABORT, 'entry_edits is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER turns_keep_update BEFORE UPDATE ON turns
BEGIN
  SELECT RAISE(ABORT, 'turns is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER turns_keep_delete BEFORE DELETE ON turns
BEGIN
  SELECT RAISE(ABORT, 'turns is append-only');
END;
-- +goose StatementEnd

-- A photo's row is never removed, and what is known of its original is fixed.

-- +goose StatementBegin
CREATE TRIGGER photos_keep_delete BEFORE DELETE ON photos
BEGIN
  SELECT RAISE(ABORT, 'photos is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER photos_keep_original BEFORE UPDATE OF added, id, build_id, sha256, bytes ON photos
BEGIN
  SELECT RAISE(ABORT, 'an original is never changed');
END;
-- +goose StatementEnd

-- What was sent stays as it was sent.

-- +goose StatementBegin
CREATE TRIGGER letters_keep_delete BEFORE DELETE ON letters
BEGIN
  SELECT RAISE(ABORT, 'letters is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER letters_keep_text BEFORE UPDATE OF added, id, build_id, person_id, address, name, subject, text, created_at ON letters
BEGIN
  SELECT RAISE(ABORT, 'a letter is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER letter_files_keep_update BEFORE UPDATE ON letter_files
BEGIN
  SELECT RAISE(ABORT, 'letter_files is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER letter_files_keep_delete BEFORE DELETE ON letter_files
BEGIN
  SELECT RAISE(ABORT, 'letter_files is append-only');
END;
-- +goose StatementEnd

-- photos.places is the number of entries a photo is in; photos.showings is the
-- number of places where the owner's side sees it: standing entries for the
-- owner too, and revisions of papers that were sent and not taken back. They
-- make counting and finding loose photos quick in a build of thousands; who may
-- see a photo is decided without them.

-- +goose StatementBegin
CREATE TRIGGER entry_photos_add AFTER INSERT ON entry_photos
BEGIN
  UPDATE photos SET places = places + 1,
    showings = showings + (SELECT audience = 'owner too' AND withdrawn_at = '' FROM entries WHERE id = NEW.entry_id)
  WHERE id = NEW.photo_id;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_photos_drop AFTER DELETE ON entry_photos
BEGIN
  UPDATE photos SET places = places - 1,
    showings = showings - (SELECT audience = 'owner too' AND withdrawn_at = '' FROM entries WHERE id = OLD.entry_id)
  WHERE id = OLD.photo_id;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_photos_keep BEFORE UPDATE ON entry_photos
BEGIN
  SELECT RAISE(ABORT, 'photos are put into an entry and taken out, not moved');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_show AFTER UPDATE OF audience, withdrawn_at ON entries
WHEN (NEW.audience = 'owner too' AND NEW.withdrawn_at = '') <> (OLD.audience = 'owner too' AND OLD.withdrawn_at = '')
BEGIN
  UPDATE photos SET showings = showings + iif(NEW.audience = 'owner too' AND NEW.withdrawn_at = '', 1, -1)
  WHERE id IN (SELECT photo_id FROM entry_photos WHERE entry_id = NEW.id);
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revision_photos_add AFTER INSERT ON revision_photos
BEGIN
  UPDATE photos SET showings = showings + (SELECT state IN ('sent', 'signed', 'declined') FROM papers WHERE id = NEW.paper_id)
  WHERE id = NEW.photo_id;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER papers_show AFTER UPDATE OF state ON papers
WHEN (NEW.state IN ('sent', 'signed', 'declined')) <> (OLD.state IN ('sent', 'signed', 'declined'))
BEGIN
  UPDATE photos SET showings = showings + iif(NEW.state IN ('sent', 'signed', 'declined'), 1, -1)
    * (SELECT count(*) FROM revision_photos rp WHERE rp.paper_id = NEW.id AND rp.photo_id = photos.id)
  WHERE id IN (SELECT photo_id FROM revision_photos WHERE paper_id = NEW.id);
END;
-- +goose StatementEnd

-- A trigger in place of a CHECK, because it can be replaced.

-- +goose StatementBegin
CREATE TRIGGER builds_state_insert BEFORE INSERT ON builds
WHEN NEW.state NOT IN ('scoping', 'agreed', 'delivered')
BEGIN
  SELECT RAISE(ABORT, 'unknown state of a build');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER builds_state_update BEFORE UPDATE OF state ON builds
WHEN NEW.state NOT IN ('scoping', 'agreed', 'delivered')
BEGIN
  SELECT RAISE(ABORT, 'unknown state of a build');
END;
-- +goose StatementEnd

-- Numbers without gaps; only the last revision is decided, and once decided
-- there is no other; a reversal undoes exactly one payment.

-- +goose StatementBegin
CREATE TRIGGER events_gapless BEFORE INSERT ON events
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM events)
BEGIN
  SELECT RAISE(ABORT, 'events are numbered without gaps');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revisions_gapless BEFORE INSERT ON revisions
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM revisions WHERE paper_id = NEW.paper_id)
BEGIN
  SELECT RAISE(ABORT, 'revisions are numbered without gaps');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revisions_undecided BEFORE INSERT ON revisions
WHEN EXISTS (SELECT 1 FROM decisions WHERE paper_id = NEW.paper_id)
BEGIN
  SELECT RAISE(ABORT, 'a decided paper has no further revision');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER decisions_on_last BEFORE INSERT ON decisions
WHEN NEW.revision IS NOT (SELECT max(number) FROM revisions WHERE paper_id = NEW.paper_id)
BEGIN
  SELECT RAISE(ABORT, 'only the last revision can be decided');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER payments_reversal BEFORE INSERT ON payments
WHEN NEW.reverses_id IS NOT NULL AND NOT EXISTS (
  SELECT 1 FROM payments p
  WHERE p.id = NEW.reverses_id AND p.build_id = NEW.build_id AND p.invoice_id IS NEW.invoice_id AND p.amount = -NEW.amount
)
BEGIN
  SELECT RAISE(ABORT, 'a reversal undoes one payment of the same build and invoice');
END;
-- +goose StatementEnd
