"""The log's tables, the sum of a record, and the steps from one version to the next."""

import hashlib
import json
from collections.abc import Sequence

VERSION = 2

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
    result TEXT NOT NULL,           -- JSON
    sum TEXT NOT NULL DEFAULT ''    -- SHA-256 of the columns before it: SQLite keeps no sums over its pages
) STRICT;
CREATE TABLE record_cards (record TEXT NOT NULL REFERENCES records(id),
    card TEXT NOT NULL REFERENCES cards(hash), PRIMARY KEY (record, card)) STRICT;
CREATE TABLE record_files (record TEXT NOT NULL REFERENCES records(id),
    file TEXT NOT NULL REFERENCES files(hash), PRIMARY KEY (record, file)) STRICT;
CREATE TABLE record_parents (record TEXT NOT NULL REFERENCES records(id),
    parent TEXT NOT NULL REFERENCES records(id), PRIMARY KEY (record, parent)) STRICT;
CREATE INDEX records_by_kind ON records (kind, number);
"""

UPGRADES: dict[int, str] = {
    1: """
ALTER TABLE records ADD COLUMN sum TEXT NOT NULL DEFAULT '';
UPDATE records SET sum = record_sum(id, number, bench, kind, title, at, software, inputs, result);
""",
}
"""Version -> the statements that lead to the next one; `record_sum` is the function below."""


def record_sum(*columns: object) -> str:
    """SHA-256 (hex) over a record's columns up to `result`, as a JSON list in UTF-8: any change of one shows."""
    return hashlib.sha256(json.dumps(columns, ensure_ascii=False).encode()).hexdigest()


def as_written(row: Sequence[object]) -> bool:
    """Whether a row of `records` is what was written. One of a log from before the sums cannot be told: True."""
    return len(row) <= SUMMED or row[SUMMED] == record_sum(*row[:SUMMED])


SUMMED = 9
"""Columns that the sum of a record covers."""
