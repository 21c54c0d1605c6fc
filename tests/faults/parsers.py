"""Every parser of text as a function of bytes that raises only when the parser did what it must not.

Each may end well or with the room's own error in words; anything else that comes out is a finding. `corpus` gives
each one's valid samples, made by the writers of the formats, and what fuzzing has found worth keeping.
"""

import functools
import json
import tempfile
from collections.abc import Callable
from pathlib import Path

from rig.archive.bundle import export_bench, import_bench
from rig.base.errors import BenchError, InputError
from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.read import parse_card
from rig.cards.template import card_text
from rig.jobs.record.card_travel import send_card, take_card
from rig.jobs.series.series import plan_table, read_plan_table
from rig.log.store import BenchLog
from rig.pads.lines import BadLine, LineSplitter, frame, parse_line
from rig.pads.patterns import PatternLines
from rig.pads.traffic import TrafficRecorder, read_traffic
from tests.whole_records import numbered, whole

Target = Callable[[bytes], None]
KEPT = Path(__file__).parents[1] / "data" / "corpus"
PATTERNS = (
    "<c1>,<c2>,<c3>,<c4>",
    '{"t": <ms>, "loads": [<c1>, <c2>, <c3>, <c4>]}',
    "<pad>: <count> g",
    "#<seq> <skip> <c1> <c2>",
)
CARDS = ("car", "bench", "test", "phases")


@functools.cache
def _place() -> Path:
    """A folder of this process, in memory where the system has such a place."""
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="parsers-", dir=memory if memory.is_dir() else None))


def pad_lines(data: bytes) -> None:
    """Our own protocol: nothing is raised, no line is made up, the tail stays bounded."""
    splitter = LineSplitter()
    for line in splitter.feed(data):
        said = parse_line(line)
        if said.raw != line:
            raise AssertionError(f"{line!r} was taken for {said.raw!r}")
        if isinstance(said, BadLine) and not said.sentence:
            raise AssertionError("a bad line without a reason")
    if len(splitter.tail) > splitter.longest + 1:
        raise AssertionError("the unfinished line grows without bound")


@functools.cache
def _ready_patterns() -> tuple[PatternLines, ...]:
    return tuple(PatternLines(pattern, checksum=check) for pattern in PATTERNS for check in ("none", "xor"))


def pattern_lines(data: bytes) -> None:
    """Lines of other formats, with and without a checksum."""
    for parser in _ready_patterns():
        parser.restart()
        for line in data.split(b"\n"):
            parser.parse(line)


def patterns(data: bytes) -> None:
    """The pattern itself, as it stands on a bench card; then a few lines through it."""
    try:
        parser = PatternLines(data.decode("utf-8", "replace"))
    except InputError:
        return
    for line in (data, b"1,2,3,4", b'{"loads": [1, 2, 3, 4]}'):
        parser.parse(line)


def traffic(data: bytes) -> None:
    """A recorded session; times never run backwards."""
    path = _place() / "session.txt"
    path.write_bytes(data)
    last = 0.0
    try:
        for chunk in read_traffic(path):
            if not chunk.time >= last:
                raise AssertionError(f"time runs from {last} to {chunk.time}")
            last = chunk.time
    except InputError:
        return


def card(kind: str, data: bytes) -> None:
    """One card's text."""
    try:
        parse_card(data.decode("utf-8", "replace"), CARD_TYPES[kind], where="card")
    except InputError:
        return


def travelling(data: bytes) -> None:
    """A car card that came from another bench."""
    sent = _place() / "sent.toml"
    sent.write_bytes(data)
    with tempfile.TemporaryDirectory(dir=_place()) as folder:
        try:
            take_card(sent, Path(folder))
        except BenchError:
            return


def plan(data: bytes) -> None:
    """A plan of a series."""
    path = _place() / "plan.csv"
    path.write_bytes(data)
    try:
        rows, _ = read_plan_table(path)
        for row in rows:
            int(row["block"]), float(row["number"])  # as the series does with a plan that was taken
    except InputError:
        return


