"""The eight first questions at a terminal: what stands in brackets is what Enter takes."""

from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from rig.command.new.asking import asked_answers, said_in_options, what_next


def asked(*typed: str) -> tuple[dict[str, Any], str]:
    """The answers to what is typed, line by line, and all that was shown."""
    got: dict[str, Any] = {}

    @click.command()
    def ask() -> None:
        got.update(asked_answers())

    shown = CliRunner().invoke(ask, input="\n".join(typed) + "\n")
    assert shown.exit_code == 0, shown.output
    return got, shown.output


def test_enter_takes_the_default_and_no_figure_is_made_up() -> None:
    got, shown = asked(*[""] * 8)
    assert all(value is None for value in got.values())
    assert list(got) == ["name", "wheelbase", "track-front", "track-rear", "bar", "wheels", "position", "side"]
    in_brackets = [line.split("[")[1].split("]")[0] for line in shown.splitlines() if line.startswith("  ")]
    assert [in_brackets[0], *in_brackets[4:]] == ["my car", "not measured", "blocked", "50", "right"]


def test_what_is_said_is_kept_and_the_rear_track_is_the_front_ones_until_said() -> None:
    got, shown = asked("Heron", "262", "171.5", "", "99.4", "free", "85", "left")
    assert got == {
        "name": "Heron",
        "wheelbase": 262.0,
        "track-front": 171.5,
        "track-rear": 171.5,
        "bar": 99.4,
        "wheels": "as on the car card",
        "position": 85.0,
        "side": "left",
    }
    assert "Rear track, the same way, mm [171.5]" in shown


def test_what_cannot_be_meant_is_asked_again_with_the_likely_meaning() -> None:
    got, shown = asked("", "262,5", "262.5", "", "", "", "askew", "free", "", "")
    assert (got["wheelbase"], got["wheels"]) == (262.5, "as on the car card")
    assert "Did you mean 262.5?" in shown
    assert '"askew" is none of them' in shown


def test_options_are_read_alike_and_refused_by_their_own_name() -> None:
    assert said_in_options({"wheelbase": "262", "side": "LEFT", "position": None}) == {
        "wheelbase": 262.0,
        "side": "left",
    }
    with pytest.raises(click.BadParameter) as caught:
        said_in_options({"track-rear": "165,5"})
    assert caught.value.param_hint == "--track"
    assert "Did you mean 165.5?" in caught.value.message


def test_what_is_still_to_be_measured_is_said(tmp_path: Path) -> None:
    lines = what_next(tmp_path, {"wheelbase": 262.0})
    assert any("track_front_mm = " in line and "wheelbase" not in line for line in lines)
    assert any("until then it counts as 100 ± " in line for line in lines)
    all_said = {"wheelbase": 262.0, "track-front": 170.0, "track-rear": 165.0, "bar": 99.4}
    assert [line.split(":")[0] for line in what_next(tmp_path, all_said)] == ["Next", "Then"]
