"""What a disk says when it is asked to keep something: real failures are told, places that cannot be asked are not."""

import errno
import os
from pathlib import Path

import pytest

from rig.base.durable import sync


def failing(monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    def fsync(handle: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", fsync)


@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC])  # fsync(2): the two that mean "not on the disk"
@pytest.mark.parametrize("folder", [False, True])
def test_a_disk_that_fails_or_is_full_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, folder: bool
) -> None:
    kept = tmp_path / "kept"
    kept.write_bytes(b"12")
    failing(monkeypatch, number)
    with pytest.raises(OSError, match=os.strerror(number)):
        sync(tmp_path if folder else kept)


@pytest.mark.parametrize("number", [errno.EINVAL, errno.ENOTSUP])  # fsync(2): this kind of file knows no such thing
def test_a_place_that_cannot_be_asked_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    failing(monkeypatch, number)
    sync(tmp_path)
    sync(tmp_path / "not there")
