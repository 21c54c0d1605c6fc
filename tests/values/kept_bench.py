"""What the commands say of the kept bench: figures and sentences, through the command line, files and SQLite only."""

import contextlib
import hashlib
import html
import io
import json
import re
import shutil
import sqlite3
from pathlib import Path
from typing import Any

from rig.main import main

KEPT = Path(__file__).parents[1] / "data" / "kept_bench"
SWEEP = ["grip", "sweep", *(f"at-{pct}.toml" for pct in (38, 45, 52, 59, 66))]
AS_JSON: dict[str, list[str]] = {
    "recalculate": ["log", "recalculate", "--tolerance", "1e-9"],
    "predict rolling": ["push", "forecast", "rolling.toml"],
    "weigh typed": ["weigh", "typed.toml"],
    "compare second": ["push", "second.toml", "--clip", "two-pushes.mp4", "--push", "2"],
    "tilt": ["grip", "tilt", "first.toml", "--part", "rear", "--angle", "17", "--angle", "15.5", "--nose", "down"],
    "pull": ["grip", "pull", "first.toml", "--part", "car", "--force", "12.4", "--force", "13.2", "--angle", "8"],
    "sweep": SWEEP,
    "grip": ["grip", "first.toml"],
    "infer": ["grip", "infer", "first.toml", "at-66.toml"],
    "ladder": ["grip", "ladder", "first.toml", "hard.toml"],
    "effects": ["change", "effects", "series.csv"],
    "reach": ["aim", "first.toml", "--pivot", "-30", "--ballast", "80", "--ballast-at", "200"],
    "ballast": ["aim", "ballast", "first.toml", "--mass", "60", "--front", "53"],
    "ballast moved": ["aim", "ballast", "first.toml", "--mass", "45", "--from", "20", "30", "--to", "210", "-55"],
    "level": ["pads", "level", "first.toml", "--heights", "0", "0.4", "0.15", "0.05"],
    "moving": ["moving", "car.toml"],
}
BEFORE = {"grip": ["sweep", "tilt", "pull", "sweep"]}
"""Questions whose answer takes what others wrote into the log before."""
IN_WORDS: dict[str, list[str]] = {
    "weigh typed": ["weigh", "typed.toml"],
    "grip": ["grip", "first.toml"],
    "sweep": SWEEP,
    "ladder": ["grip", "ladder", "first.toml", "hard.toml"],
    "effects": ["change", "effects", "series.csv"],
    "level": ["pads", "level", "first.toml", "--heights", "0", "0.4", "0.15", "0.05"],
}
TOLD = "1,3,4,5,6,23,26,27,28,30,31,32,33,34"
"""Records of the report: without pushes and forecasts that are in a comparison."""
RECORDS = "SELECT number, kind, title, inputs, result FROM records ORDER BY number"
BLANKS = (
    (r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:\+00:00|Z)?(?: UTC)?)?", "<time>"),
    (r"\b(?=[0-9a-f]*[a-f])[0-9a-f]{12,}\b", "<sum>"),
    (r"(?<=  )[0-9a-f]{8}(?=  )", "<id>"),
    (r'(?m)^(\s*id = )"[a-z]{8}"', r'\1"<id>"'),
)
"""Pattern -> what is put in its place: what differs from run to run."""


def heard(folder: Path) -> tuple[dict[str, Any], dict[str, Any]]:
    """Every figure and sentence, each from a copy of the kept bench of its own below a folder."""
    figures = {what: figures_of(what, folder / f"{n}-figures") for n, what in enumerate(["records", *AS_JSON])}
    sentences = {what: sentences_of(what, folder / f"{n}-sentences") for n, what in enumerate(["report", *IN_WORDS])}
    return figures, sentences


def figures_of(what: str, folder: Path) -> Any:
    """What a command says as JSON (or the log's records), from a copy of the kept bench in a new folder."""
    if what == "records":
        return records(KEPT / "log" / "bench-log.sqlite")
    bench = copied(folder)
    for name in BEFORE.get(what, ()):
        run(bench, AS_JSON[name])
    return blanked_all(json.loads(run(bench, [*AS_JSON[what], "--json"])), bench)


