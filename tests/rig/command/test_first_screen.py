"""The first screen, its words and its help; whatever names a command anywhere names one that is there."""

import ast
import re
import shlex
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest

from rig.command.first_screen import FIRST_SCREEN
from rig.command.group import BenchCommand
from rig.log import opening
from rig.main import cli, main

ROOT = Path(__file__).parents[3]
PATHS = [(first,) for first in FIRST_SCREEN] + [
    (first, word) for first in FIRST_SCREEN for word in FIRST_SCREEN[first].words
]
RATES = ("moving", "rates")
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command line in a folder of its own; answers exit code, standard output, standard error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PIVOTBENCH_LOG", str(tmp_path / "log"))
    monkeypatch.setenv("COLUMNS", "80")

    def call(line: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            main(shlex.split(line))
        out, err = capfd.readouterr()
        return int(ended.value.code or 0), out, err

    return call


def found(path: tuple[str, ...]) -> tuple[click.Context, click.Command]:
    """The command behind its words, as the command line finds it."""
    context: click.Context = click.Context(cli, info_name="pivotbench")
    command: click.Command = cli
    for i in range(len(path)):
        assert isinstance(command, click.Group), path
        name, inner, _ = command.resolve_command(context, list(path[i:]))
        assert inner is not None, path
        context, command = click.Context(inner, parent=context, info_name=name), inner
    return context, command


def every_command() -> Iterator[tuple[tuple[str, ...], BenchCommand]]:
    """Every command that can be run, with its words."""
    for path in PATHS:
        command = found(path)[1]
        if isinstance(command, click.Group):
            inner = {(*path, name): one for name, one in command.commands.items()}
        else:
            inner = {path: command}
        for words, one in inner.items():
            assert isinstance(one, BenchCommand), words
            yield words, one


def test_the_first_screen_is_the_jobs_own_order() -> None:
    # the table of the design
    assert {name: " ".join(level.words) for name, level in FIRST_SCREEN.items()} == {
        "demo": "",
        "new": "sheets card send take",
        "pads": "list calibrate zero live level record",
        "weigh": "height cross",
        "push": "film measure forecast folder",
        "grip": "tilt pull sweep infer ladder",
        "change": "plan effects",
        "aim": "ballast",
        "moving": "rates drive",
        "camera": "calibrate floor plate",
        "bench": "",
        "log": "report export import check recalculate aside",
    }
    assert list(FIRST_SCREEN) == [
        "demo",
        "new",
        "pads",
        "weigh",
        "push",
        "grip",
        "change",
        "aim",
        "moving",
        "camera",
        "bench",
        "log",
    ]


def test_help_has_a_line_for_each_and_fits_a_screen(run: Run) -> None:
    code, out, _ = run("--help")
    assert code == 0
    lines = out.splitlines()
    assert len(lines) <= 24
    for name in FIRST_SCREEN:
        assert sum(line.startswith(f"  {name} ") for line in lines) == 1, name
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("path", PATHS, ids=" ".join)
def test_every_help_shows_one_example_and_the_next_step(path: tuple[str, ...], run: Run) -> None:
    code, out, _ = run(f"{' '.join(path)} --help")
    assert code == 0
    assert out.splitlines()[0].startswith(f"Usage: pivotbench {' '.join(path)} ")
    assert re.search(rf"^ *Example: pivotbench {' '.join(path)}( |$)", out, re.MULTILINE)
    if path == RATES:
        return  # words of its own, each with its example and next step
    assert re.search(r"^Next: \S", out, re.MULTILINE)
    for word in FIRST_SCREEN[path[0]].words if len(path) == 1 else ():
        assert re.search(rf"^  {word} +\S", out, re.MULTILINE)
    assert max(map(len, out.splitlines())) <= 80  # also the lines to be copied
    assert len(out.splitlines()) <= 24  # one screen


@pytest.mark.parametrize(
    ("line", "means"),
    [
        ("wiegh test.toml", "pivotbench weigh?"),
        ("Push test.toml", "pivotbench push?"),
        ("weigh hieght test.toml", "pivotbench weigh height?"),
        ("pads calibarte test.toml", "pivotbench pads calibrate?"),
        ("log recalc", "pivotbench log recalculate?"),
        ("new sheet", "pivotbench new sheets? For a folder of that name: ./sheet"),
        ("moving rates sprng", "pivotbench moving rates spring?"),
        ("measure push.mp4 test.toml", "pivotbench push measure?"),  # a word without its command: plain closeness
        ("recalculate", "pivotbench log recalculate, or pivotbench pads calibrate, or pivotbench camera calibrate?"),
        ("weigh test.toml --placngs 3", "--placings"),
        ("log --kind comparisn", '"comparison"'),  # or it would say that nothing is recorded
        ("log report --kind Weighing --out x.html", '"weighing"'),
        ("push folder some --agin", "--again"),
    ],
)
def test_what_is_mistyped_gets_the_likely_one(line: str, means: str, run: Run, tmp_path: Path) -> None:
    code, out, err = run(line)
    assert (code, out) == (2, "")
    assert f"Did you mean: {means}" in err or f"Did you mean '{means}'?" in err or f"Did you mean {means}?" in err
    assert list(tmp_path.iterdir()) == []  # nothing was made for a word that was meant otherwise


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("compute", "pivotbench alone lists all commands"),
        ("pads ports", "Its words: list, calibrate, zero, live, level, record."),
        ("weigh lift", "no file here is called that (TEST.toml). Its words: height, cross."),
        ("bench now", 'pivotbench bench has no word "now".'),
        ("moving rates x", "Its words: "),
        ("pads test.toml", 'pivotbench pads has no word "test.toml". Its words: list, calibrate'),
        ("weigh test.toml height", "A word comes right after its command: pivotbench weigh height …"),
        ("grip test.toml pull --force 3", "A word comes right after its command: pivotbench grip pull …"),
        ("weigh test.toml other.toml", "unexpected extra argument (other.toml)"),
    ],
)
def test_what_is_like_nothing_gets_the_list(line: str, says: str, run: Run) -> None:
    code, out, err = run(line)
    assert (code, out) == (2, "")
    assert says in err
    assert "Did you mean" not in err


