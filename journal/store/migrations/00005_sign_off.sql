-- +goose Up

-- A stage that takes the truck apart opens only with a signed authorization.
ALTER TABLE stages ADD COLUMN teardown INTEGER NOT NULL DEFAULT 0 CHECK (teardown IN (0, 1));

-- Where papers go that are printed and posted.
ALTER TABLE people ADD COLUMN postal_address TEXT NOT NULL DEFAULT '';

-- The signed paper that named a delegate, and who ended a membership.
ALTER TABLE members ADD COLUMN paper_id TEXT REFERENCES papers (id) ON DELETE RESTRICT;
ALTER TABLE members ADD COLUMN ended_by TEXT REFERENCES people (id) ON DELETE RESTRICT;

-- What came back by post: the signed sheet as it was scanned.
CREATE TABLE scans (
  id           TEXT PRIMARY KEY NOT NULL CHECK (id <> ''),
  paper_id     TEXT NOT NULL,
  revision     INTEGER NOT NULL,
  name         TEXT NOT NULL,
  content_type TEXT NOT NULL,
  sha256       TEXT NOT NULL CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
  data         BLOB NOT NULL,
  by_id        TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at           TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (paper_id, revision) REFERENCES revisions (paper_id, number) ON DELETE RESTRICT
) STRICT;

-- How a decision was made, where not by the person on the paper's page.
ALTER TABLE decisions ADD COLUMN manner TEXT NOT NULL DEFAULT 'on its page' CHECK (manner IN ('on its page', 'by phone', 'on paper'));
ALTER TABLE decisions ADD COLUMN happened_at TEXT NOT NULL DEFAULT '' CHECK (length(happened_at) IN (0, 30));
ALTER TABLE decisions ADD COLUMN recorded_by TEXT REFERENCES people (id) ON DELETE RESTRICT;
ALTER TABLE decisions ADD COLUMN phone TEXT NOT NULL DEFAULT ''; -- the number called
ALTER TABLE decisions ADD COLUMN spoke_with TEXT NOT NULL DEFAULT ''; -- who spoke for the shop
ALTER TABLE decisions ADD COLUMN scan_id TEXT REFERENCES scans (id) ON DELETE RESTRICT;
ALTER TABLE decisions ADD COLUMN passkey TEXT NOT NULL DEFAULT '' CHECK (passkey = '' OR json_valid(passkey));

-- What the owner says to a paper that was agreed by phone.
CREATE TABLE confirmations (
  paper_id      TEXT PRIMARY KEY NOT NULL REFERENCES decisions (paper_id) ON DELETE RESTRICT,
  outcome       TEXT NOT NULL CHECK (outcome IN ('confirmed', 'disputed')),
  person_id     TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  typed_name    TEXT NOT NULL,
  sentence      TEXT NOT NULL,
  text          TEXT NOT NULL, -- of a dispute
  at            TEXT NOT NULL CHECK (length(at) = 30),
  authenticated TEXT NOT NULL,
  address       TEXT NOT NULL,
  user_agent    TEXT NOT NULL
) STRICT;

