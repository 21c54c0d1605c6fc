"""The first screen, its words and its help, and what is said of a mistyped one."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from rig.command.first_screen import FIRST_SCREEN
from rig.log import opening
from tests.rig.command.command_tree import PATHS

RATES = ("moving", "rates")
Run = Callable[..., tuple[int, str, str]]


def test_the_first_screen_is_the_jobs_own_order() -> None:
    # the table of the design
    assert {name: " ".join(level.words) for name, level in FIRST_SCREEN.items()} == {
        "demo": "",
        "new": "sheets card send take",
        "pads": "list calibrate zero live level record board",
        "weigh": "height cross",
        "push": "film measure forecast folder",
        "grip": "tilt pull along sweep infer ladder load",
        "change": "plan effects",
        "aim": "ballast",
        "moving": "rates drive tilt freeze",
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
        ("pads ports", "Its words: list, calibrate, zero, live, level, record, board."),
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
    typed = card.replace("# typed.weights_g = [410, 395, 420, 405]", "typed.weights_g = [410, 395, 380, 372]")
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
    assert "my-bench/test.toml (middle, right side; my car): not weighed yet, no push measured yet" in " ".join(
        out.split()
    )
    assert "Next: pivotbench weigh my-bench/test.toml" in out
    assert not (tmp_path / "log").exists()
    card = tmp_path / "my-bench" / "test.toml"
    card.write_text(
        card.read_text().replace("# typed.weights_g = [410, 395, 420, 405]", "typed.weights_g = [410, 395, 380, 372]")
    )
    run("weigh my-bench/test.toml")
    _, out, _ = run("")
    assert "weights typed in, no push measured yet" in " ".join(out.split())
    assert f"Log: 1 record in {tmp_path / 'log'}." in " ".join(out.split())
    assert "Next: pivotbench push my-bench/test.toml --clip CLIP" in out
    card.write_text(card.read_text().replace("position_pct = 50.0", 'position_pct = "fifty"'))
    _, out, _ = run("")
    assert "my-bench/test.toml:" in out
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
        typed = card.read_text().replace(
            "# typed.weights_g = [410, 395, 420, 405]", "typed.weights_g = [410, 395, 380, 372]"
        )
        card.write_text(typed)
        assert run("weigh my-bench/test.toml")[0] == 0
        whole = file.read_bytes()
        file.write_bytes(whole[:4096] + bytes(len(whole) - 4096))
        opening.looked_over.clear()  # this process has seen it whole
    code, out, err = run("")
    assert (code, err) == (0, "")
    assert "Next: pivotbench log check" in out
