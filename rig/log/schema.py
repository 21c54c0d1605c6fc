"""The log's tables, the sums over all that stands in them, and the steps from one version to the next."""

import hashlib
import json
from collections.abc import Iterable, Sequence

VERSION = 3

TABLES = """
CREATE TABLE bench (
    key TEXT PRIMARY KEY,           -- id, version, lost (numbers of records that a repair could not save)
    value TEXT NOT NULL,
    sum TEXT NOT NULL DEFAULT ''    -- as in cards
) STRICT;
CREATE TABLE cards (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the text
    kind TEXT NOT NULL,             -- car, bench, test
    name TEXT NOT NULL,
    text TEXT NOT NULL,             -- the TOML as it was read
    saved_at TEXT NOT NULL,         -- wall clock, UTC, ISO 8601
    sum TEXT NOT NULL DEFAULT ''    -- SHA-256 of the columns before it: SQLite keeps no sums over its pages
) STRICT;
CREATE TABLE files (
    hash TEXT PRIMARY KEY,          -- SHA-256 of the content
    kind TEXT NOT NULL,             -- clip, raw readings
    name TEXT NOT NULL,             -- its file name when it was noted
    path TEXT NOT NULL,             -- as last seen; absolute. Only a hint, so not in the sum: the content is known
    bytes INTEGER NOT NULL,
    saved_at TEXT NOT NULL,
    sum TEXT NOT NULL DEFAULT ''    -- of hash, kind, name, bytes, saved_at
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
    sum TEXT NOT NULL DEFAULT '',   -- SHA-256 of id to result and version
    version INTEGER NOT NULL DEFAULT 1,  -- of what inputs and result hold, a count for each kind
    links TEXT NOT NULL DEFAULT ''  -- SHA-256 of id and the lists of its cards, files and parents
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
""",
    2: """
ALTER TABLE bench ADD COLUMN sum TEXT NOT NULL DEFAULT '';
ALTER TABLE cards ADD COLUMN sum TEXT NOT NULL DEFAULT '';
ALTER TABLE files ADD COLUMN sum TEXT NOT NULL DEFAULT '';
ALTER TABLE records ADD COLUMN version INTEGER NOT NULL DEFAULT 1;
ALTER TABLE records ADD COLUMN links TEXT NOT NULL DEFAULT '';
""",
}
"""Version -> the statements that lead to the next one. All sums are made anew after the last of them."""

SUMMED: dict[str, tuple[str, ...]] = {
    "bench": ("key", "value"),
    "cards": ("hash", "kind", "name", "text", "saved_at"),
    "files": ("hash", "kind", "name", "bytes", "saved_at"),
    "records": ("id", "number", "bench", "kind", "title", "at", "software", "inputs", "result", "version"),
}
"""Table -> the columns that its rows' sums cover, in this order."""

UNSUMMED: dict[str, tuple[str, ...]] = {"bench": (), "cards": (), "files": ("path",), "records": ("links",)}
"""Table -> its other columns, the sum itself excepted."""

LINKED = (("record_cards", "card"), ("record_files", "file"), ("record_parents", "parent"))
"""Table of links -> its column beside `record`, in the order in which the sum of a record's links takes them."""

FIRST_SUMS = {"bench": 3, "cards": 3, "files": 3, "records": 2}
"""Table -> the version of the log from which on its rows have sums."""
LINKS_SUMMED = CONTENT_VERSIONS = 3
"""The version from which on a record's links have a sum, and a record says the version of its content."""


def column_list(table: str, version: int = VERSION) -> str:
    """The columns of a table as SQL, in a log of some version: those summed, the others, then the sum."""
    missing = {}
    if version < FIRST_SUMS[table]:
        missing["sum"] = "''"
    if version < CONTENT_VERSIONS:
        missing |= {"version": "1", "links": "''"}
    return ", ".join(missing.get(name, name) for name in (*SUMMED[table], *UNSUMMED[table], "sum"))


def row_sum(*columns: object) -> str:
    """SHA-256 (hex) over columns as a JSON list in UTF-8: any change of one shows.

    Damage may put bytes, or what is no text, into a column: that gives a sum, too, one that does not fit.
    """
    text = json.dumps(columns, ensure_ascii=False, default=repr)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def links_sum(record: str, links: Iterable[Iterable[str]]) -> str:
    """SHA-256 (hex) over a record's id and what it leads to. links: as `LINKED` orders them."""
    return row_sum(record, *(list(others) for others in links))


def as_written(table: str, row: Sequence[object], version: int = VERSION) -> bool:
    """Whether a row, read by `column_list`, is what was written; of a card, also whether its text fits its hash.

    A row of a log from before its sums cannot be told: True.
    """
    summed = SUMMED[table]
    if table == "cards" and (
        not isinstance(row[3], str) or hashlib.sha256(row[3].encode("utf-8", "replace")).hexdigest() != row[0]
    ):
        return False
    if version < FIRST_SUMS[table]:
        return True
    # the sum of version 2 knows no version of the content
    covered = row[: len(summed) - (table == "records" and version < CONTENT_VERSIONS)]
    return row[-1] == row_sum(*covered)
