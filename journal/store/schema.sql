-- What the migrations come to; written by: go test ./journal/store -run TestSchema -update

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

CREATE TRIGGER allowance_uses_keep_delete BEFORE DELETE ON allowance_uses
BEGIN
  SELECT RAISE(ABORT, 'allowance_uses is append-only');
END;

CREATE TRIGGER allowance_uses_keep_update BEFORE UPDATE ON allowance_uses
BEGIN
  SELECT RAISE(ABORT, 'allowance_uses is append-only');
END;

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

CREATE TRIGGER allowances_keep BEFORE UPDATE OF added, id, build_id, paper_id, per_find, per_month, from_at ON allowances
BEGIN
  SELECT RAISE(ABORT, 'an allowance is ended, not changed');
END;

CREATE TRIGGER allowances_keep_delete BEFORE DELETE ON allowances
BEGIN
  SELECT RAISE(ABORT, 'an allowance is ended, not removed');
END;

CREATE TRIGGER allowances_keep_ended BEFORE UPDATE ON allowances
WHEN OLD.ended_at <> ''
BEGIN
  SELECT RAISE(ABORT, 'an ended allowance stays ended');
END;

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

CREATE TRIGGER belonging_answers_gapless BEFORE INSERT ON belonging_answers
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM belonging_answers WHERE entry_id = NEW.entry_id)
BEGIN
  SELECT RAISE(ABORT, 'answers are numbered without gaps');
END;

CREATE TRIGGER belonging_answers_keep_delete BEFORE DELETE ON belonging_answers
BEGIN
  SELECT RAISE(ABORT, 'belonging_answers is append-only');
END;

CREATE TRIGGER belonging_answers_keep_update BEFORE UPDATE ON belonging_answers
BEGIN
  SELECT RAISE(ABORT, 'belonging_answers is append-only');
END;

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

CREATE TRIGGER belongings_keep BEFORE UPDATE OF entry_id, build_id, what, asked_by, asked_at ON belongings
BEGIN
  SELECT RAISE(ABORT, 'a belonging is answered, not changed');
END;

CREATE TRIGGER belongings_keep_delete BEFORE DELETE ON belongings
BEGIN
  SELECT RAISE(ABORT, 'belongings are kept');
END;