@functools.cache
def _sample_export() -> Path:
    folder = Path(tempfile.mkdtemp(dir=_place()))
    raw = folder / "raw.txt"
    raw.write_bytes(b"1 2 3\n")
    with BenchLog(folder / "log") as log:
        text = log.add_card("car", "Dunlin", "name = 1")
        first = numbered(log, "a", 1600.5, cards=[text])
        whole(log, "live reading", "b", files=[log.add_file("raw", raw)], parents=[first.id])
        export_bench(log, folder / "out")
    return folder / "out"


@functools.cache
def _log() -> BenchLog:
    made = BenchLog(_place() / "log")
    made.database.execute("PRAGMA synchronous = OFF")  # a scratch log: speed alone matters
    return made


def exported(part: str, data: bytes) -> None:
    """One list of an exported folder; what is taken in can be given out again."""
    folder = _sample_export()
    path = folder / f"{part}.jsonl"
    good = path.read_bytes()
    path.write_bytes(data)
    log = _log()
    try:
        import_bench(log, folder, without_sums=True)
        with tempfile.TemporaryDirectory(dir=_place()) as out:
            export_bench(log, Path(out))
    except InputError:
        return
    finally:
        path.write_bytes(good)
        with log._writing():
            for table in ("record_cards", "record_files", "record_parents", "records", "cards", "files"):
                log.database.execute(f"DELETE FROM {table}")


TARGETS: dict[str, Target] = {
    "pad-lines": pad_lines,
    "pattern-lines": pattern_lines,
    "patterns": patterns,
    "traffic": traffic,
    **{f"card-{kind}": functools.partial(card, kind) for kind in CARDS},
    "travelling": travelling,
    "plan": plan,
    **{f"export-{part}": functools.partial(exported, part) for part in ("records", "cards", "files")},
}


def corpus(name: str) -> list[bytes]:
    """Valid samples of one target and what was kept of earlier fuzzing."""
    kept = [path.read_bytes() for path in sorted((KEPT / name).glob("*"))]
    return _samples(name) + kept


def _samples(name: str) -> list[bytes]:
    if name == "pad-lines":
        return [
            frame("PB1 0 0 0 0 0 0 0000"),
            frame("PB1 7 1000 5 -6 7 8388607 0010"),
            frame("PB1 ID board=main fw=1.0 ch=4 rate=80 run=1 boot=power"),
            frame("PB1 OK rate 80"),
            frame("PB1 ERR what"),
            b"noise\r\n",
        ]
    if name == "pattern-lines":
        return [
            b"1,2.5,-3,4e2",
            b'{"t": 5, "loads": [1, 2, null, 4]}',
            b"1: 20 g\n2: 21 g\n3: 1 g\n4: 2 g",
            b"#5 x 1 2",
            b"$1,2,3,4*1C",
        ]
    if name == "patterns":
        return [pattern.encode() for pattern in PATTERNS]
    if name == "traffic":
        path = _place() / "made.txt"
        path.unlink(missing_ok=True)
        with TrafficRecorder(path, port="pads", now=0.0) as recorder:
            recorder.tap(frame("PB1 7 1000 5 -6 7 8388607 0010"), 0.5)
            recorder.tap(b"\x00\xff\\", 0.75, ">")
            recorder.tap(b"lost", 1.0, "!")
        return [path.read_bytes()]
    if name.startswith("card-"):
        return [card_text(name.removeprefix("card-")).encode()]
    if name == "travelling":
        source = _place() / "car.toml"
        source.write_text(card_text("car"), encoding="utf-8")
        return [send_card(source, _place() / "travelling.toml", sender="bench 1").read_bytes()]
    if name == "plan":
        return [plan_table({"tyre": ["soft", "hard"]}, repeats=2, run_in=1).encode()]
    part = name.removeprefix("export-")
    rows = (_sample_export() / f"{part}.jsonl").read_text(encoding="utf-8")
    return [rows.encode(), json.dumps([1]).encode() + b"\n"]
