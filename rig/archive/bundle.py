"""The bench log as one folder that stands by itself, and such a folder taken in on another machine.

The folder holds open formats only: records as JSON lines with a published schema, cards as the TOML they were,
clips and raw readings as they are, tables as CSV. The same log always gives the same bytes.
"""

import json
import re
import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from rig.archive.crate import METADATA, PAGE, PIVOTS, UNIT_TABLE, contents_page, ro_crate
from rig.archive.export import table_csv, table_name, whole_record
from rig.archive.manifest import SummedFolder, check_counts, check_links, check_sums
from rig.archive.pivots import pivot_table, pose_table, poses_name, pushed_clips, read_poses
from rig.archive.units import unit_table
from rig.base.durable import make_folder
from rig.base.errors import BenchError, InputError
from rig.base.files import whole_file
from rig.base.plain_json import Json
from rig.base.progress import Progress
from rig.log.rows import CardVersion, StoredFile, file_hash
from rig.log.store import BenchLog
from rig.records.aside import ASIDE
from rig.records.codec import RecordError, from_plain, kind_named
from rig.records.record import AnyRecord, Record

KIND = r"\w[\w -]{0,60}"
"""What a kind of record looks like: it names a table in the folder, so nothing that could lead out of it."""

DESCRIPTION = """A bench log of pivotbench, in open formats.

records.jsonl   one experiment a line, in the order of writing, as JSON: id, bench, kind, title, at (UTC), software,
                inputs (all that is needed to compute the result again), result, version (of what these two hold, a
                count for each kind), and the hashes of its cards, files and parents
cards.jsonl     one card version a line: hash (SHA-256 of its text), kind, name, saved_at
cards/          the cards themselves, TOML, named by hash
files.jsonl     one file a line: hash (SHA-256 of its content), kind, name, bytes, saved_at
files/          clips, raw readings and tracks as they are, named by hash, their own ending kept
tables/         one CSV for each kind of record, a column a value, the unit at the end of its name
units.csv       the unit of every column of tables/: 1 for a count or a ratio, empty for words
pivots.csv      every measured push: its pivot with its interval, the averaged poses, the sum of its clip
poses/          the car's poses behind each measured clip, picture by picture, with their covariances: CSV
ro-crate-preview.html   a page that tells all of it, and how a pivot is computed again from the poses
ro-crate-metadata.json  the same for programs: RO-Crate 1.1 (JSON-LD), every file with its size, format and sum
schema.json     JSON Schema (draft 2020-12) of the lines of records.jsonl
manifest.json   the version of this form, and how many records, cards, files and sums there are
SHA256SUMS      the SHA-256 of every other file here, as `sha256sum -c SHA256SUMS` reads it; an import needs it

Units are at the end of each name: _g grams, _mm millimetres, _m metres, _pct per cent of the wheelbase ahead of the
rear axle (pivots) or of the total (weights), _per_m per metre, _deg degrees, _N newtons. _u is a standard uncertainty,
interval the 95 % interval. Wheels stand in the order front left, front right, rear left, rear right.
"""

SCHEMA: Json = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "title": "pivotbench record",
    "type": "object",
    "additionalProperties": False,
    "required": ["id", "bench", "kind", "title", "at", "software", "inputs", "result", "cards", "files", "parents"],
    "properties": {
        "id": {"type": "string", "pattern": "^[0-9a-f]{32}$"},
        "bench": {"type": "string"},
        "kind": {"type": "string", "pattern": f"^{KIND}$"},
        "title": {"type": "string"},
        "at": {"type": "string", "format": "date-time"},
        "software": {"type": "string"},
        "inputs": {"type": "object"},
        "result": {"type": "object"},
        "version": {"type": "integer", "minimum": 1},
        "cards": {"type": "array", "items": {"type": "string"}},
        "files": {"type": "array", "items": {"type": "string"}},
        "parents": {"type": "array", "items": {"type": "string"}},
    },
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """records, files: how many.  missing: files that are noted in the log but no longer where they were."""

    records: int
    files: int
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """new, known: records.  missing: files that the folder does not hold."""

    new: int
    known: int
    missing: tuple[str, ...]