CREATE TABLE "billed_charges" (
  build_id   TEXT NOT NULL,
  ref        TEXT NOT NULL CHECK (ref <> ''),
  time       INTEGER NOT NULL CHECK (time >= 1),
  invoice_id TEXT NOT NULL,
  PRIMARY KEY (build_id, ref, time),
  FOREIGN KEY (build_id, invoice_id) REFERENCES invoices (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

CREATE TRIGGER billed_charges_keep_delete BEFORE DELETE ON billed_charges
BEGIN
  SELECT RAISE(ABORT, 'billed_charges is append-only');
END;

CREATE TRIGGER billed_charges_keep_update BEFORE UPDATE ON billed_charges
BEGIN
  SELECT RAISE(ABORT, 'billed_charges is append-only');
END;

CREATE TRIGGER billed_charges_once BEFORE INSERT ON billed_charges
WHEN NEW.time IS NOT (SELECT count(*) + 1 FROM cancelled_charges WHERE build_id = NEW.build_id AND ref = NEW.ref)
BEGIN
  SELECT RAISE(ABORT, 'a charge is billed once, and again only after it was taken back');
END;

CREATE TABLE builds (
  id           TEXT PRIMARY KEY NOT NULL CHECK (id <> ''),
  nickname     TEXT NOT NULL COLLATE NOCASE UNIQUE,
  year         INTEGER NOT NULL,
  make         TEXT NOT NULL,
  model        TEXT NOT NULL,
  serial       TEXT NOT NULL,
  odometer     INTEGER NOT NULL,
  unit         TEXT NOT NULL,
  colour       TEXT NOT NULL,
  plan_name    TEXT NOT NULL,
  state        TEXT NOT NULL CHECK (state <> ''),
  lead_id      TEXT REFERENCES people (id) ON DELETE RESTRICT,
  arrived_on   TEXT NOT NULL CHECK (length(arrived_on) IN (0, 10)),
  ready_on     TEXT NOT NULL CHECK (length(ready_on) IN (0, 10)),
  agreed_on    TEXT NOT NULL CHECK (length(agreed_on) IN (0, 10)),
  agreed_how   TEXT NOT NULL,
  delivered_on TEXT NOT NULL CHECK (length(delivered_on) IN (0, 10)),
  created_at   TEXT NOT NULL CHECK (length(created_at) = 30),
  version      INTEGER NOT NULL CHECK (version >= 0)
, stopped_on TEXT NOT NULL DEFAULT '' CHECK (length(stopped_on) IN (0, 10))) STRICT;

CREATE TRIGGER builds_state_insert BEFORE INSERT ON builds
WHEN NEW.state NOT IN ('scoping', 'agreed', 'delivered', 'stopped')
BEGIN
  SELECT RAISE(ABORT, 'unknown state of a build');
END;

CREATE TRIGGER builds_state_update BEFORE UPDATE OF state ON builds
WHEN NEW.state NOT IN ('scoping', 'agreed', 'delivered', 'stopped')
BEGIN
  SELECT RAISE(ABORT, 'unknown state of a build');
END;

CREATE TABLE cancelled_charges (
  build_id TEXT NOT NULL,
  ref      TEXT NOT NULL,
  time     INTEGER NOT NULL,
  memo_id  TEXT NOT NULL,
  PRIMARY KEY (build_id, ref, time),
  FOREIGN KEY (build_id, ref, time) REFERENCES billed_charges (build_id, ref, time) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, memo_id) REFERENCES invoices (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

CREATE TRIGGER cancelled_charges_keep_delete BEFORE DELETE ON cancelled_charges
BEGIN
  SELECT RAISE(ABORT, 'cancelled_charges is append-only');
END;

CREATE TRIGGER cancelled_charges_keep_update BEFORE UPDATE ON cancelled_charges
BEGIN
  SELECT RAISE(ABORT, 'cancelled_charges is append-only');
END;

CREATE TABLE checkpoints (
  size INTEGER PRIMARY KEY CHECK (size >= 1),
  note TEXT NOT NULL CHECK (note <> ''),
  at   TEXT NOT NULL CHECK (length(at) = 30)
) STRICT;

CREATE TRIGGER checkpoints_keep_delete BEFORE DELETE ON checkpoints
BEGIN
  SELECT RAISE(ABORT, 'checkpoints is append-only');
END;

CREATE TRIGGER checkpoints_keep_update BEFORE UPDATE ON checkpoints
BEGIN
  SELECT RAISE(ABORT, 'checkpoints is append-only');
END;

CREATE TABLE checks (
  added     INTEGER PRIMARY KEY,
  stage_id  TEXT NOT NULL REFERENCES stages (id) ON DELETE RESTRICT,
  text      TEXT NOT NULL,
  person_id TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at        TEXT NOT NULL CHECK (length(at) = 30),
  UNIQUE (stage_id, text)
) STRICT;

CREATE TABLE clock_corrections (
  added         INTEGER PRIMARY KEY,
  id            TEXT NOT NULL UNIQUE CHECK (id <> ''),
  camera        TEXT NOT NULL CHECK (camera <> ''),
  from_at       TEXT NOT NULL CHECK (length(from_at) IN (0, 30)),
  to_at         TEXT NOT NULL CHECK (length(to_at) IN (0, 30)),
  shift_seconds INTEGER NOT NULL CHECK (shift_seconds <> 0),
  why           TEXT NOT NULL,
  build_id      TEXT,
  photo_id      TEXT, -- the photographed clock
  by_id         TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at            TEXT NOT NULL CHECK (length(at) = 30),
  undone_at     TEXT NOT NULL CHECK (length(undone_at) IN (0, 30)),
  undone_by     TEXT REFERENCES people (id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, photo_id) REFERENCES photos (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX clock_corrections_of_camera ON clock_corrections (camera, added);

CREATE TRIGGER clock_corrections_keep BEFORE UPDATE OF added, id, camera, from_at, to_at, shift_seconds, why, build_id, photo_id, by_id, at ON clock_corrections
BEGIN
  SELECT RAISE(ABORT, 'a clock correction is undone, not changed');
END;

CREATE TRIGGER clock_corrections_keep_delete BEFORE DELETE ON clock_corrections
BEGIN
  SELECT RAISE(ABORT, 'a clock correction is undone, not removed');
END;

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

CREATE TRIGGER confirmations_keep_delete BEFORE DELETE ON confirmations
BEGIN
  SELECT RAISE(ABORT, 'confirmations is append-only');
END;

CREATE TRIGGER confirmations_keep_update BEFORE UPDATE ON confirmations
BEGIN
  SELECT RAISE(ABORT, 'confirmations is append-only');
END;

CREATE TABLE consents (
  added      INTEGER PRIMARY KEY,
  person_id  TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  version    TEXT NOT NULL,
  sha256     TEXT NOT NULL,
  word       TEXT NOT NULL,
  at         TEXT NOT NULL CHECK (length(at) = 30),
  address    TEXT NOT NULL,
  user_agent TEXT NOT NULL,
  ended_at   TEXT NOT NULL CHECK (length(ended_at) IN (0, 30))
) STRICT;

CREATE UNIQUE INDEX consents_in_force ON consents (person_id) WHERE ended_at = '';

CREATE TABLE decisions (
  paper_id        TEXT PRIMARY KEY NOT NULL,
  revision        INTEGER NOT NULL,
  sha256          TEXT NOT NULL,
  outcome         TEXT NOT NULL CHECK (outcome IN ('signed', 'declined')),
  person_id       TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  quality         TEXT NOT NULL CHECK (quality IN ('owner', 'delegate')),
  typed_name      TEXT NOT NULL,
  sentence        TEXT NOT NULL,
  reason          TEXT NOT NULL,
  parts_back      INTEGER NOT NULL CHECK (parts_back IN (0, 1)),
  at              TEXT NOT NULL CHECK (length(at) = 30),
  zone            TEXT NOT NULL,
  authenticated   TEXT NOT NULL,
  address         TEXT NOT NULL,
  user_agent      TEXT NOT NULL,
  consent_version TEXT NOT NULL,
  consent_at      TEXT NOT NULL CHECK (length(consent_at) IN (0, 30)),
  copy_to         TEXT NOT NULL,
  copy_letter_id  TEXT REFERENCES letters (id) ON DELETE RESTRICT DEFERRABLE INITIALLY DEFERRED, manner TEXT NOT NULL DEFAULT 'on its page' CHECK (manner IN ('on its page', 'by phone', 'on paper')), happened_at TEXT NOT NULL DEFAULT '' CHECK (length(happened_at) IN (0, 30)), recorded_by TEXT REFERENCES people (id) ON DELETE RESTRICT, phone TEXT NOT NULL DEFAULT '', spoke_with TEXT NOT NULL DEFAULT '', scan_id TEXT REFERENCES scans (id) ON DELETE RESTRICT, passkey TEXT NOT NULL DEFAULT '' CHECK (passkey = '' OR json_valid(passkey)),
  FOREIGN KEY (paper_id, revision, sha256) REFERENCES revisions (paper_id, number, sha256) ON DELETE RESTRICT
) STRICT;

CREATE TRIGGER decisions_keep_delete BEFORE DELETE ON decisions
BEGIN
  SELECT RAISE(ABORT, 'decisions is append-only');
END;

CREATE TRIGGER decisions_keep_update BEFORE UPDATE ON decisions
BEGIN
  SELECT RAISE(ABORT, 'decisions is append-only');
END;

CREATE TRIGGER decisions_on_last BEFORE INSERT ON decisions
WHEN NEW.revision IS NOT (SELECT max(number) FROM revisions WHERE paper_id = NEW.paper_id)
BEGIN
  SELECT RAISE(ABORT, 'only the last revision can be decided');
END;

CREATE TABLE entries (
  id            TEXT PRIMARY KEY NOT NULL CHECK (id <> ''),
  build_id      TEXT NOT NULL,
  stage_id      TEXT NOT NULL,
  author_id     TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  kind          TEXT NOT NULL CHECK (kind IN ('progress', 'find', 'problem', 'road test', 'visit')),
  audience      TEXT NOT NULL CHECK (audience IN ('shop only', 'owner too')),
  text          TEXT NOT NULL,
  happened_at   TEXT NOT NULL CHECK (length(happened_at) = 30),
  posted_at     TEXT NOT NULL CHECK (length(posted_at) = 30),
  shared_at     TEXT NOT NULL CHECK (length(shared_at) IN (0, 30)),
  edited_at     TEXT NOT NULL CHECK (length(edited_at) IN (0, 30)),
  withdrawn_at  TEXT NOT NULL CHECK (length(withdrawn_at) IN (0, 30)),
  withdrawn_why TEXT NOT NULL,
  version       INTEGER NOT NULL CHECK (version >= 0),
  CHECK (audience <> 'owner too' OR shared_at <> ''),
  UNIQUE (build_id, id),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX entries_by_time ON entries (build_id, happened_at, id);

CREATE INDEX entries_news ON entries (build_id, shared_at) WHERE audience = 'owner too' AND withdrawn_at = '';

CREATE INDEX entries_of_stage ON entries (build_id, stage_id, happened_at, id);

CREATE INDEX entries_shown ON entries (build_id, happened_at, id) WHERE audience = 'owner too' AND withdrawn_at = '';

CREATE TRIGGER entries_show AFTER UPDATE OF audience, withdrawn_at ON entries
WHEN (NEW.audience = 'owner too' AND NEW.withdrawn_at = '') <> (OLD.audience = 'owner too' AND OLD.withdrawn_at = '')
BEGIN
  UPDATE photos SET showings = showings + iif(NEW.audience = 'owner too' AND NEW.withdrawn_at = '', 1, -1)
  WHERE id IN (SELECT photo_id FROM entry_photos WHERE entry_id = NEW.id);
END;

CREATE TRIGGER entries_words_add AFTER INSERT ON entries
BEGIN
  INSERT INTO entry_docs (entry_id) VALUES (NEW.id);
  INSERT INTO entry_words (docid, text, captions) VALUES ((SELECT doc FROM entry_docs WHERE entry_id = NEW.id), NEW.text, '');
END;

CREATE TRIGGER entries_words_text AFTER UPDATE OF text ON entries
WHEN NEW.text <> OLD.text
BEGIN
  UPDATE entry_words SET text = NEW.text WHERE docid = (SELECT doc FROM entry_docs WHERE entry_id = NEW.id);
END;

CREATE TABLE entry_docs (
  doc      INTEGER PRIMARY KEY,
  entry_id TEXT NOT NULL UNIQUE REFERENCES entries (id) ON DELETE RESTRICT
) STRICT;

CREATE TABLE entry_edits (
  entry_id TEXT NOT NULL REFERENCES entries (id) ON DELETE RESTRICT,
  version  INTEGER NOT NULL,
  kind     TEXT NOT NULL,
  audience TEXT NOT NULL,
  stage_id TEXT NOT NULL REFERENCES stages (id) ON DELETE RESTRICT,
  text     TEXT NOT NULL,
  photos   TEXT NOT NULL CHECK (json_valid(photos)),
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  PRIMARY KEY (entry_id, version)
) STRICT;

CREATE TRIGGER entry_edits_keep_delete BEFORE DELETE ON entry_edits
BEGIN
  SELECT RAISE(ABORT, 'entry_edits is append-only');
END;

CREATE TRIGGER entry_edits_keep_update BEFORE UPDATE ON entry_edits
BEGIN
  SELECT RAISE(ABORT, 'entry_edits is append-only');
END;

CREATE TABLE entry_photos (
  entry_id TEXT NOT NULL,
  position INTEGER NOT NULL,
  build_id TEXT NOT NULL,
  photo_id TEXT NOT NULL,
  caption  TEXT NOT NULL,
  PRIMARY KEY (entry_id, position),
  UNIQUE (photo_id, entry_id),
  FOREIGN KEY (build_id, entry_id) REFERENCES entries (build_id, id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, photo_id) REFERENCES photos (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

CREATE TRIGGER entry_photos_add AFTER INSERT ON entry_photos
BEGIN
  UPDATE photos SET places = places + 1,
    showings = showings + (SELECT audience = 'owner too' AND withdrawn_at = '' FROM entries WHERE id = NEW.entry_id)
  WHERE id = NEW.photo_id;
END;

CREATE TRIGGER entry_photos_drop AFTER DELETE ON entry_photos
BEGIN
  UPDATE photos SET places = places - 1,
    showings = showings - (SELECT audience = 'owner too' AND withdrawn_at = '' FROM entries WHERE id = OLD.entry_id)
  WHERE id = OLD.photo_id;
END;

CREATE TRIGGER entry_photos_keep BEFORE UPDATE ON entry_photos
BEGIN
  SELECT RAISE(ABORT, 'photos are put into an entry and taken out, not moved');
END;

CREATE TRIGGER entry_photos_words_add AFTER INSERT ON entry_photos
WHEN NEW.caption <> ''
BEGIN
  UPDATE entry_words
  SET captions = (SELECT coalesce(group_concat(caption, char(10)), '') FROM entry_photos WHERE entry_id = NEW.entry_id AND caption <> '')
  WHERE docid = (SELECT doc FROM entry_docs WHERE entry_id = NEW.entry_id);
END;

CREATE TRIGGER entry_photos_words_drop AFTER DELETE ON entry_photos
WHEN OLD.caption <> ''
BEGIN
  UPDATE entry_words
  SET captions = (SELECT coalesce(group_concat(caption, char(10)), '') FROM entry_photos WHERE entry_id = OLD.entry_id AND caption <> '')
  WHERE docid = (SELECT doc FROM entry_docs WHERE entry_id = OLD.entry_id);
END;

CREATE VIRTUAL TABLE entry_words USING fts4 (text, captions, tokenize=unicode61 "remove_diacritics=2");

CREATE TABLE 'entry_words_content'(docid INTEGER PRIMARY KEY, 'c0text', 'c1captions');

CREATE TABLE 'entry_words_docsize'(docid INTEGER PRIMARY KEY, size BLOB);

CREATE TABLE 'entry_words_segdir'(level INTEGER,idx INTEGER,start_block INTEGER,leaves_end_block INTEGER,end_block INTEGER,root BLOB,PRIMARY KEY(level, idx));

CREATE TABLE 'entry_words_segments'(blockid INTEGER PRIMARY KEY, block BLOB);

CREATE TABLE 'entry_words_stat'(id INTEGER PRIMARY KEY, value BLOB);

CREATE TABLE events (
  seq       INTEGER PRIMARY KEY,
  at        TEXT NOT NULL CHECK (length(at) = 30),
  build_id  TEXT REFERENCES builds (id) ON DELETE RESTRICT,
  person_id TEXT REFERENCES people (id) ON DELETE RESTRICT,
  kind      TEXT NOT NULL CHECK (kind <> ''),
  subject   TEXT NOT NULL,
  detail    TEXT NOT NULL CHECK (detail = '' OR json_valid(detail))
) STRICT;

CREATE INDEX events_of_build ON events (build_id, seq);

CREATE TRIGGER events_gapless BEFORE INSERT ON events
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM events)
BEGIN
  SELECT RAISE(ABORT, 'events are numbered without gaps');
END;

CREATE TRIGGER events_keep_delete BEFORE DELETE ON events
BEGIN
  SELECT RAISE(ABORT, 'events is append-only');
END;

CREATE TRIGGER events_keep_update BEFORE UPDATE ON events
BEGIN
  SELECT RAISE(ABORT, 'events is append-only');
END;

CREATE TABLE film_readings (
  added     INTEGER PRIMARY KEY,
  id        TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id  TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id  TEXT NOT NULL,
  place     TEXT NOT NULL CHECK (place <> ''),
  coat      TEXT NOT NULL,
  substrate TEXT NOT NULL,
  film      INTEGER NOT NULL CHECK (film > 0),
  unit      TEXT NOT NULL CHECK (unit IN ('mil', 'µm')),
  by_id     TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at        TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX film_readings_of_build ON film_readings (build_id, added);

CREATE TRIGGER film_readings_keep_delete BEFORE DELETE ON film_readings
BEGIN
  SELECT RAISE(ABORT, 'film_readings is append-only');
END;

CREATE TRIGGER film_readings_keep_update BEFORE UPDATE ON film_readings
BEGIN
  SELECT RAISE(ABORT, 'film_readings is append-only');
END;

CREATE TABLE invoices (
  added          INTEGER PRIMARY KEY,
  id             TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id       TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id       TEXT,
  kind           TEXT NOT NULL CHECK (kind IN ('invoice', 'credit memo', 'holdback release')),
  number         INTEGER NOT NULL CHECK (number >= 1),
  subtotal       INTEGER NOT NULL,
  tax            INTEGER NOT NULL,
  deposit_credit INTEGER NOT NULL,
  holdback       INTEGER NOT NULL,
  payable        INTEGER NOT NULL,
  document       TEXT NOT NULL CHECK (json_valid(document)),
  shop_head      TEXT NOT NULL,
  bill_to        TEXT NOT NULL,
  truck          TEXT NOT NULL,
  tax_lines      TEXT NOT NULL CHECK (json_valid(tax_lines)),
  issued_at      TEXT NOT NULL CHECK (length(issued_at) = 30),
  issued_by      TEXT REFERENCES people (id) ON DELETE RESTRICT,
  CHECK (subtotal + tax = deposit_credit + holdback + payable),
  UNIQUE (kind, number),
  UNIQUE (build_id, id),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX invoices_by_time ON invoices (build_id, issued_at);

CREATE TRIGGER invoices_keep_delete BEFORE DELETE ON invoices
BEGIN
  SELECT RAISE(ABORT, 'invoices is append-only');
END;

CREATE TRIGGER invoices_keep_update BEFORE UPDATE ON invoices
BEGIN
  SELECT RAISE(ABORT, 'invoices is append-only');
END;

CREATE TABLE jobs (
  id          INTEGER PRIMARY KEY AUTOINCREMENT,
  kind        TEXT NOT NULL CHECK (kind <> ''),
  subject     TEXT NOT NULL,
  created_at  TEXT NOT NULL CHECK (length(created_at) = 30),
  run_at      TEXT NOT NULL CHECK (length(run_at) = 30),
  lease_until TEXT NOT NULL CHECK (length(lease_until) IN (0, 30)),
  tries       INTEGER NOT NULL CHECK (tries >= 0),
  done_at     TEXT NOT NULL CHECK (length(done_at) IN (0, 30)),
  fault       TEXT NOT NULL
) STRICT;

CREATE INDEX jobs_waiting ON jobs (run_at, id) WHERE done_at = '';

CREATE TABLE kept_forms (
  token_hash TEXT PRIMARY KEY NOT NULL CHECK (token_hash <> ''),
  person_id  TEXT REFERENCES people (id) ON DELETE RESTRICT,
  path       TEXT NOT NULL,
  form       TEXT NOT NULL, -- application/x-www-form-urlencoded
  expires_at TEXT NOT NULL CHECK (length(expires_at) = 30)
) STRICT;

CREATE TABLE letter_files (
  letter_id    TEXT NOT NULL REFERENCES letters (id) ON DELETE RESTRICT,
  position     INTEGER NOT NULL,
  name         TEXT NOT NULL,
  content_type TEXT NOT NULL,
  data         BLOB NOT NULL,
  PRIMARY KEY (letter_id, position)
) STRICT;

CREATE TRIGGER letter_files_keep_delete BEFORE DELETE ON letter_files
BEGIN
  SELECT RAISE(ABORT, 'letter_files is append-only');
END;

CREATE TRIGGER letter_files_keep_update BEFORE UPDATE ON letter_files
BEGIN
  SELECT RAISE(ABORT, 'letter_files is append-only');
END;

CREATE TABLE letters (
  added      INTEGER PRIMARY KEY,
  id         TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id   TEXT REFERENCES builds (id) ON DELETE RESTRICT,
  person_id  TEXT REFERENCES people (id) ON DELETE RESTRICT,
  address    TEXT NOT NULL,
  name       TEXT NOT NULL,
  subject    TEXT NOT NULL,
  text       TEXT NOT NULL,
  created_at TEXT NOT NULL CHECK (length(created_at) = 30),
  sent_at    TEXT NOT NULL CHECK (length(sent_at) IN (0, 30)),
  tries      INTEGER NOT NULL,
  fault      TEXT NOT NULL
, reminds TEXT REFERENCES invoices (id) ON DELETE RESTRICT, reminds_open INTEGER NOT NULL DEFAULT 0 CHECK (reminds_open >= 0), dropped TEXT NOT NULL DEFAULT '') STRICT;

CREATE INDEX letters_by_time ON letters (created_at, added);

CREATE TRIGGER letters_keep_delete BEFORE DELETE ON letters
BEGIN
  SELECT RAISE(ABORT, 'letters is append-only');
END;

CREATE TRIGGER letters_keep_dropped BEFORE UPDATE OF dropped, sent_at ON letters
WHEN OLD.dropped <> '' AND (NEW.dropped <> OLD.dropped OR NEW.sent_at <> OLD.sent_at) OR NEW.dropped <> '' AND NEW.sent_at <> ''
BEGIN
  SELECT RAISE(ABORT, 'a letter is sent or not sent for ever');
END;

CREATE TRIGGER letters_keep_reminds BEFORE UPDATE OF reminds, reminds_open ON letters
BEGIN
  SELECT RAISE(ABORT, 'a letter is never changed');
END;

CREATE TRIGGER letters_keep_text BEFORE UPDATE OF added, id, build_id, person_id, address, name, subject, text, created_at ON letters
BEGIN
  SELECT RAISE(ABORT, 'a letter is never changed');
END;

CREATE TABLE links (
  token_hash TEXT PRIMARY KEY NOT NULL CHECK (token_hash <> ''),
  person_id  TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  purpose    TEXT NOT NULL CHECK (purpose <> ''),
  next       TEXT NOT NULL,
  created_at TEXT NOT NULL CHECK (length(created_at) = 30),
  expires_at TEXT NOT NULL CHECK (length(expires_at) = 30),
  used_at    TEXT NOT NULL CHECK (length(used_at) IN (0, 30))
) STRICT;

CREATE TABLE log_keys (
  added  INTEGER PRIMARY KEY,
  public TEXT NOT NULL UNIQUE CHECK (public <> ''),
  size   INTEGER NOT NULL CHECK (size >= 0), -- entries in the log when the key was made
  why    TEXT NOT NULL,
  at     TEXT NOT NULL CHECK (length(at) = 30)
) STRICT;

CREATE TRIGGER log_keys_keep_delete BEFORE DELETE ON log_keys
BEGIN
  SELECT RAISE(ABORT, 'log_keys is append-only');
END;

CREATE TRIGGER log_keys_keep_update BEFORE UPDATE ON log_keys
BEGIN
  SELECT RAISE(ABORT, 'log_keys is append-only');
END;

CREATE TABLE log_nodes (
  place INTEGER PRIMARY KEY CHECK (place >= 0),
  hash  BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;

CREATE TRIGGER log_nodes_gapless BEFORE INSERT ON log_nodes
WHEN NEW.place IS NOT (SELECT coalesce(max(place), -1) + 1 FROM log_nodes)
BEGIN
  SELECT RAISE(ABORT, 'nodes of the log are added in order');
END;

CREATE TRIGGER log_nodes_keep_delete BEFORE DELETE ON log_nodes
BEGIN
  SELECT RAISE(ABORT, 'log_nodes is append-only');
END;

CREATE TRIGGER log_nodes_keep_update BEFORE UPDATE ON log_nodes
BEGIN
  SELECT RAISE(ABORT, 'log_nodes is append-only');
END;

CREATE TABLE members (
  added     INTEGER PRIMARY KEY,
  build_id  TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  person_id TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  quality   TEXT NOT NULL CHECK (quality IN ('owner', 'delegate')),
  named_by  TEXT NOT NULL,
  added_at  TEXT NOT NULL CHECK (length(added_at) = 30),
  ended_at  TEXT NOT NULL CHECK (length(ended_at) IN (0, 30))
, paper_id TEXT REFERENCES papers (id) ON DELETE RESTRICT, ended_by TEXT REFERENCES people (id) ON DELETE RESTRICT) STRICT;

CREATE UNIQUE INDEX members_current ON members (build_id, person_id) WHERE ended_at = '';

CREATE INDEX members_of_person ON members (person_id) WHERE ended_at = '';

CREATE TABLE meta (
  name  TEXT PRIMARY KEY NOT NULL CHECK (name <> ''),
  value TEXT NOT NULL
) STRICT;

CREATE TABLE mixes (
  added    INTEGER PRIMARY KEY,
  id       TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id TEXT NOT NULL,
  product  TEXT NOT NULL CHECK (product <> ''),
  colour   TEXT NOT NULL,
  lot      TEXT NOT NULL,
  used_for TEXT NOT NULL,
  formula  TEXT NOT NULL CHECK (json_valid(formula)),
  amount   INTEGER NOT NULL CHECK (amount > 0),
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX mixes_of_build ON mixes (build_id, added);

CREATE TRIGGER mixes_keep_delete BEFORE DELETE ON mixes
BEGIN
  SELECT RAISE(ABORT, 'mixes is append-only');
END;

CREATE TRIGGER mixes_keep_update BEFORE UPDATE ON mixes
BEGIN
  SELECT RAISE(ABORT, 'mixes is append-only');
END;

CREATE TABLE paint_backs (
  of_id    TEXT PRIMARY KEY NOT NULL,
  build_id TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id TEXT NOT NULL,
  reason   TEXT NOT NULL CHECK (reason <> ''),
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE TRIGGER paint_backs_keep_delete BEFORE DELETE ON paint_backs
BEGIN
  SELECT RAISE(ABORT, 'paint_backs is append-only');
END;

CREATE TRIGGER paint_backs_keep_update BEFORE UPDATE ON paint_backs
BEGIN
  SELECT RAISE(ABORT, 'paint_backs is append-only');
END;

CREATE TRIGGER paint_backs_of BEFORE INSERT ON paint_backs
WHEN NOT EXISTS (
  SELECT 1 FROM mixes WHERE id = NEW.of_id AND build_id = NEW.build_id AND stage_id = NEW.stage_id
  UNION ALL SELECT 1 FROM film_readings WHERE id = NEW.of_id AND build_id = NEW.build_id AND stage_id = NEW.stage_id
  UNION ALL SELECT 1 FROM paint_used WHERE id = NEW.of_id AND build_id = NEW.build_id AND stage_id = NEW.stage_id
)
BEGIN
  SELECT RAISE(ABORT, 'what is taken back is a record of the same stage');
END;

CREATE TABLE paint_shown (
  added    INTEGER PRIMARY KEY,
  build_id TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id TEXT NOT NULL,
  audience TEXT NOT NULL CHECK (audience IN ('shop only', 'owner too')),
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE TRIGGER paint_shown_keep_delete BEFORE DELETE ON paint_shown
BEGIN
  SELECT RAISE(ABORT, 'paint_shown is append-only');
END;

CREATE TRIGGER paint_shown_keep_update BEFORE UPDATE ON paint_shown
BEGIN
  SELECT RAISE(ABORT, 'paint_shown is append-only');
END;

CREATE TABLE paint_used (
  added    INTEGER PRIMARY KEY,
  id       TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id TEXT NOT NULL,
  mix_id   TEXT REFERENCES mixes (id) ON DELETE RESTRICT,
  product  TEXT NOT NULL CHECK (product <> ''),
  amount   INTEGER NOT NULL CHECK (amount > 0),
  unit     TEXT NOT NULL,
  used_for TEXT NOT NULL,
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX paint_used_of_build ON paint_used (build_id, added);

CREATE TRIGGER paint_used_keep_delete BEFORE DELETE ON paint_used
BEGIN
  SELECT RAISE(ABORT, 'paint_used is append-only');
END;

CREATE TRIGGER paint_used_keep_update BEFORE UPDATE ON paint_used
BEGIN
  SELECT RAISE(ABORT, 'paint_used is append-only');
END;

CREATE TABLE papers (
  added      INTEGER PRIMARY KEY,
  id         TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id   TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  kind       TEXT NOT NULL CHECK (kind IN ('build agreement', 'teardown authorization', 'change order', 'date change', 'delivery acceptance', 'early stop')),
  number     INTEGER NOT NULL CHECK (number >= 0),
  state      TEXT NOT NULL CHECK (state IN ('draft', 'sent', 'signed', 'declined', 'recalled')),
  stage_id   TEXT, -- the draft's
  draft      TEXT NOT NULL CHECK (json_valid(draft)),
  revision   INTEGER NOT NULL CHECK (revision >= 0),
  entry_id   TEXT,
  created_by TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  created_at TEXT NOT NULL CHECK (length(created_at) = 30),
  version    INTEGER NOT NULL CHECK (version >= 0),
  UNIQUE (build_id, id),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, entry_id) REFERENCES entries (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE UNIQUE INDEX papers_number ON papers (build_id, kind, number) WHERE number > 0;

CREATE TRIGGER papers_show AFTER UPDATE OF state ON papers
WHEN (NEW.state IN ('sent', 'signed', 'declined')) <> (OLD.state IN ('sent', 'signed', 'declined'))
BEGIN
  UPDATE photos SET showings = showings + iif(NEW.state IN ('sent', 'signed', 'declined'), 1, -1)
    * (SELECT count(*) FROM revision_photos rp WHERE rp.paper_id = NEW.id AND rp.photo_id = photos.id)
  WHERE id IN (SELECT photo_id FROM revision_photos WHERE paper_id = NEW.id);
END;

CREATE TABLE passkey_asks (
  token_hash TEXT PRIMARY KEY NOT NULL CHECK (token_hash <> ''),
  person_id  TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  subject    TEXT NOT NULL, -- '' when a passkey is added; else the act it confirms
  data       TEXT NOT NULL CHECK (json_valid(data)),
  expires_at TEXT NOT NULL CHECK (length(expires_at) = 30)
) STRICT;

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

CREATE TABLE payments (
  added       INTEGER PRIMARY KEY,
  id          TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id    TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  invoice_id  TEXT,
  amount      INTEGER NOT NULL CHECK (amount > 0 OR amount < 0 AND (reverses_id IS NOT NULL OR refund = 1)),
  paid_on     TEXT NOT NULL CHECK (length(paid_on) = 10),
  means       TEXT NOT NULL CHECK (means <> ''),
  reference   TEXT NOT NULL,
  reverses_id TEXT UNIQUE REFERENCES payments (id) ON DELETE RESTRICT,
  reason      TEXT NOT NULL,
  recorded_by TEXT REFERENCES people (id) ON DELETE RESTRICT,
  recorded_at TEXT NOT NULL CHECK (length(recorded_at) = 30), receipt_id TEXT NOT NULL DEFAULT '', on_account INTEGER NOT NULL DEFAULT 0 CHECK (on_account IN (0, 1) AND (on_account = 0 OR invoice_id IS NULL)), refund INTEGER NOT NULL DEFAULT 0 CHECK (refund IN (0, 1) AND (refund = 0 OR invoice_id IS NULL)),
  FOREIGN KEY (build_id, invoice_id) REFERENCES invoices (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX payments_by_time ON payments (build_id, recorded_at);

CREATE TRIGGER payments_keep_delete BEFORE DELETE ON payments
BEGIN
  SELECT RAISE(ABORT, 'payments is append-only');
END;

CREATE TRIGGER payments_keep_update BEFORE UPDATE ON payments
BEGIN
  SELECT RAISE(ABORT, 'payments is append-only');
END;

CREATE TRIGGER payments_reversal BEFORE INSERT ON payments
WHEN NEW.reverses_id IS NOT NULL AND NOT EXISTS (
  SELECT 1 FROM payments p
  WHERE p.id = NEW.reverses_id AND p.build_id = NEW.build_id AND p.invoice_id IS NEW.invoice_id AND p.amount = -NEW.amount
    AND p.on_account = NEW.on_account AND p.refund = NEW.refund AND p.reverses_id IS NULL
)
BEGIN
  SELECT RAISE(ABORT, 'a reversal undoes one payment of the same build and invoice');
END;

CREATE TABLE people (
  id            TEXT PRIMARY KEY NOT NULL CHECK (id <> ''),
  name          TEXT NOT NULL,
  email         TEXT NOT NULL UNIQUE CHECK (email = lower(email)),
  phone         TEXT NOT NULL,
  role          TEXT NOT NULL CHECK (role IN ('office', 'floor', 'owner')),
  password_hash TEXT NOT NULL,
  created_at    TEXT NOT NULL CHECK (length(created_at) = 30),
  ended_at      TEXT NOT NULL CHECK (length(ended_at) IN (0, 30))
, postal_address TEXT NOT NULL DEFAULT '') STRICT;

CREATE TABLE photo_layers (
  build_id TEXT NOT NULL,
  photo_id TEXT NOT NULL,
  number   INTEGER NOT NULL CHECK (number >= 1),
  layer    TEXT NOT NULL CHECK (json_valid(layer)),
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  PRIMARY KEY (photo_id, number),
  FOREIGN KEY (build_id, photo_id) REFERENCES photos (build_id, id) ON DELETE RESTRICT
) STRICT;

CREATE TRIGGER photo_layers_gapless BEFORE INSERT ON photo_layers
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM photo_layers WHERE photo_id = NEW.photo_id)
BEGIN
  SELECT RAISE(ABORT, 'layers of a photo are numbered without gaps');
END;

CREATE TRIGGER photo_layers_keep_delete BEFORE DELETE ON photo_layers
BEGIN
  SELECT RAISE(ABORT, 'photo_layers is append-only');
END;

CREATE TRIGGER photo_layers_keep_update BEFORE UPDATE ON photo_layers
BEGIN
  SELECT RAISE(ABORT, 'photo_layers is append-only');
END;

CREATE TABLE photos (
  added           INTEGER PRIMARY KEY,
  id              TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id        TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  sha256          TEXT NOT NULL CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
  bytes           INTEGER NOT NULL CHECK (bytes >= 0),
  file_name       TEXT NOT NULL,
  kind            TEXT NOT NULL,
  width           INTEGER NOT NULL,
  height          INTEGER NOT NULL,
  orientation     INTEGER NOT NULL,
  by_id           TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  received_at     TEXT NOT NULL CHECK (length(received_at) = 30),
  captured_at     TEXT NOT NULL CHECK (length(captured_at) = 30),
  captured_offset INTEGER NOT NULL,
  captured_source TEXT NOT NULL,
  captured_doubt  TEXT NOT NULL,
  camera          TEXT NOT NULL,
  latitude        REAL NOT NULL,
  longitude       REAL NOT NULL,
  located         INTEGER NOT NULL CHECK (located IN (0, 1)),
  state           TEXT NOT NULL CHECK (state IN ('pending', 'ready', 'failed')),
  fault           TEXT NOT NULL,
  tone            TEXT NOT NULL,
  places          INTEGER NOT NULL DEFAULT 0 CHECK (places >= 0),   -- kept by triggers, see below
  showings        INTEGER NOT NULL DEFAULT 0 CHECK (showings >= 0), claimed_at TEXT NOT NULL DEFAULT '' CHECK (length(claimed_at) IN (0, 30)), claimed_doubt TEXT NOT NULL DEFAULT '', from_clock INTEGER NOT NULL DEFAULT 0 CHECK (from_clock IN (0, 1)), correction_id TEXT REFERENCES clock_corrections (id) ON DELETE RESTRICT, duration_ms INTEGER NOT NULL DEFAULT 0 CHECK (duration_ms >= 0), hash TEXT NOT NULL DEFAULT '' CHECK (hash = '' OR length(hash) = 16 AND hash NOT GLOB '*[^0-9a-f]*'), preview BLOB NOT NULL DEFAULT x'', handed_out_at TEXT NOT NULL DEFAULT '' CHECK (length(handed_out_at) IN (0, 30)), handed_out_by TEXT REFERENCES people (id) ON DELETE RESTRICT, layer TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(layer)), -- likewise
  UNIQUE (build_id, sha256),
  UNIQUE (build_id, id)
) STRICT;

CREATE INDEX photos_by_camera ON photos (camera, claimed_at) WHERE camera <> '';

CREATE INDEX photos_by_original ON photos (sha256);

CREATE INDEX photos_loose ON photos (build_id, by_id, received_at, added) WHERE places = 0;

CREATE INDEX photos_shown ON photos (build_id, showings) WHERE showings > 0;

CREATE TRIGGER photos_keep_claim BEFORE UPDATE OF claimed_at, claimed_doubt ON photos
BEGIN
  SELECT RAISE(ABORT, 'what a file claims of its time is never changed');
END;

CREATE TRIGGER photos_keep_delete BEFORE DELETE ON photos
BEGIN
  SELECT RAISE(ABORT, 'photos is append-only');
END;

CREATE TRIGGER photos_keep_original BEFORE UPDATE OF added, id, build_id, sha256, bytes ON photos
BEGIN
  SELECT RAISE(ABORT, 'an original is never changed');
END;

CREATE TABLE plans (
  id      TEXT PRIMARY KEY NOT NULL CHECK (id <> ''),
  name    TEXT NOT NULL UNIQUE,
  stages  TEXT NOT NULL CHECK (json_valid(stages)),
  version INTEGER NOT NULL CHECK (version >= 0)
) STRICT;

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

CREATE TRIGGER postings_keep BEFORE UPDATE OF paper_id, revision, person_id, at ON postings
BEGIN
  SELECT RAISE(ABORT, 'a posting is marked as posted, not changed');
END;

CREATE TRIGGER postings_keep_delete BEFORE DELETE ON postings
BEGIN
  SELECT RAISE(ABORT, 'postings are kept');
END;

CREATE TRIGGER postings_keep_posted BEFORE UPDATE ON postings
WHEN OLD.posted_on <> ''
BEGIN
  SELECT RAISE(ABORT, 'a posted paper stays posted');
END;

CREATE TABLE pours (
  mix_id    TEXT NOT NULL REFERENCES mixes (id) ON DELETE RESTRICT,
  number    INTEGER NOT NULL,
  act       TEXT NOT NULL CHECK (act IN ('poured', 'taken back', 'left')),
  component INTEGER NOT NULL CHECK (component >= 0),
  scale     INTEGER NOT NULL CHECK (scale >= 0),
  by_id     TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at        TEXT NOT NULL CHECK (length(at) = 30),
  PRIMARY KEY (mix_id, number)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER pours_gapless BEFORE INSERT ON pours
WHEN NEW.number NOT BETWEEN 1 AND (SELECT coalesce(max(number), 0) + 1 FROM pours WHERE mix_id = NEW.mix_id)
BEGIN
  SELECT RAISE(ABORT, 'pours are numbered without gaps');
END;

CREATE TRIGGER pours_keep_delete BEFORE DELETE ON pours
BEGIN
  SELECT RAISE(ABORT, 'pours is append-only');
END;

CREATE TRIGGER pours_keep_update BEFORE UPDATE ON pours
BEGIN
  SELECT RAISE(ABORT, 'pours is append-only');
END;

CREATE TABLE questions (
  added       INTEGER PRIMARY KEY,
  id          TEXT NOT NULL UNIQUE CHECK (id <> ''),
  paper_id    TEXT NOT NULL,
  revision    INTEGER NOT NULL,
  asked_by    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  text        TEXT NOT NULL,
  asked_at    TEXT NOT NULL CHECK (length(asked_at) = 30),
  answer      TEXT NOT NULL,
  answered_by TEXT REFERENCES people (id) ON DELETE RESTRICT,
  answered_at TEXT NOT NULL CHECK (length(answered_at) IN (0, 30)),
  CHECK ((answer = '') = (answered_at = '') AND (answered_by IS NULL) = (answered_at = '')),
  FOREIGN KEY (paper_id, revision) REFERENCES revisions (paper_id, number) ON DELETE RESTRICT
) STRICT;

CREATE INDEX questions_of_paper ON questions (paper_id);

CREATE TABLE reminders (
  invoice_id TEXT NOT NULL REFERENCES invoices (id) ON DELETE RESTRICT,
  step       INTEGER NOT NULL,
  at         TEXT NOT NULL CHECK (length(at) = 30),
  PRIMARY KEY (invoice_id, step)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER reminders_keep_delete BEFORE DELETE ON reminders
BEGIN
  SELECT RAISE(ABORT, 'reminders is append-only');
END;

CREATE TRIGGER reminders_keep_update BEFORE UPDATE ON reminders
BEGIN
  SELECT RAISE(ABORT, 'reminders is append-only');
END;

CREATE TABLE revision_photos (
  paper_id TEXT NOT NULL,
  number   INTEGER NOT NULL,
  build_id TEXT NOT NULL,
  photo_id TEXT NOT NULL,
  PRIMARY KEY (paper_id, number, photo_id),
  FOREIGN KEY (paper_id, number) REFERENCES revisions (paper_id, number) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, paper_id) REFERENCES papers (build_id, id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, photo_id) REFERENCES photos (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

CREATE INDEX revision_photos_by_photo ON revision_photos (photo_id);

CREATE TRIGGER revision_photos_add AFTER INSERT ON revision_photos
BEGIN
  UPDATE photos SET showings = showings + (SELECT state IN ('sent', 'signed', 'declined') FROM papers WHERE id = NEW.paper_id)
  WHERE id = NEW.photo_id;
END;

CREATE TRIGGER revision_photos_keep_delete BEFORE DELETE ON revision_photos
BEGIN
  SELECT RAISE(ABORT, 'revision_photos is append-only');
END;

CREATE TRIGGER revision_photos_keep_update BEFORE UPDATE ON revision_photos
BEGIN
  SELECT RAISE(ABORT, 'revision_photos is append-only');
END;

CREATE TABLE revisions (
  paper_id TEXT NOT NULL REFERENCES papers (id) ON DELETE RESTRICT,
  number   INTEGER NOT NULL CHECK (number >= 1),
  bytes    BLOB NOT NULL,
  sha256   TEXT NOT NULL CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
  sent_at  TEXT NOT NULL CHECK (length(sent_at) = 30),
  sent_by  TEXT REFERENCES people (id) ON DELETE RESTRICT,
  PRIMARY KEY (paper_id, number),
  UNIQUE (paper_id, number, sha256)
) STRICT;

CREATE TRIGGER revisions_gapless BEFORE INSERT ON revisions
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM revisions WHERE paper_id = NEW.paper_id)
BEGIN
  SELECT RAISE(ABORT, 'revisions are numbered without gaps');
END;

CREATE TRIGGER revisions_keep_delete BEFORE DELETE ON revisions
BEGIN
  SELECT RAISE(ABORT, 'revisions is append-only');
END;

CREATE TRIGGER revisions_keep_update BEFORE UPDATE ON revisions
BEGIN
  SELECT RAISE(ABORT, 'revisions is append-only');
END;

CREATE TRIGGER revisions_undecided BEFORE INSERT ON revisions
WHEN EXISTS (SELECT 1 FROM decisions WHERE paper_id = NEW.paper_id)
BEGIN
  SELECT RAISE(ABORT, 'a decided paper has no further revision');
END;

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

CREATE TRIGGER scans_keep_delete BEFORE DELETE ON scans
BEGIN
  SELECT RAISE(ABORT, 'scans is append-only');
END;

CREATE TRIGGER scans_keep_update BEFORE UPDATE ON scans
BEGIN
  SELECT RAISE(ABORT, 'scans is append-only');
END;

CREATE TABLE sessions (
  token_hash   TEXT PRIMARY KEY NOT NULL CHECK (token_hash <> ''),
  person_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  how          TEXT NOT NULL,
  address      TEXT NOT NULL,
  user_agent   TEXT NOT NULL,
  created_at   TEXT NOT NULL CHECK (length(created_at) = 30),
  last_seen_at TEXT NOT NULL CHECK (length(last_seen_at) IN (0, 30)),
  expires_at   TEXT NOT NULL CHECK (length(expires_at) = 30),
  ended_at     TEXT NOT NULL CHECK (length(ended_at) IN (0, 30))
) STRICT;

CREATE INDEX sessions_of_person ON sessions (person_id);

CREATE TABLE shop (
  id          INTEGER PRIMARY KEY CHECK (id = 1),
  name        TEXT NOT NULL,
  address     TEXT NOT NULL,
  phone       TEXT NOT NULL,
  email       TEXT NOT NULL,
  zone        TEXT NOT NULL,
  currency    TEXT NOT NULL,
  labour_rate INTEGER NOT NULL,
  closures    TEXT NOT NULL CHECK (json_valid(closures)),
  quiet_days  INTEGER NOT NULL,
  version     INTEGER NOT NULL CHECK (version >= 1)
, reminder_days TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(reminder_days))) STRICT;

CREATE TABLE stages (
  id           TEXT PRIMARY KEY NOT NULL CHECK (id <> ''),
  build_id     TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  position     INTEGER NOT NULL,
  name         TEXT NOT NULL,
  labour       INTEGER NOT NULL, -- the agreed value by line kind
  parts        INTEGER NOT NULL,
  outside      INTEGER NOT NULL,
  delivery     INTEGER NOT NULL,
  other        INTEGER NOT NULL,
  planned_days INTEGER NOT NULL,
  planned_from TEXT NOT NULL CHECK (length(planned_from) IN (0, 10)),
  planned_to   TEXT NOT NULL CHECK (length(planned_to) IN (0, 10)),
  lead_id      TEXT REFERENCES people (id) ON DELETE RESTRICT,
  gate_photos  INTEGER NOT NULL,
  gate_checks  TEXT NOT NULL CHECK (json_valid(gate_checks)),
  cautions     TEXT NOT NULL CHECK (json_valid(cautions)),
  state        TEXT NOT NULL CHECK (state IN ('not started', 'under way', 'closed')),
  opened_at    TEXT NOT NULL CHECK (length(opened_at) IN (0, 30)),
  closed_at    TEXT NOT NULL CHECK (length(closed_at) IN (0, 30)),
  version      INTEGER NOT NULL CHECK (version >= 0), teardown INTEGER NOT NULL DEFAULT 0 CHECK (teardown IN (0, 1)), metered INTEGER NOT NULL DEFAULT 0 CHECK (metered IN (0, 1)), dropped_by TEXT REFERENCES papers (id) ON DELETE RESTRICT,
  UNIQUE (build_id, id)
) STRICT;

CREATE TABLE terms (
  build_id      TEXT PRIMARY KEY NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  deposit       INTEGER NOT NULL,
  crediting     TEXT NOT NULL,
  holdback_rate INTEGER NOT NULL,
  tax_labour    INTEGER NOT NULL,
  tax_parts     INTEGER NOT NULL,
  tax_outside   INTEGER NOT NULL,
  tax_delivery  INTEGER NOT NULL,
  tax_other     INTEGER NOT NULL,
  tax_per_line  INTEGER NOT NULL CHECK (tax_per_line IN (0, 1)),
  due_days      INTEGER NOT NULL
, deposit_share INTEGER NOT NULL DEFAULT 0, refill_floor INTEGER NOT NULL DEFAULT 0, holdback_cap TEXT NOT NULL DEFAULT '', mark_up INTEGER NOT NULL DEFAULT 0, bill_days TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(bill_days)), late_asks INTEGER NOT NULL DEFAULT 0 CHECK (late_asks IN (0, 1)), transport TEXT NOT NULL DEFAULT '', deliver_to TEXT NOT NULL DEFAULT '', hour_rate INTEGER NOT NULL DEFAULT 0 CHECK (hour_rate >= 0)) STRICT;

CREATE TABLE turns (
  added    INTEGER PRIMARY KEY,
  stage_id TEXT NOT NULL REFERENCES stages (id) ON DELETE RESTRICT,
  state    TEXT NOT NULL CHECK (state IN ('not started', 'under way', 'closed')),
  reason   TEXT NOT NULL,
  by_id    TEXT REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30)
) STRICT;

CREATE INDEX turns_of_stage ON turns (stage_id);

CREATE TRIGGER turns_keep_delete BEFORE DELETE ON turns
BEGIN
  SELECT RAISE(ABORT, 'turns is append-only');
END;

CREATE TRIGGER turns_keep_update BEFORE UPDATE ON turns
BEGIN
  SELECT RAISE(ABORT, 'turns is append-only');
END;

CREATE TABLE use_photos (
  use_id   TEXT NOT NULL,
  build_id TEXT NOT NULL,
  photo_id TEXT NOT NULL,
  PRIMARY KEY (use_id, photo_id),
  FOREIGN KEY (build_id, use_id) REFERENCES allowance_uses (build_id, id) ON DELETE RESTRICT,
  FOREIGN KEY (build_id, photo_id) REFERENCES photos (build_id, id) ON DELETE RESTRICT
) STRICT, WITHOUT ROWID;

CREATE INDEX use_photos_by_photo ON use_photos (photo_id);

CREATE TRIGGER use_photos_add AFTER INSERT ON use_photos
BEGIN
  UPDATE photos SET showings = showings + 1 WHERE id = NEW.photo_id;
END;

CREATE TRIGGER use_photos_keep_delete BEFORE DELETE ON use_photos
BEGIN
  SELECT RAISE(ABORT, 'use_photos is append-only');
END;

CREATE TRIGGER use_photos_keep_update BEFORE UPDATE ON use_photos
BEGIN
  SELECT RAISE(ABORT, 'use_photos is append-only');
END;

CREATE TABLE visits (
  build_id  TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  person_id TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  last_at   TEXT NOT NULL CHECK (length(last_at) IN (0, 30)),
  prior_at  TEXT NOT NULL CHECK (length(prior_at) IN (0, 30)),
  PRIMARY KEY (build_id, person_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE work (
  added       INTEGER PRIMARY KEY,
  id          TEXT NOT NULL UNIQUE CHECK (id <> ''),
  build_id    TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id    TEXT NOT NULL,
  kind        TEXT NOT NULL CHECK (kind IN ('labour', 'parts', 'outside work')),
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

CREATE TRIGGER work_keep_delete BEFORE DELETE ON work
BEGIN
  SELECT RAISE(ABORT, 'work is append-only');
END;

CREATE TRIGGER work_keep_update BEFORE UPDATE ON work
BEGIN
  SELECT RAISE(ABORT, 'work is append-only');
END;

CREATE TRIGGER work_takes_back BEFORE INSERT ON work
WHEN NEW.takes_back IS NOT NULL AND NOT EXISTS (
  SELECT 1 FROM work w
  WHERE w.id = NEW.takes_back AND w.build_id = NEW.build_id AND w.stage_id = NEW.stage_id AND w.kind = NEW.kind
    AND w.minutes = -NEW.minutes AND w.amount = -NEW.amount AND w.takes_back IS NULL
)
BEGIN
  SELECT RAISE(ABORT, 'what takes back work has its opposite figures');
END;

CREATE TABLE work_files (
  work_id      TEXT PRIMARY KEY NOT NULL REFERENCES work (id) ON DELETE RESTRICT,
  name         TEXT NOT NULL,
  content_type TEXT NOT NULL,
  sha256       TEXT NOT NULL CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
  data         BLOB NOT NULL
) STRICT;

CREATE TRIGGER work_files_keep_delete BEFORE DELETE ON work_files
BEGIN
  SELECT RAISE(ABORT, 'work_files is append-only');
END;

CREATE TRIGGER work_files_keep_update BEFORE UPDATE ON work_files
BEGIN
  SELECT RAISE(ABORT, 'work_files is append-only');
END;
