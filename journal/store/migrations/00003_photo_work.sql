-- +goose Up

-- What a photo's file claims of its time is kept beside what is believed of it,
-- so that a correction of the camera's clock can be undone.
ALTER TABLE photos ADD COLUMN claimed_at TEXT NOT NULL DEFAULT '' CHECK (length(claimed_at) IN (0, 30));
ALTER TABLE photos ADD COLUMN claimed_doubt TEXT NOT NULL DEFAULT '';
ALTER TABLE photos ADD COLUMN from_clock INTEGER NOT NULL DEFAULT 0 CHECK (from_clock IN (0, 1));
ALTER TABLE photos ADD COLUMN correction_id TEXT REFERENCES clock_corrections (id) ON DELETE RESTRICT;
ALTER TABLE photos ADD COLUMN duration_ms INTEGER NOT NULL DEFAULT 0 CHECK (duration_ms >= 0);
ALTER TABLE photos ADD COLUMN hash TEXT NOT NULL DEFAULT '' CHECK (hash = '' OR length(hash) = 16 AND hash NOT GLOB '*[^0-9a-f]*');
ALTER TABLE photos ADD COLUMN preview BLOB NOT NULL DEFAULT x'';
ALTER TABLE photos ADD COLUMN handed_out_at TEXT NOT NULL DEFAULT '' CHECK (length(handed_out_at) IN (0, 30));
ALTER TABLE photos ADD COLUMN handed_out_by TEXT REFERENCES people (id) ON DELETE RESTRICT;
-- The layer in force, as in photo_layers.
ALTER TABLE photos ADD COLUMN layer TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(layer));
UPDATE photos SET claimed_at = captured_at, claimed_doubt = captured_doubt,
  from_clock = captured_source IN ('camera with offset', 'camera clock in the shop''s zone', 'digitized, with offset', 'digitized, in the shop''s zone');
CREATE INDEX photos_by_camera ON photos (camera, claimed_at) WHERE camera <> '';

-- +goose StatementBegin
CREATE TRIGGER photos_keep_claim BEFORE UPDATE OF claimed_at, claimed_doubt ON photos
BEGIN
  SELECT RAISE(ABORT, 'what a file claims of its time is never changed');
END;
-- +goose StatementEnd

-- Marks, crop and turn, each setting of them a row; the last is in force.
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

-- +goose StatementBegin
CREATE TRIGGER photo_layers_gapless BEFORE INSERT ON photo_layers
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM photo_layers WHERE photo_id = NEW.photo_id)
BEGIN
  SELECT RAISE(ABORT, 'layers of a photo are numbered without gaps');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER photo_layers_keep_update BEFORE UPDATE ON photo_layers
BEGIN
  SELECT RAISE(ABORT, 'photo_layers is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER photo_layers_keep_delete BEFORE DELETE ON photo_layers
BEGIN
  SELECT RAISE(ABORT, 'photo_layers is append-only');
END;
-- +goose StatementEnd

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

-- +goose StatementBegin
CREATE TRIGGER clock_corrections_keep BEFORE UPDATE OF added, id, camera, from_at, to_at, shift_seconds, why, build_id, photo_id, by_id, at ON clock_corrections
BEGIN
  SELECT RAISE(ABORT, 'a clock correction is undone, not changed');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER clock_corrections_keep_delete BEFORE DELETE ON clock_corrections
BEGIN
  SELECT RAISE(ABORT, 'a clock correction is undone, not removed');
END;
-- +goose StatementEnd

-- The words of entries and captions, for searching. Full-text version 4 is in
-- every build of the driver; 5 would need a build tag. Its rows are numbered,
-- and entries are not, so entry_docs numbers them: the hidden row number of a
-- table with a text key may change when the database is rebuilt.
CREATE TABLE entry_docs (
  doc      INTEGER PRIMARY KEY,
  entry_id TEXT NOT NULL UNIQUE REFERENCES entries (id) ON DELETE RESTRICT
) STRICT;
CREATE VIRTUAL TABLE entry_words USING fts4 (text, captions, tokenize=unicode61 "remove_diacritics=2");
INSERT INTO entry_docs (entry_id) SELECT id FROM entries ORDER BY posted_at, id;
INSERT INTO entry_words (docid, text, captions)
  SELECT doc, text, coalesce((SELECT group_concat(caption, char(10)) FROM entry_photos ep WHERE ep.entry_id = e.id AND caption <> ''), '')
  FROM entry_docs JOIN entries e ON e.id = entry_id;

-- +goose StatementBegin
CREATE TRIGGER entries_words_add AFTER INSERT ON entries
BEGIN
  INSERT INTO entry_docs (entry_id) VALUES (NEW.id);
  INSERT INTO entry_words (docid, text, captions) VALUES ((SELECT doc FROM entry_docs WHERE entry_id = NEW.id), NEW.text, '');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_words_text AFTER UPDATE OF text ON entries
WHEN NEW.text <> OLD.text
BEGIN
  UPDATE entry_words SET text = NEW.text WHERE docid = (SELECT doc FROM entry_docs WHERE entry_id = NEW.id);
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_photos_words_add AFTER INSERT ON entry_photos
WHEN NEW.caption <> ''
BEGIN
  UPDATE entry_words
  SET captions = (SELECT coalesce(group_concat(caption, char(10)), '') FROM entry_photos WHERE entry_id = NEW.entry_id AND caption <> '')
  WHERE docid = (SELECT doc FROM entry_docs WHERE entry_id = NEW.entry_id);
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_photos_words_drop AFTER DELETE ON entry_photos
WHEN OLD.caption <> ''
BEGIN
  UPDATE entry_words
  SET captions = (SELECT coalesce(group_concat(caption, char(10)), '') FROM entry_photos WHERE entry_id = OLD.entry_id AND caption <> '')
  WHERE docid = (SELECT doc FROM entry_docs WHERE entry_id = OLD.entry_id);
END;
-- +goose StatementEnd