def export_bench(log: BenchLog, folder: Path, *, progress: Progress | None = None) -> Exported:
    """Write the whole log into an empty or new folder. Raises InputError when something else lies there."""
    if folder.exists() and any(folder.iterdir()):
        raise InputError("this folder is not empty", where=str(folder), remedy="Name a new folder")
    records = list(log.records())  # as they were written, by which the newest is found: a clock may be set back
    files, cards = sorted(log.files(), key=lambda file: file.hash), sorted(log.cards(), key=lambda card: card.hash)
    missing, out = [], SummedFolder(folder)
    make_folder(folder / "files")
    for number, file in enumerate(files):
        source = Path(file.path)
        if source.is_file() and file_hash(source, first=file.bytes)[0] == file.hash:
            _copy_first(source, folder / "files" / stored_name(file), file.bytes)
            out.note(f"files/{stored_name(file)}", file.hash)
        else:
            missing.append(file.name)
        if progress is not None:
            progress((number + 1) / len(files))
    out.write("README.txt", DESCRIPTION)
    out.write("schema.json", json.dumps(SCHEMA, indent=1, sort_keys=True))
    out.write("records.jsonl", _lines([record_json(record) for record in records]))
    out.write("cards.jsonl", _lines([_picked(card, "hash", "kind", "name", "saved_at") for card in cards]))
    out.write("files.jsonl", _lines([_picked(file, "hash", "kind", "name", "bytes", "saved_at") for file in files]))
    for card in cards:
        out.write(f"cards/{card.hash}.toml", card.text)
    tables = {
        f"tables/{table_name(kind)}": table_csv([record for record in records if record.kind == kind], numbers=False)
        for kind in sorted({record.kind for record in records})
    }
    for name, text in tables.items():
        out.write(name, text)
    out.write(UNIT_TABLE, unit_table(tables))
    _describe(out, records, files)
    out.close(records=len(records), cards=len(cards), files=len(files))
    return Exported(records=len(records), files=len(files) - len(missing), missing=tuple(missing))


def _describe(out: SummedFolder, records: list[AnyRecord], files: list[StoredFile]) -> None:
    """Poses and pivots as tables, the page, and the description of all there is."""
    stored = {file.hash: file for file in files if f"files/{stored_name(file)}" in out.sums}
    posed, clips = set(), {file.hash for file in files if file.kind == "clip"}
    for record in pushed_clips(records):
        tracks = (stored[digest] for digest in record.files if digest in stored and stored[digest].kind == "track")
        track = next(filter(None, (read_poses(out.folder / "files" / stored_name(file)) for file in tracks)), None)
        table = None if track is None else pose_table(track, record.result.pushes)
        if table is not None:
            out.write(poses_name(record), table)
            posed.add(record.id)
    of_clip = {record.id: next((one for one in record.files if one in clips), "") for record in records}
    aside = {parent: record.result.why for record in records if ASIDE.holds(record) for parent in record.parents}
    pivots = pivot_table(pushed_clips(records), posed=posed, clip_sums=of_clip, aside=aside)
    out.write(PIVOTS, pivots)
    names = {f"files/{stored_name(file)}": file.name for file in stored.values()}
    out.write(PAGE, contents_page(out.sums, names, pivots))
    newest = max((record.at for record in records), default=None)
    out.write(METADATA, ro_crate(out.folder, out.sums, names, newest=newest))


def import_bench(
    log: BenchLog, folder: Path, *, without_sums: bool = False, progress: Progress | None = None
) -> Imported:
    """Take in an exported folder, all of it or nothing; what is here already stays once. The log is had alone.

    without_sums: an export from before exports had them. Raises InputError naming file and line, BenchError saying who
    else uses the log.
    """
    with log.alone():
        wanted = None if without_sums else check_sums(folder, progress=progress or (lambda share: None))
        records = [_record(folder, number, row) for number, row in _read(folder / "records.jsonl")]
        cards = [_card(folder, number, row) for number, row in _read(folder / "cards.jsonl")]
        rows = _read(folder / "files.jsonl")
        files = [_file(folder, number, row, log.folder / "files") for number, row in rows]
        if wanted is not None:
            check_counts(folder, wanted, records=len(records), cards=len(cards), files=len(files))
        check_links(folder, records, {card.hash for card in cards}, {file.hash for file in files})
        missing = []
        for file in files:
            source = folder / "files" / stored_name(file)
            if source.is_file():
                _copy_in(source, file)
            else:
                missing.append(file.name)
        new, known = log.take_in(records, cards, files)
    return Imported(new=new, known=known, missing=tuple(missing))


def _picked(row: CardVersion | StoredFile, *names: str) -> Json:
    return {name: getattr(row, name) for name in names}


def stored_name(file: StoredFile) -> str:
    """The name of a file inside an export: its hash with its own ending."""
    ending = Path(file.name).suffix
    return file.hash + (ending if re.fullmatch(r"\.\w{1,7}", ending, re.ASCII) else "")


def record_json(record: AnyRecord) -> Json:
    """A record as an exported line; its number belongs to one log and is left out."""
    row = whole_record(record)
    del row["number"]
    version = {"version": kind_named(record.kind, where=f"record {record.number}").version}
    return row | version | {key: sorted(row[key]) for key in ("cards", "files", "parents")}