def test_a_word_is_a_word_and_anything_else_a_path(run: Run, tmp_path: Path) -> None:
    run("new my-bench")
    card = (tmp_path / "my-bench" / "test.toml").read_text()
    typed = re.sub(r"^# weights_g =", "weights_g = [410, 395, 380, 372]", card, count=1, flags=re.MULTILINE)
    for name in ("height", "heigth", "my"):  # a card may be called as a word is, or nearly
        (tmp_path / "my-bench" / name).write_text(typed)
    (tmp_path / "height").symlink_to(tmp_path / "my-bench" / "height")
    code, _, err = run("weigh height")
    assert code == 2
    assert "Missing argument 'TEST.toml'" in err  # the word, not the file that is there
    for name in ("./height", "my-bench/height", "my-bench/heigth"):
        code, out, _ = run(f"weigh {name}" if "/" in name else f"weigh ./{name}")
        assert code == (2 if name == "./height" else 0), name
    assert "1557" in out  # by hand: 410 + 395 + 380 + 372
    (tmp_path / "heigth").symlink_to(tmp_path / "my-bench" / "heigth")
    assert run("weigh heigth")[0] == 2  # the cards beside it are not here
    assert "names no file" in run("weigh heigth")[2]  # but it was taken for the path that it is
    code, _, _ = run("new ./sheets")
    assert code == 0
    assert (tmp_path / "sheets" / "test.toml").exists()