-- Papers to be printed and posted to one person.
CREATE TABLE postings (
  paper_id  TEXT NOT NULL,
  revision  INTEGER NOT NULL,
  person_id TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at        TEXT NOT NULL CHECK (length(at) = 30),
  posted_on TEXT NOT NULL CHECK (length(posted_on) IN (0, 10)),
  posted_by TEXT REFERENCES people (id) ON DELETE RESTRICT,
  CHECK ((posted_on = '') = (posted_by IS NULL)),
  PRIMARY KEY (paper_id, revision, person_id),
  FOREIGN KEY (paper_id, revision) REFERENCES revisions (paper_id, number) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

-- Passkeys (WebAuthn credentials) of owners and delegates.
CREATE TABLE passkeys (
  id         TEXT PRIMARY KEY NOT NULL CHECK (id <> ''), -- base64url of the credential id
  person_id  TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  name       TEXT NOT NULL,
  credential TEXT NOT NULL CHECK (json_valid(credential)),
  added_at   TEXT NOT NULL CHECK (length(added_at) = 30),
  used_at    TEXT NOT NULL CHECK (length(used_at) IN (0, 30)),
  ended_at   TEXT NOT NULL CHECK (length(ended_at) IN (0, 30))
) STRICT;

CREATE INDEX passkeys_of_person ON passkeys (person_id, added_at);

-- Ceremonies under way: what was asked of the browser, for a few minutes.
CREATE TABLE passkey_asks (
  token_hash TEXT PRIMARY KEY NOT NULL CHECK (token_hash <> ''),
  person_id  TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  subject    TEXT NOT NULL, -- '' when a passkey is added; else the act it confirms
  data       TEXT NOT NULL CHECK (json_valid(data)),
  expires_at TEXT NOT NULL CHECK (length(expires_at) = 30)
) STRICT;

-- Standing allowances, each set by a signed paper.
CREATE TABLE allowances (
  added     INTEGER PRIMARY KEY,
  id        TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id  TEXT NOT NULL,
  paper_id  TEXT NOT NULL UNIQUE,
  per_find  INTEGER NOT NULL CHECK (per_find > 0),
  per_month INTEGER NOT NULL CHECK (per_month >= per_find),
  from_at   TEXT NOT NULL CHECK (length(from_at) = 30),
  ended_at  TEXT NOT NULL CHECK (length(ended_at) IN (0, 30)),
  ended_by  TEXT REFERENCES people (id) ON DELETE RESTRICT,
  UNIQUE (build_id, id),
  FOREIGN KEY (build_id, paper_id) REFERENCES papers (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE UNIQUE INDEX allowances_in_force ON allowances (build_id) WHERE ended_at = '';

CREATE TABLE allowance_uses (
  added        INTEGER PRIMARY KEY,
  id           TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id     TEXT NOT NULL,
  allowance_id TEXT NOT NULL,
  number       INTEGER NOT NULL CHECK (number >= 1),
  entry_id     TEXT NOT NULL, -- the find
  stage_id     TEXT NOT NULL,
  title        TEXT NOT NULL,
  reason       TEXT NOT NULL,
  lines        TEXT NOT NULL CHECK (json_valid(lines)),
  photos       TEXT NOT NULL CHECK (json_valid(photos)),
  amount       INTEGER NOT NULL, -- before tax
  tax          INTEGER NOT NULL,
  month        TEXT NOT NULL CHECK (length(month) = 7), -- the shop's calendar month it counts in
  by_id        TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at           TEXT NOT NULL CHECK (length(at) = 30),
  CHECK (amount + tax > 0),
  UNIQUE (build_id, number),
  UNIQUE (build_id, id),
  FOREIGN KEY (build_id, allowance_id) REFERENCES allowances (build_id, id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, entry_id) REFERENCES entries (build_id, id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE TABLE use_photos (
  use_id   TEXT NOT NULL,
  build_id TEXT NOT NULL,
  photo_id TEXT NOT NULL,
  PRIMARY KEY (use_id, photo_id),
  FOREIGN KEY (build_id, use_id) REFERENCES allowance_uses (build_id, id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, photo_id) REFERENCES photos (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

CREATE INDEX use_photos_by_photo ON use_photos (photo_id);

-- Finds that are somebody's property.
CREATE TABLE belongings (
  entry_id TEXT PRIMARY KEY NOT NULL,
  build_id TEXT NOT NULL,
  what     TEXT NOT NULL CHECK (what <> ''),
  asked_by TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  asked_at TEXT NOT NULL CHECK (length(asked_at) = 30),
  done_by  TEXT REFERENCES people (id) ON DELETE RESTRICT,
  done_at  TEXT NOT NULL CHECK (length(done_at) IN (0, 30)),
  CHECK ((done_at = '') = (done_by IS NULL)),
  FOREIGN KEY (build_id, entry_id) REFERENCES entries (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE TABLE belonging_answers (
  entry_id      TEXT NOT NULL REFERENCES belongings (entry_id) ON DELETE RESTRICT,
  number        INTEGER NOT NULL CHECK (number >= 1),
  answer        TEXT NOT NULL CHECK (answer IN ('keep', 'ship', 'discard')),
  note          TEXT NOT NULL,
  person_id     TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at            TEXT NOT NULL CHECK (length(at) = 30),
  authenticated TEXT NOT NULL,
  address       TEXT NOT NULL,
  user_agent    TEXT NOT NULL,
  PRIMARY KEY (entry_id, number)
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER scans_keep_update BEFORE UPDATE ON scans
BEGIN
  SELECT RAISE(ABORT, 'scans is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER scans_keep_delete BEFORE DELETE ON scans
BEGIN
  SELECT RAISE(ABORT, 'scans is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER confirmations_keep_update BEFORE UPDATE ON confirmations
BEGIN
  SELECT RAISE(ABORT, 'confirmations is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER confirmations_keep_delete BEFORE DELETE ON confirmations
BEGIN
  SELECT RAISE(ABORT, 'confirmations is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER allowance_uses_keep_update BEFORE UPDATE ON allowance_uses
BEGIN
  SELECT RAISE(ABORT, 'allowance_uses is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER allowance_uses_keep_delete BEFORE DELETE ON allowance_uses
BEGIN
  SELECT RAISE(ABORT, 'allowance_uses is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER use_photos_keep_update BEFORE UPDATE ON use_photos
BEGIN
  SELECT RAISE(ABORT, 'use_photos is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER use_photos_keep_delete BEFORE DELETE ON use_photos
BEGIN
  SELECT RAISE(ABORT, 'use_photos is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER belonging_answers_keep_update BEFORE UPDATE ON belonging_answers
BEGIN
  SELECT RAISE(ABORT, 'belonging_answers is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER belonging_answers_keep_delete BEFORE DELETE ON belonging_answers
BEGIN
  SELECT RAISE(ABORT, 'belonging_answers is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER allowances_keep BEFORE UPDATE OF added, id, build_id, paper_id, per_find, per_month, from_at ON allowances
BEGIN
  SELECT RAISE(ABORT, 'an allowance is ended, not changed');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER allowances_keep_ended BEFORE UPDATE ON allowances
WHEN OLD.ended_at <> ''
BEGIN
  SELECT RAISE(ABORT, 'an ended allowance stays ended');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER allowances_keep_delete BEFORE DELETE ON allowances
BEGIN
  SELECT RAISE(ABORT, 'an allowance is ended, not removed');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER postings_keep BEFORE UPDATE OF paper_id, revision, person_id, at ON postings
BEGIN
  SELECT RAISE(ABORT, 'a posting is marked as posted, not changed');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER postings_keep_posted BEFORE UPDATE ON postings
WHEN OLD.posted_on <> ''
BEGIN
  SELECT RAISE(ABORT, 'a posted paper stays posted');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER postings_keep_delete BEFORE DELETE ON postings
BEGIN
  SELECT RAISE(ABORT, 'postings are kept');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER belongings_keep BEFORE UPDATE OF entry_id, build_id, what, asked_by, asked_at ON belongings
BEGIN
  SELECT RAISE(ABORT, 'a belonging is answered, not changed');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER belongings_keep_delete BEFORE DELETE ON belongings
BEGIN
  SELECT RAISE(ABORT, 'belongings are kept');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER belonging_answers_gapless BEFORE INSERT ON belonging_answers
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM belonging_answers WHERE entry_id = NEW.entry_id)
BEGIN
  SELECT RAISE(ABORT, 'answers are numbered without gaps');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER use_photos_add AFTER INSERT ON use_photos
BEGIN
  UPDATE photos SET showings = showings + 1 WHERE id = NEW.photo_id;
END;
-- +goose StatementEnd
