"""Questions to kept benches, each put to a copy of its own: what is printed, what is written down, what JSON says.

A question is a list of commands as a person types them in the bench's folder. What they print is kept, with the records
that they write; where they say it as JSON, or write a file, that too.
"""

import contextlib
import csv
import io
import json
import math
import os
import re
import shutil
import sqlite3
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from starlette.testclient import TestClient

from rig.cards.measures import wheelbase
from rig.cards.read import read_set
from rig.command import options
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.pushing.balance import answer_push, write_answer
from rig.log.store import BenchLog
from rig.main import main
from rig.page.bench.bench import Bench
from rig.page.server.app import Page
from tests.rig.jobs.synthetic_pushes import measured, pushed_track, weighed
from tests.values.kept_bench import blanked, blanked_all, here, lines_of

DATA = Path(__file__).parents[1] / "data"
CROOKED, FILMED = DATA / "kept_crooked", DATA / "kept_bench"
PORT = 8377


PUSHES = {
    "middle": (34.0, 29.0),
    "middle-again": (28.0, 32.0),
    "middle-rubber": (38.0, 26.0),
    "middle-rubber-again": (33.0, 30.0),
    "nose": (48.2, 9.8),
    "tail": (14.5, 43.0),
    "ballasted": (31.0, 30.0),
}
"""Test card -> mm that the middles of its front and rear axle went across, in the way that the card's side says."""


@dataclass(frozen=True, slots=True)
class Question:
    """commands: one after the other.  files: what they write, kept as text or as JSON, by its ending.

    pushed: whether the pushes of `PUSHES` are in its log.
    """

    bench: Path
    commands: tuple[str, ...]
    files: tuple[str, ...] = ()
    pushed: bool = False


def crooked(*commands: str, files: tuple[str, ...] = ()) -> Question:
    """Put to the crooked bench, with an empty log."""
    return Question(CROOKED, commands, files)


def pushed(*commands: str, files: tuple[str, ...] = ()) -> Question:
    """Put to the crooked bench after the pushes of `PUSHES`."""
    return Question(CROOKED, commands, files, pushed=True)


def filmed(*commands: str, files: tuple[str, ...] = ()) -> Question:
    """Put to the filmed one, with its log."""
    return Question(FILMED, commands, files)


@dataclass(slots=True)
class Heard:
    """said: lines as printed.  json: what --json said.  records: those written.  files: name -> content."""

    said: list[str] = field(default_factory=list)
    json: list[Any] = field(default_factory=list)
    records: list[dict[str, Any]] = field(default_factory=list)
    files: dict[str, Any] = field(default_factory=dict)

    def plain(self) -> dict[str, Any]:
        """What is kept: nothing that is empty."""
        return {name: told for name in ("said", "json", "records", "files") if (told := getattr(self, name))}


def hear(question: Question, folder: Path, bench_before: Path | None = None) -> dict[str, Any]:
    """The answer to a question, on a copy of its bench, or of another one in its place, below a folder."""
    bench = folder / "bench"
    shutil.copytree(bench_before or question.bench, bench, ignore=shutil.ignore_patterns("expected*", "two-*.mp4"))
    log, before = bench / "log" / "bench-log.sqlite", 0
    if log.exists():
        here(log, bench)
        before = max(_numbers(log))
    heard = Heard()
    if any(command.startswith("GET ") for command in question.commands):
        return {"page": blanked_all(page_told(bench, question.commands), bench)}
    with contextlib.chdir(bench), patch.dict(os.environ, {"PIVOTBENCH_LOG": str(bench / "log"), "COLUMNS": "100"}):
        for command in question.commands:
            printed = said(command)
            if "--json" in command.split():
                heard.json.append(blanked_all(json.loads(printed), bench))
            else:
                heard.said += [line.rstrip() for line in blanked(printed, bench).splitlines()]
        for name in question.files:
            heard.files[name] = _content(bench / name, bench)
    if log.exists():
        heard.records = blanked_all(_records(log, before), bench)
    return heard.plain()


