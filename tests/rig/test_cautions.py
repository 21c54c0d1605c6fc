"""The cautions stand where the hand is, before it moves, in the same words. Common practice, no source."""

import html
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from rig.base import cautions as said
from rig.main import cli
from rig.page.bench.lesson_steps import CAUTIONS, STEPS

ROOT = Path(__file__).parents[2]
ALL = {name: text for name, text in vars(said).items() if name.isupper()}
HELP = {
    "weigh": [said.BATTERY],
    "weigh height": [said.LIFT],
    "weigh cross": [said.BATTERY, said.SPRINGS],
    "pads calibrate": [said.MASSES],
    "push film": [said.BATTERY, said.PUPILS],
    "camera plate": [said.BATTERY],
    "grip tilt": [said.TILT, said.SPRINGS],
    "moving rates": [said.SPRINGS, said.LIFT],
    "moving drive": [said.DRIVING],
}
FILES = {
    "README.md": [
        said.SCALE,
        said.BATTERY,
        said.MASSES,
        said.SPRINGS,
        said.PUPILS,
        said.DRIVING,
        said.LOCAL,
        said.FINGER,
    ],
    "firmware_notes/wiring.md": [
        said.SOLDER,
        said.GLUE,
        said.SUPPLY,
        said.LOCAL,
        said.MASSES,
        said.BALLAST,
        said.FINGER,
    ],
    "rig/page/static/index.html": [said.BATTERY, said.PUPILS, said.MASSES],
}


def plain(text: str) -> str:
    """One line, lower case at its start: a caution may go on a sentence."""
    return re.sub(r"\s+", " ", html.unescape(text))


@pytest.mark.parametrize("command", HELP)
def test_help_warns(command: str) -> None:
    shown = plain(CliRunner().invoke(cli, [*command.split(), "--help"]).output)
    assert [text for text in HELP[command] if text not in shown] == []


@pytest.mark.parametrize("file", FILES)
def test_files_warn(file: str) -> None:
    text = plain((ROOT / file).read_text("utf-8"))
    assert [caution for caution in FILES[file] if caution not in text] == []


def test_every_caution_is_shown_somewhere_and_short() -> None:
    shown = {text for texts in (*HELP.values(), *FILES.values(), CAUTIONS) for text in texts}
    assert [name for name, text in ALL.items() if not any(text in one for one in shown)] == []
    assert [name for name, text in ALL.items() if len(text) > 120] == []


def test_the_lesson_warns_of_what_each_step_does() -> None:
    with_glue = [step for step in STEPS if "glue" in step.todo]
    assert with_glue
    assert all(said.GLUE in step.caution for step in with_glue)
    blocked = [step for step in STEPS if "Push" in step.todo and "Block" in step.todo]
    assert blocked
    assert all(said.BATTERY in step.caution for step in blocked)


@pytest.mark.parametrize(
    ("command", "warned"),
    [
        (["weigh", "first.toml"], [said.BATTERY]),
        (["weigh", "cross", "first.toml"], [said.BATTERY, said.SPRINGS]),
        (["pads", "calibrate", "first.toml", "--mass", "500", "--mass", "1000"], [said.MASSES]),
    ],
)
def test_it_is_said_before_the_pads_are_asked_for(command: list[str], warned: list[str], tmp_path: Path) -> None:
    shutil.copytree(ROOT / "tests" / "data" / "kept_bench" / "cards", tmp_path / "cards")
    command = [str(tmp_path / "cards" / part) if part.endswith(".toml") else part for part in command]
    nobody = "socket://127.0.0.1:1"  # no pads there: it ends where it would have begun
    run = CliRunner().invoke(cli, [*command, "--port", nobody, "--log", str(tmp_path / "log")])
    assert run.exit_code != 0
    assert [text for text in warned if text not in plain(run.stderr)] == []
