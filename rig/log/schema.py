"""The log's tables and the steps from one version to the next."""

VERSION = 1

TABLES = """
CREATE TABLE bench (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE cards (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the text
    kind TEXT NOT NULL,             -- car, bench, test
    name TEXT NOT NULL,
    text TEXT NOT NULL,             -- the TOML as it was read
    saved_at TEXT NOT NULL          -- wall clock, UTC, ISO 8601
) STRICT;
CREATE TABLE files (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the content
    kind TEXT NOT NULL,             -- clip, raw readings
    name TEXT NOT NULL,             -- its file name when it was noted
    path TEXT NOT NULL,             -- as last seen; absolute
    bytes INTEGER NOT NULL,
    saved_at TEXT NOT NULL
) STRICT;
CREATE TABLE records (
    id TEXT PRIMARY KEY,            -- random, 128 bit
    number INTEGER NOT NULL UNIQUE, -- order of writing on this bench
    bench TEXT NOT NULL,            -- id of the bench that wrote it
    kind TEXT NOT NULL,             -- weighing, push, prediction, comparison, calibration, zero, guess
    title TEXT NOT NULL,
    at TEXT NOT NULL,               -- wall clock, UTC, ISO 8601
    software TEXT NOT NULL,         -- name and version that computed it
    inputs TEXT NOT NULL,           -- JSON: all that is needed to compute it again
    result TEXT NOT NULL            -- JSON
) STRICT;
CREATE TABLE record_cards (record TEXT NOT NULL REFERENCES records(id),
    card TEXT NOT NULL REFERENCES cards(hash), PRIMARY KEY (record, card)) STRICT;
CREATE TABLE record_files (record TEXT NOT NULL REFERENCES records(id),
    file TEXT NOT NULL REFERENCES files(hash), PRIMARY KEY (record, file)) STRICT;
CREATE TABLE record_parents (record TEXT NOT NULL REFERENCES records(id),
    parent TEXT NOT NULL REFERENCES records(id), PRIMARY KEY (record, parent)) STRICT;
CREATE INDEX records_by_kind ON records (kind, number);
"""

UPGRADES: dict[int, str] = {}
"""Version -> the statements that lead to the next one."""