def test_alone_it_says_where_one_stands_and_what_comes_next(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("")
    assert code == 0
    assert out.startswith("No bench here yet.")
    assert "Next: pivotbench new my-bench" in out
    for name in FIRST_SCREEN:
        assert re.search(rf"^  {name} +\S", out, re.MULTILINE)
    assert len(out.splitlines()) <= 24
    assert list(tmp_path.iterdir()) == []  # a question writes nothing, no log either
    run("new my-bench")
    _, out, _ = run("")
    assert "my-bench/test.toml (middle, right side; Dunlin): not weighed yet, no push measured yet" in out
    assert "Next: pivotbench weigh my-bench/test.toml" in out
    assert not (tmp_path / "log").exists()
    card = tmp_path / "my-bench" / "test.toml"
    card.write_text(re.sub(r"^# weights_g =", "weights_g = [410, 395, 380, 372]", card.read_text(), flags=re.MULTILINE))
    run("weigh my-bench/test.toml")
    _, out, _ = run("")
    assert "weights typed in, no push measured yet" in out
    assert f"Log: 1 record in {tmp_path / 'log'}." in out
    assert "Next: pivotbench push my-bench/test.toml --clip CLIP" in out
    card.write_text(card.read_text().replace("position_pct = 50.0", 'position_pct = "fifty"'))
    _, out, _ = run("")
    assert "my-bench/test.toml: " in out
    assert "position_pct" in out
    assert "Next: put right what is said of my-bench/test.toml above" in out


@pytest.mark.parametrize("damage", ["no log", "damaged"])
def test_a_log_that_cannot_be_read_is_told_and_not_raised(run: Run, tmp_path: Path, damage: str) -> None:
    run("new my-bench")
    card, file = tmp_path / "my-bench" / "test.toml", tmp_path / "log" / "bench-log.sqlite"
    if damage == "no log":
        file.parent.mkdir()
        file.write_bytes(b"no database at all, but long enough to be looked at" * 40)
    else:
        typed = re.sub(r"^# weights_g =", "weights_g = [410, 395, 380, 372]", card.read_text(), flags=re.MULTILINE)
        card.write_text(typed)
        assert run("weigh my-bench/test.toml")[0] == 0
        whole = file.read_bytes()
        file.write_bytes(whole[:4096] + bytes(len(whole) - 4096))
        opening._looked_over.clear()  # this process has seen it whole
    code, out, err = run("")
    assert (code, err) == (0, "")
    assert "Next: pivotbench log check" in out


# what is named anywhere


def text_of(node: ast.expr) -> str:
    """A string with what is put into it left as X."""
    if isinstance(node, ast.JoinedStr):
        return "".join(one.value if isinstance(one, ast.Constant) else "X" for one in node.values)
    assert isinstance(node, ast.Constant)
    return str(node.value)


def sentences() -> Iterator[tuple[str, str]]:
    """Every text of the product: strings of the source, pages, notes and the readmes."""
    for room in ("rig", "analysis", "vision"):
        for path in sorted((ROOT / room).rglob("*.py")):
            tree = ast.parse(path.read_text("utf-8"))
            parts = {id(one) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for one in node.values}
            for node in ast.walk(tree):
                text = isinstance(node, ast.JoinedStr) or (
                    isinstance(node, ast.Constant) and isinstance(node.value, str)
                )
                if text and id(node) not in parts:
                    yield str(path.relative_to(ROOT)), text_of(node)  # type: ignore[arg-type]
    pages = [*(ROOT / "rig" / "page" / "static").rglob("*"), *(ROOT / "firmware_notes").rglob("*")]
    for path in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(pages)]:
        if path.suffix in (".md", ".html", ".js", ".txt", ".c", ".h", ".ino"):
            yield str(path.relative_to(ROOT)), path.read_text("utf-8")


NAMED = re.compile(r"(?<![\w./-])(?:\.venv/bin/)?pivotbench ((?!\s)[^`\n\"]*)")
PROSE = {"", "is", "alone", "itself", "again", "that", "printed", "and", "(not", "not", "into", "record", "log,"}


def named_wrong(text: str) -> str:
    """What is wrong with a command named in a sentence, from its first word on; "" when nothing is."""
    words = [word.strip("`'\"()…") for word in text.split()]
    first = words[0].rstrip(".,;:") if words else ""
    if first not in FIRST_SCREEN:
        return "" if first in PROSE or first.startswith("X") or first[:1].isdigit() else f'no command "{first}"'
    path: tuple[str, ...] = (first,)
    second = words[1].rstrip(".,;:") if len(words) > 1 and not words[0].endswith((".", ",", ";", ":")) else ""
    if second in FIRST_SCREEN[first].words:
        path = (first, second)
    command = found(path)[1]
    if isinstance(command, click.Group):
        third = words[2].rstrip(".,;:") if len(words) > 2 else ""
        if third not in command.commands:
            return ""
        command = command.commands[third]
    known = {name for one in command.params for name in (*one.opts, *one.secondary_opts)} | {"--help", "-h"}
    for word in words[1:]:
        if word.startswith("--") and word.rstrip(".,;:") not in known:
            return f"{' '.join(path)} has no {word}"
        if word.endswith((".", ";", ":")):
            break
    return ""


