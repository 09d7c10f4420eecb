-- +goose Up

-- Paint records of stages. All are append-only: a wrong one is taken back by a row
-- of paint_backs.

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

CREATE TABLE paint_backs (
  of_id    TEXT PRIMARY KEY NOT NULL,
  build_id TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id TEXT NOT NULL,
  reason   TEXT NOT NULL CHECK (reason <> ''),
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

-- Who sees a stage's paint record; the last row of a stage counts.
CREATE TABLE paint_shown (
  added    INTEGER PRIMARY KEY,
  build_id TEXT NOT NULL REFERENCES builds (id) ON DELETE RESTRICT,
  stage_id TEXT NOT NULL,
  audience TEXT NOT NULL CHECK (audience IN ('shop only', 'owner too')),
  by_id    TEXT NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
  at       TEXT NOT NULL CHECK (length(at) = 30),
  FOREIGN KEY (build_id, stage_id) REFERENCES stages (build_id, id) ON DELETE RESTRICT
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER pours_gapless BEFORE INSERT ON pours
WHEN NEW.number NOT BETWEEN 1 AND (SELECT coalesce(max(number), 0) + 1 FROM pours WHERE mix_id = NEW.mix_id)
BEGIN
  SELECT RAISE(ABORT, 'pours are numbered without gaps');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER paint_backs_of BEFORE INSERT ON paint_backs
WHEN NOT EXISTS (
  SELECT 1 FROM mixes WHERE id = NEW.of_id AND build_id = NEW.build_id AND stage_id = NEW.stage_id
  UNION ALL SELECT 1 FROM film_readings WHERE id = NEW.of_id AND build_id = NEW.build_id AND stage_id = NEW.stage_id
  UNION ALL SELECT 1 FROM paint_used WHERE id = NEW.of_id AND build_id = NEW.build_id AND stage_id = NEW.stage_id
)
BEGIN
  SELECT RAISE(ABORT, 'what is taken back is a record of the same stage');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER mixes_keep_update BEFORE UPDATE ON mixes
BEGIN
  SELECT RAISE(ABORT, 'mixes is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER mixes_keep_delete BEFORE DELETE ON mixes
BEGIN
  SELECT RAISE(ABORT, 'mixes is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER pours_keep_update BEFORE UPDATE ON pours
BEGIN
  SELECT RAISE(ABORT, 'pours is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER pours_keep_delete BEFORE DELETE ON pours
BEGIN
  SELECT RAISE(ABORT, 'pours is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER film_readings_keep_update BEFORE UPDATE ON film_readings
BEGIN
  SELECT RAISE(ABORT, 'film_readings is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER film_readings_keep_delete BEFORE DELETE ON film_readings
BEGIN
  SELECT RAISE(ABORT, 'film_readings is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER paint_used_keep_update BEFORE UPDATE ON paint_used
BEGIN
  SELECT RAISE(ABORT, 'paint_used is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER paint_used_keep_delete BEFORE DELETE ON paint_used
BEGIN
  SELECT RAISE(ABORT, 'paint_used is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER paint_backs_keep_update BEFORE UPDATE ON paint_backs
BEGIN
  SELECT RAISE(ABORT, 'paint_backs is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER paint_backs_keep_delete BEFORE DELETE ON paint_backs
BEGIN
  SELECT RAISE(ABORT, 'paint_backs is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER paint_shown_keep_update BEFORE UPDATE ON paint_shown
BEGIN
  SELECT RAISE(ABORT, 'paint_shown is append-only');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER paint_shown_keep_delete BEFORE DELETE ON paint_shown
BEGIN
  SELECT RAISE(ABORT, 'paint_shown is append-only');
END;
-- +goose StatementEnd
