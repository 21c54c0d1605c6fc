"""A log that SQLite itself finds locked is in use: said so, and not blamed on the disk or on rights."""

import sqlite3
from pathlib import Path

import pytest

from rig.base.errors import BenchError
from rig.log.damage import in_words


def test_a_lock_of_another_connection_is_told_as_use(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    holding, asking = (sqlite3.connect(path, timeout=0, isolation_level=None) for _ in range(2))
    holding.execute("CREATE TABLE t (n INTEGER)")
    holding.execute("BEGIN EXCLUSIVE")
    with pytest.raises(BenchError, match="in use by another process") as told, in_words(path):
        asking.execute("INSERT INTO t VALUES (1)")
    assert "try again" in told.value.remedy
    holding.execute("ROLLBACK")
    with in_words(path):
        asking.execute("INSERT INTO t VALUES (1)")