def pushed_before(folder: Path) -> Path:
    """The crooked bench with pushes whose axles went as far as `PUSHES` says, measured and answered as clips are."""
    bench = folder / "pushed"
    shutil.copytree(CROOKED, bench, ignore=shutil.ignore_patterns("expected*"))
    (bench / "clips").mkdir()
    with BenchLog(bench / "log") as log:
        for name, went in PUSHES.items():
            cards, clip = read_set(bench / "cards" / f"{name}.toml"), bench / "clips" / f"{name}.mp4"
            clip.write_bytes(name.encode())
            side = 1 if cards.test.push.side == "right" else -1
            track = pushed_track(went[0] / 1e3, went[1] / 1e3, side=side, length=wheelbase(cards.car))
            push = pushes_in(track, cards).pushes[0]
            record, weights = measured(log, cards, push, clip=clip, track=track), weighed(cards, log)
            write_answer(log, cards, answer_push(cards, push, weights), push=record, weighing=weights)
    return bench


def page_told(bench: Path, asked: tuple[str, ...]) -> dict[str, Any]:
    """What the page's addresses answer where its cards are those of the push at the middle, its weights typed there."""
    folder = bench / "log"
    Bench(folder).close()  # makes the place for its cards
    for name, file in (("car", "car"), ("bench", "bench"), ("test", "middle")):
        shutil.copy(bench / "cards" / f"{file}.toml", folder / "page" / "bench" / f"{name}.toml")
    page = Page(Bench(folder), port=PORT, phone_host="127.0.0.1")
    here_only = TestClient(page.app, base_url=f"http://127.0.0.1:{PORT}", headers={"x-bench-token": page.token})
    try:
        page.bench.on_pads.weigh_typed([437.5, 371.5, 362.0, 431.0], 0.5)
        told = {}
        for one in asked:
            answer = here_only.get(one.removeprefix("GET "))
            assert answer.status_code == 200, (one, answer.text)
            if "json" in answer.headers["content-type"]:
                told[one] = answer.json()
                told[one].pop("drawn", None)  # outlines of a hundred places: what they mean stands beside them
                for part in ("now", "tried"):
                    if isinstance(told[one].get(part), dict):
                        told[one][part].pop("drawn", None)
            else:
                told[one] = lines_of(answer.text, bench)
    finally:
        page.close()
    return told


def said(command: str) -> str:
    """What a command prints, its remarks among it (for JSON: without them). Words in quotes may have blanks."""
    words = [one.strip('"') for one in re.findall(r'"[^"]*"|\S+', command)]
    out = io.StringIO()
    aside = io.StringIO() if "--json" in words else out
    code: object = None
    on_time = patch.object(options, "LINE_EVERY_S", math.inf)  # how far it is, on a slow machine only
    with on_time, contextlib.redirect_stdout(out), contextlib.redirect_stderr(aside):
        try:
            main(words)
        except SystemExit as ended:
            code = ended.code
    assert not code, (command, out.getvalue())
    return out.getvalue()


def _numbers(log: Path) -> list[int]:
    with contextlib.closing(sqlite3.connect(log)) as base:
        return [number for (number,) in base.execute("SELECT number FROM records")]


def _records(log: Path, after: int) -> list[dict[str, Any]]:
    with contextlib.closing(sqlite3.connect(log)) as base:
        rows = base.execute(
            "SELECT kind, title, inputs, result FROM records WHERE number > ? ORDER BY number", [after]
        ).fetchall()
    return [
        {"kind": kind, "title": title, "inputs": json.loads(inputs), "result": json.loads(result)}
        for kind, title, inputs, result in rows
    ]


def _content(path: Path, bench: Path) -> Any:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".json":
        return blanked_all(json.loads(text), bench)
    if path.suffix == ".csv":
        return [[_number(cell) for cell in row] for row in csv.reader(blanked(text, bench).splitlines())]
    return lines_of(text, bench) if path.suffix == ".html" else blanked(text, bench).splitlines()


