"""Whatever names a command anywhere names one that is there; every example is understood, the cheap ones run."""

import ast
import re
import shlex
import tomllib
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import click
import pytest

from rig.command.first_screen import FIRST_SCREEN
from tests.rig.command.command_tree import every_command, found

ROOT = Path(__file__).parents[3]
Run = Callable[..., tuple[int, str, str]]


def text_of(node: ast.expr) -> str:
    """A string with what is put into it left as X."""
    if isinstance(node, ast.JoinedStr):
        return "".join(one.value if isinstance(one, ast.Constant) else "X" for one in node.values)
    assert isinstance(node, ast.Constant)
    return str(node.value)


@cache
def sentences() -> tuple[tuple[str, str], ...]:
    """Every text of the product, and the file where it stands."""
    return tuple(read())


def read() -> Iterator[tuple[str, str]]:
    """Strings of the source, pages, notes and the readmes."""
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
    card.write_text(
        card.read_text().replace("# typed.weights_g = [410, 395, 420, 405]", "typed.weights_g = [410, 395, 380, 372]")
    )
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


NO_NAMES = re.compile(r"\btar(?:e|ed|ing)\b|\bcar(?:'s)? sheet|\bmarker sheets?\b", re.IGNORECASE)
"""The zero of the pads and the marker plate have one name each; `kept` names of causes stand in records."""


def test_each_thing_has_one_name() -> None:
    kept = {"print scale of the car sheet"}
    wrong = [
        f"{where}: {found[0]}" for where, text in sentences() if text not in kept for found in NO_NAMES.finditer(text)
    ]
    assert wrong == []