def test_every_sentence_names_commands_and_options_that_are_there() -> None:
    wrong, seen = [], 0
    for where, text in sentences():
        for match in NAMED.finditer(text):
            seen += 1
            if said := named_wrong(match.group(1)):
                wrong.append(f"{where}: {said} in: {match.group(0)[:90]}")
    assert seen > 80
    assert wrong == []


def test_a_wrong_name_in_a_sentence_would_be_noticed() -> None:
    assert named_wrong("measure CLIP TEST.toml")
    assert named_wrong("push measure TEST.toml --clop CLIP")
    assert named_wrong("weigh test.toml --hight 40, then more")
    assert not named_wrong("push measure TEST.toml --clip CLIP; then look at --what it says")


# examples


def examples() -> Iterator[str]:
    """Command lines to be copied: of every help, and of the readme where one starts a line or a code span."""
    for _, command in every_command():
        yield command.example
        if command.then.startswith("pivotbench "):
            yield command.then.split("   ")[0]
    text = (ROOT / "README.md").read_text("utf-8")
    yield from re.findall(r"(?:`|^)(?:\.venv/bin/)?(pivotbench [^`\n]*)", text, re.MULTILINE)


@pytest.mark.parametrize("line", list(dict.fromkeys(examples())))
def test_every_example_is_understood(line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Parsed as when it runs, with values of the right kind; the files that must be there are there."""
    monkeypatch.chdir(tmp_path)
    for name in ("table-3", "term-2026"):
        (tmp_path / name).mkdir()
    for placeholder, value in {"CLIP": "push.mp4", "FOLDER": "there", "clips/…": "clips/push.mp4"}.items():
        line = re.sub(rf"(?<![\w]){re.escape(placeholder)}(?![\w])", value, line)
    line = line.replace(" N ", " 12 ").replace(' "…"', ' "the finger slipped"')
    words = shlex.split(line)[1:]
    path: tuple[str, ...] = (words[0],)
    if len(words) > 1 and words[1] in FIRST_SCREEN[words[0]].words:
        path = (words[0], words[1])
    context, command = found(path)
    rest = words[len(path) :]
    if isinstance(command, click.Group):
        name, inner, rest = command.resolve_command(context, rest)
        assert inner is not None
        command = inner
    command.make_context(path[-1], rest, parent=context)


def test_the_cheap_examples_run(run: Run, tmp_path: Path) -> None:
    """As a newcomer with kitchen scales would go, with the very lines of the help."""
    of = {words: command.example.removeprefix("pivotbench ") for words, command in every_command()}
    assert run(of["new",])[0] == 0
    for path in (tmp_path / "my-bench").glob("*.toml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    card = tmp_path / "test.toml"
    card.write_text(re.sub(r"^# weights_g =", "weights_g = [410, 395, 380, 372]", card.read_text(), flags=re.MULTILINE))
    (tmp_path / "soft.toml").write_text((tmp_path / "car.toml").read_text())
    (tmp_path / "table-3").mkdir()
    (tmp_path / "bounce.csv").write_text("time_s,height_mm\n" + "".join(f"{i / 100},{20}\n" for i in range(3)))
    ran = [
        *(of["weigh",], of["push", "forecast"], of["grip", "tilt"], of["grip", "pull"], of["grip",]),
        *(of["aim", "ballast"], of["change", "plan"], of["new", "card"], of["new", "send"], of["new", "take"]),
        *(of["camera",], of["log",], of["log", "export"], of["log", "recalculate"], of["pads", "list"]),
        *(of["moving", "rates", name] for name in ("spring", "ratio", "shim", "bar")),
    ]
    (tmp_path / "my-bench" / "car.toml").rename(tmp_path / "elsewhere.toml")  # what is taken has its place free
    for line in ran:
        code, out, err = run(line)
        assert code == 0, f"{line}: {err}"
        assert out, line
    tomllib.loads(card.read_text())