def sentences_of(what: str, folder: Path) -> list[str]:
    """What a command prints (or the report's words), line by line, from a copy of the kept bench in a new folder."""
    bench = copied(folder)
    if what == "report":
        return report(bench)
    return [line.rstrip() for line in blanked(run(bench, IN_WORDS[what]), bench).splitlines()]


def copied(folder: Path) -> Path:
    """The kept bench below a folder, its log knowing the files there."""
    bench = folder / "bench"
    shutil.copytree(KEPT, bench)
    here(bench / "log" / "bench-log.sqlite", bench)
    return bench


def records(path: Path) -> dict[str, Any]:
    """Every record as the log has it."""
    with contextlib.closing(sqlite3.connect(path)) as database:
        rows = database.execute(RECORDS).fetchall()
    return {
        str(number): {"kind": kind, "title": title, "result": json.loads(result)}
        for number, kind, title, _, result in rows
    }


def here(path: Path, bench: Path) -> None:
    """Tell the log where the clip and the tracks lie now: what has the same sum is the same file."""
    found = {hashlib.sha256(one.read_bytes()).hexdigest(): one for one in bench.rglob("*") if one.is_file()}
    with contextlib.closing(sqlite3.connect(path)) as database:
        for (digest,) in database.execute("SELECT hash FROM files").fetchall():
            if digest in found:
                database.execute("UPDATE files SET path = ? WHERE hash = ?", (str(found[digest].absolute()), digest))
        database.commit()


class Terminal(io.StringIO):
    """Takes what is printed, and says that it is a terminal."""

    def isatty(self) -> bool:
        """It is."""
        return True


def run(bench: Path, arguments: list[str], *, terminal: bool = False) -> str:
    """What a command prints, into a pipe or onto a terminal. Cards, plans and clips are named by their file names."""
    folders = {".toml": "cards", ".csv": "cards", ".mp4": "clips"}
    paths = [str(bench / folders[Path(a).suffix] / a) if Path(a).suffix in folders else a for a in arguments]
    printed = Terminal() if terminal else io.StringIO()
    code: object = None
    with contextlib.redirect_stdout(printed):
        try:
            main([*paths, "--log", str(bench / "log")])
        except SystemExit as ended:
            code = ended.code
    # recalculate ends with 1 where something differs, and prints what: a test looks at that
    assert code in ((0, 1) if "recalculate" in arguments else (0,)), (arguments, printed.getvalue())
    return printed.getvalue()


def report(bench: Path) -> list[str]:
    """The words of the report on most of the log, line by line."""
    run(bench, ["log", "report", "--records", TOLD, "--out", str(bench / "report.html")])
    return lines_of((bench / "report.html").read_text(encoding="utf-8"), bench)


def lines_of(text: str, bench: Path) -> list[str]:
    """The words of a page (HTML), line by line."""
    text = re.sub(r"<(style|script|svg)\b.*?</\1>", " ", text, flags=re.DOTALL)
    text = re.sub(r"</(p|li|h\d|tr|figcaption|title|div|summary)>", "\n", text)
    text = html.unescape(re.sub(r"<[^>]*>", " ", text))
    return [" ".join(line.split()) for line in blanked(text, bench).splitlines() if line.strip()]


def blanked(text: str, bench: Path) -> str:
    """Without times, sums and the folder's own path."""
    text = text.replace(str(bench), "<bench>")
    for pattern, name in BLANKS:
        text = re.sub(pattern, name, text)
    return text


def blanked_all(told: Any, bench: Path) -> Any:
    """The same for every text in a result."""
    if isinstance(told, dict):
        return {key: blanked_all(one, bench) for key, one in told.items()}
    if isinstance(told, list):
        return [blanked_all(one, bench) for one in told]
    return blanked(told, bench) if isinstance(told, str) else told