def _lines(rows: list[Json]) -> str:
    return "".join(json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n" for row in rows)


def _copy_first(source: Path, target: Path, count: int) -> None:
    """Copy the first bytes of a file: raw readings may have grown since they were noted."""
    with whole_file(target) as part, source.open("rb") as old, part.open("wb") as new:
        while count > 0 and (chunk := old.read(min(1 << 20, count))):
            new.write(chunk)
            count -= len(chunk)


def _copy_in(source: Path, file: StoredFile) -> None:
    """Copy a file beside the log; one that is there and whole stays. Raises InputError when it is not what it was."""
    target = Path(file.path)
    try:
        if target.is_file() and file_hash(target) == (file.hash, file.bytes):
            return
        with whole_file(target) as part:
            shutil.copyfile(source, part)
            if file_hash(part) != (file.hash, file.bytes):
                raise InputError(
                    "the content is not what it was when exported",
                    where=str(source),
                    remedy="Export again, or copy the folder again",
                )
    except InputError:
        raise
    except BenchError as error:
        raise BenchError(
            error.what,
            where=str(target),
            remedy="Make room on the disk and import again; nothing was taken in",
        ) from error


def _read(path: Path) -> list[tuple[int, Json]]:
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"cannot read this part of an export ({error})",
            where=str(path),
            remedy="Name the folder that pivotbench log export wrote",
        ) from error
    rows = []
    # not splitlines: a title may hold one of the other separators that Unicode knows
    for number, line in enumerate(text.removesuffix("\n").split("\n") if text else [], start=1):
        try:
            row = json.loads(line)
            json.dumps(row, ensure_ascii=False, allow_nan=False).encode()  # can be written again
        except (ValueError, RecursionError) as error:
            raise _bad(path, number, "this line is not JSON") from error
        if not isinstance(row, dict):
            raise _bad(path, number, "this line is not a JSON object")
        rows.append((number, row))
    return rows


def _bad(path: Path, number: int, what: str) -> InputError:
    return InputError(what, where=f"{path}, line {number}", remedy="Export again, or copy the folder again")


def _record(folder: Path, number: int, row: Json) -> AnyRecord:
    path = folder / "records.jsonl"
    version = row.pop("version", 1)  # exports from before the versions hold the first one
    if set(row) != set(SCHEMA["required"]) or type(version) is not int:
        raise _bad(path, number, "the keys are not those of a record")
    texts = ("id", "bench", "kind", "title", "at", "software")
    lists = ("cards", "files", "parents")
    good = all(isinstance(row[key], str) for key in texts) and all(
        isinstance(row[key], dict) for key in ("inputs", "result")
    )
    good = good and all(isinstance(row[key], list) and all(isinstance(item, str) for item in row[key]) for key in lists)
    good = good and re.fullmatch("[0-9a-f]{32}", row["id"]) is not None and re.fullmatch(KIND, row["kind"]) is not None
    if not good or any(len(set(row[key])) < len(row[key]) for key in lists):
        raise _bad(path, number, "a value of this record has the wrong kind")
    try:
        datetime.fromisoformat(row["at"])
    except ValueError as error:
        raise _bad(path, number, "this is no date and time") from error
    where = f"{path}, line {number}"
    try:
        inputs, result = from_plain(
            kind_named(row["kind"], where=where), version, row["inputs"], row["result"], where=where
        )
    except RecordError as error:  # what is taken in must be readable afterwards
        raise InputError(error.what, where=error.where, remedy="Export again, with this version or newer") from error
    return Record(
        id=row["id"],
        number=0,
        bench=row["bench"],
        kind=row["kind"],
        title=row["title"],
        at=row["at"],
        software=row["software"],
        inputs=inputs,
        result=result,
        cards=tuple(row["cards"]),
        files=tuple(row["files"]),
        parents=tuple(row["parents"]),
    )


def _card(folder: Path, number: int, row: Json) -> CardVersion:
    import hashlib

    if set(row) != {"hash", "kind", "name", "saved_at"} or not all(isinstance(item, str) for item in row.values()):
        raise _bad(folder / "cards.jsonl", number, "the keys are not those of a card")
    path = folder / "cards" / f"{_safe(folder / 'cards.jsonl', number, row['hash'])}.toml"
    try:
        text = path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            "this card is missing or unreadable", where=str(path), remedy="Copy the folder again"
        ) from error
    if hashlib.sha256(text.encode()).hexdigest() != row["hash"]:
        raise InputError("this card is not what it was when exported", where=str(path), remedy="Copy the folder again")
    return CardVersion(text=text, **row)


def _file(folder: Path, number: int, row: Json, target: Path) -> StoredFile:
    path = folder / "files.jsonl"
    if set(row) != {"hash", "kind", "name", "bytes", "saved_at"} or type(row["bytes"]) is not int:
        raise _bad(path, number, "the keys are not those of a file")
    texts = all(isinstance(row[key], str) for key in ("hash", "kind", "name", "saved_at"))
    if not texts or not 0 <= row["bytes"] < 1 << 63:
        raise _bad(path, number, "a value of this file has the wrong kind")
    _safe(path, number, row["hash"])
    file = StoredFile(path="", **row)
    return StoredFile(path=str(target.absolute() / stored_name(file)), **row)


def _safe(path: Path, number: int, digest: str) -> str:
    """A hash becomes part of a path: only hex digits may."""
    if len(digest) != 64 or any(c not in "0123456789abcdef" for c in digest):
        raise _bad(path, number, "this hash is not a SHA-256 in hex")
    return digest
