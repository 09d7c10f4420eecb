-- +goose NO TRANSACTION
-- +goose Up

-- Outside work stands in the table of logged work by its whole name, as everywhere
-- else. The CHECK is changed as 00008 changed others.
BEGIN IMMEDIATE;
PRAGMA writable_schema = ON;
UPDATE sqlite_schema SET sql = replace(sql,
  'CHECK (kind IN (''labour'', ''parts'', ''outside''))',
  'CHECK (kind IN (''labour'', ''parts'', ''outside work''))')
WHERE type = 'table' AND name = 'work';
PRAGMA writable_schema = RESET;
COMMIT;