def _number(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return cell


TRIED = "spring_front=120&spring_rear=90&bar_front=1.2&bar_rear=0.4&ballast_g=60&ballast_pct=80&height_mm=2"
QUESTIONS: dict[str, Question] = {
    "weigh, one scale": crooked("weigh cards/left.toml", "weigh cards/left.toml --json"),
    "weigh, four scales": crooked("weigh cards/right.toml"),
    "weigh, scales unsaid, contacts one by one": crooked("weigh cards/bare.toml"),
    "pads level": crooked("pads level cards/left.toml --heights 0.3 0 0.1 0.7"),
    "forecast, sticking from the right": crooked("push forecast cards/right.toml --seed 4"),
    "forecast, with a shaft": crooked("push forecast cards/shaft.toml"),
    "forecast, front blocked": crooked("push forecast cards/half.toml"),
    "push, pivot typed": crooked("push cards/stiff.toml --out out", files=("out/stiff.html",)),
    "grip tilt": crooked("grip tilt cards/left.toml --part rear --angle 36.5 --angle 37.5 --angle-u 0.7 --nose down"),
    "grip tilt, front, sliding": crooked("grip tilt cards/left.toml --part front --angle 41 --sliding"),
    "grip pull": crooked("grip pull cards/left.toml --part front --force 7.2 --force 7.5 --gauge-u 0.03 --angle 9"),
    "grip pull, rear, static": crooked("grip pull cards/left.toml --part rear --force 6.1 --force 5.8 --static"),
    "grip along": crooked(
        "grip along cards/left.toml --part rear --along 6.4 --along 6.2 --across 5.9 --across 6.1 --way backwards "
        "--string-mm 14 --string-mm-u 2"
    ),
    "grip, combined": crooked(
        "grip tilt cards/left.toml --part rear --angle 36.5 --angle 37.5",
        "grip pull cards/left.toml --part front --force 7.2 --force 7.5",
        "grip pull cards/left.toml --part car --force 13.3 --force 12.9",
        "grip cards/left.toml",
    ),
    "grip load, pulls": crooked(
        "grip load cards/left.toml --pull 400 3.61 --pull 620 5.32 --pull 840 6.91 --pull 840 6.87 --pull 620 5.36 "
        "--pull 400 3.64"
    ),
    "moving": crooked("moving cards/left.toml cards/phases.toml --drive four --phase hold"),
    "moving, two set-ups, JSON": crooked("moving cards/left.toml cards/phases.toml --against cards/stiff.toml --json"),
    "moving, two set-ups": crooked(
        "moving cards/left.toml cards/phases.toml --against cards/stiff.toml --drive four --phase flick"
    ),
    "moving, other weights and grip": crooked(
        "moving cards/car.toml cards/phases.toml --weights 430 365 350 460 --grip 0.7 0.95 --drive front --json"
    ),
    "moving tilt": crooked("moving tilt cards/left.toml --readings cards/tilted.csv --pad-g 0.8"),
    "moving by tilted pads": crooked(
        "moving tilt cards/left.toml --readings cards/tilted.csv", "moving cards/left.toml cards/phases.toml"
    ),
    "moving freeze": crooked("moving freeze cards/left.toml cards/phases.toml --ballast 140"),
    "moving freeze, at a place": crooked(
        "moving freeze cards/left.toml cards/phases.toml --ballast 90 --at 55 --phase flick"
    ),
    "rates, spring": crooked("moving rates spring --at 0 40.0 --at 500 37.9 --at 1000 36.1"),
    "rates, ratio": crooked("moving rates ratio --at 0 52.0 --at 10 45.6 --at 14 43.1"),
    "rates, shim": crooked("moving rates shim --gained 27 --shim 1.2 --track 167.5 155.5 --body-roll 0.16"),
    "rates, shim, rear blocked": crooked("moving rates shim --gained 27 --blocked 41 --shim 1.2 --track 167.5 155.5"),
    "rates, bar": crooked("moving rates bar --with-bar 12.0 0.3 --without 8.0 0.4 --track 165"),
    "rates, bounce": crooked("moving rates bounce cards/bounce.csv"),
    "aim, springs": crooked("aim cards/left.toml --sideways 0.5"),
    "aim, ballast": crooked("aim cards/left.toml --balance 53 --ballast 120 --ballast-at 210"),
    "aim, tyres": crooked("aim cards/left.toml --balance 54 --tyres cards/rubber.toml"),
    "aim, place": crooked("aim cards/left.toml --pivot -40"),
    "aim ballast, front": crooked("aim ballast cards/left.toml --mass 60 --front 53"),
    "aim ballast, left": crooked("aim ballast cards/left.toml --mass 60 --from 20 30 --left 52"),
    "aim ballast, cross": crooked("aim ballast cards/left.toml --mass 90 --cross 48"),
    "aim ballast, moved": crooked("aim ballast cards/left.toml --mass 45 --from 20 30 --to 210 -55"),
    "plan": crooked(
        "change plan plan.csv --factor tyre=soft,hard --factor ballast=none,rear,front --slow tyre --repeats 2 "
        "--run-in 1 --position 40 --position 66 --seed 5",
        files=("plan.csv",),
    ),
    "new": crooked(
        "new fresh --wheelbase 262 --track 167.5 --track 155.5 --wheels free --bar 98.5 --position 61 --side left "
        '--name "Crooked new"',
        files=("fresh/car.toml", "fresh/bench.toml", "fresh/test.toml"),
    ),
    "new card": crooked(
        "new card cards/stiff-car.toml --baseline cards/car.toml --out card.html", files=("card.html",)
    ),
    "new send and take": crooked(
        "new send cards/car.toml --out sent.card.toml --from Hall", "new take sent.card.toml taken"
    ),
    "log": crooked("weigh cards/left.toml", "weigh cards/bare.toml", "log", "log --json", "log --kind weighing"),
    "log report": crooked(
        "weigh cards/left.toml",
        "moving tilt cards/left.toml --readings cards/tilted.csv",
        "grip along cards/left.toml --part front --along 6.9 --across 6.4",
        "grip load cards/left.toml --pull 400 3.61 --pull 620 5.32 --pull 840 6.91 --pull 400 3.6",
        "push cards/stiff.toml",
        "log report --out report.html",
        files=("report.html",),
    ),
    "log aside": crooked("weigh cards/left.toml", 'log aside 1 --why "a foot on the pad"', "log"),
    "log export": crooked(
        "weigh cards/left.toml",
        "push cards/stiff.toml",
        "log --out tables",
        "log export whole",
        files=("tables/weighing.csv",),
    ),
    "change": pushed("change cards/middle.toml cards/middle-rubber.toml --out out"),
    "change, by record": pushed(
        "change cards/middle-rubber.toml cards/middle.toml --a 6 --b 1 --out out",
        "log report --kind change --out c.html",
        files=("c.html",),
    ),
    "effects": pushed("change effects cards/series.csv"),
    "aim, pushed": pushed("aim cards/middle.toml --balance 51 --ballast 120 --ballast-at 20"),
    "aim, pushed, JSON": pushed("aim cards/middle-rubber.toml --pivot -90 --json"),
    "sweep": pushed("grip sweep cards/tail.toml cards/middle-again.toml cards/middle.toml cards/nose.toml"),
    "infer": pushed("grip infer cards/tail.toml cards/nose.toml"),
    "infer, the centre of gravity": pushed(
        'grip infer cards/tail.toml cards/middle.toml cards/nose.toml --also "cg station"'
    ),
    "ladder": pushed("grip ladder cards/middle.toml cards/middle-rubber.toml"),
    "grip load, pushes": pushed("grip load cards/middle.toml cards/ballasted.toml"),
    "moving by pushes": pushed("moving cards/middle.toml cards/phases.toml --json"),
    "freeze, pushed": pushed(
        "moving freeze cards/middle.toml cards/phases.toml --phase flick --pushed cards/ballasted.toml"
    ),
    "log, pushed": pushed(
        "log --kind push", "log --kind balance --json", "log report --out report.html", files=("report.html",)
    ),
    "page": crooked(
        "GET /api/record",
        "GET /api/what-if?front=0.9&rear=0.7&ballast_g=80&ballast_pct=110&push_pct=72&whole=1",
        f"GET /api/region?{TRIED}",
        "GET /api/freeze?ballast_g=140",
        "GET /print/weights",
        f"GET /print/region?{TRIED}",
    ),
    "page, pushed": pushed("GET /api/record", "GET /api/compared"),
    "log, filmed": filmed("log"),
    "log report, filmed": filmed("log report --out report.html", files=("report.html",)),
}
