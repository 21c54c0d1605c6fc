"""What an exported folder holds as a whole: a SHA-256 for each file, and how many records, cards and files there are.

`SHA256SUMS` has the form that `sha256sum -c SHA256SUMS` reads; it is written last, so an export cut short has none.
`manifest.json`, which is among the sums, has the version of the export's form and the counts.
"""

import hashlib
import json
import re
from collections.abc import Callable
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

from rig.base.errors import InputError
from rig.base.files import write_text
from rig.log.rows import file_hash
from rig.records.record import AnyRecord

FORM = 2
"""The version of the export's form; exports of the first one have no sums."""
SUMS, MANIFEST = "SHA256SUMS", "manifest.json"
COUNTS = ("records", "cards", "files", "sums")
_AGAIN = "Export again, or copy the whole folder again"


class SummedFolder:
    """A folder in writing, and the sum of each file in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._sums: dict[str, str] = {}

    def write(self, name: str, text: str) -> None:
        """Write a text file. name: with forward slashes. Raises BenchError when the place refuses."""
        write_text(self.folder / name, text)
        self.note(name, hashlib.sha256(text.encode()).hexdigest())

    @property
    def sums(self) -> dict[str, str]:
        """File -> SHA-256, of what was written so far."""
        return dict(self._sums)

    def note(self, name: str, digest: str) -> None:
        """A file that was written otherwise."""
        self._sums[name] = digest

    def close(self, *, records: int, cards: int, files: int) -> None:
        """Write the manifest and the sums."""
        counts = dict(zip(COUNTS, (records, cards, files, len(self._sums) + 1), strict=True))
        self.write(MANIFEST, json.dumps({"form": FORM} | counts, indent=1) + "\n")
        lines = [f"{digest}  {name}\n" for name, digest in sorted(self._sums.items())]
        write_text(self.folder / SUMS, "".join(lines))


def check_sums(folder: Path, *, progress: Callable[[float], None] = lambda share: None) -> dict[str, int]:
    """Hold every file of an exported folder against its sum; returns the counts that the manifest has, by name.

    Raises InputError naming the file that is missing or not as it was, or saying that the folder has no sums.
    """
    sums = _sums_of(folder)
    for number, (name, digest) in enumerate(sums.items(), start=1):
        path = folder / name
        if not path.is_file():
            raise InputError("a file of this export is missing", where=str(path), remedy=_AGAIN)
        if file_hash(path)[0] != digest:
            raise InputError("the content is not what it was when exported", where=str(path), remedy=_AGAIN)
        progress(number / len(sums))
    counts = _counts_of(folder)
    if counts["sums"] != len(sums):
        raise InputError(f"it lists {len(sums)} files of {counts['sums']}", where=str(folder / SUMS), remedy=_AGAIN)
    return counts


def check_counts(folder: Path, wanted: dict[str, int], **found: int) -> None:
    """Whether an export holds as many records, cards and files as its manifest says. Raises InputError."""
    for name, count in found.items():
        if wanted[name] != count:
            raise InputError(
                f"it should hold {wanted[name]} {name} and holds {count}", where=str(folder), remedy=_AGAIN
            )


def check_links(folder: Path, records: list[AnyRecord], cards: set[str], files: set[str]) -> None:
    """Whether all that records lead to is listed, and none rests on itself by way of others. Raises InputError."""
    parents = {record.id: record.parents for record in records}
    if len(parents) < len(records):
        raise InputError("a record stands here twice", where=str(folder), remedy="Export again, or copy it again")
    for record in records:
        pairs = zip((record.cards, record.files, record.parents), (cards, files, parents.keys()), strict=True)
        if not all(set(named) <= listed for named, listed in pairs):
            raise InputError(
                f"record {record.id[:8]} refers to cards, files or records that are not listed",
                where=str(folder),
                remedy="Export again, or copy the whole folder",
            )
    try:
        tuple(TopologicalSorter(parents).static_order())
    except CycleError as error:
        raise InputError(
            f"record {error.args[1][0][:8]} rests on itself by way of its parents",
            where=str(folder / "records.jsonl"),
            remedy="Export again: no bench writes such records",
        ) from error


def _sums_of(folder: Path) -> dict[str, str]:
    """Name -> SHA-256. Raises InputError for a line of any other form, or one that leads out of the folder."""
    path = folder / SUMS
    if not path.exists():
        raise InputError(
            "this folder has no list of sums, so nobody can tell whether it is whole",
            where=str(path),
            remedy="Export and copy it again; one from before exports had sums is taken in with --without-sums",
        )
    try:
        lines = path.read_text(encoding="utf-8").removesuffix("\n").split("\n")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot read the list of sums ({error})", where=str(path), remedy=_AGAIN) from error
    sums = {}
    for number, line in enumerate(lines, start=1):
        parts = re.fullmatch(r"([0-9a-f]{64})  (.+)", line)
        if parts is None or parts[2].startswith("/") or {"..", ""} & set(re.split(r"[/\\]", parts[2])):
            raise InputError(
                "this is not a sum and a name in this folder", where=f"{path}, line {number}", remedy=_AGAIN
            )
        sums[parts[2]] = parts[1]
    if MANIFEST not in sums:
        raise InputError(f"it does not list {MANIFEST}", where=str(path), remedy=_AGAIN)
    return sums


def _counts_of(folder: Path) -> dict[str, int]:
    path = folder / MANIFEST
    try:
        contents: Any = json.loads(path.read_text(encoding="utf-8"))
        form, counts = contents["form"], {name: contents[name] for name in COUNTS}
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError("this is not the manifest of an export", where=str(path), remedy=_AGAIN) from error
    if type(form) is not int or any(type(count) is not int for count in counts.values()):
        raise InputError("this is not the manifest of an export", where=str(path), remedy=_AGAIN)
    if form > FORM:
        raise InputError(
            f"this export has form {form}, this program knows {FORM}",
            where=str(path),
            remedy="Install a newer pivotbench",
        )
    return counts
