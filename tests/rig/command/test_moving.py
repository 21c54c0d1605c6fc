"""The moving car from its cards: what the command prints, writes and refuses."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from rig.base.errors import BenchError
from rig.cards.template import card_text
from rig.command.moving.moving import command

CAR = """card = "car"
name = "Dunlin"
[geometry]
wheelbase_mm = 257
track_front_mm = 165
track_rear_mm = 165
cg_height_mm = 35
cg_height_mm_u = 2
[chassis]
load_sensitivity = 0.2
[chassis.front]
spring_n_per_mm = 1.0
[chassis.rear]
spring_n_per_mm = 0.9
"""
WEIGHTS = ["--weights", "400", "400", "420", "420"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "car.toml").write_text(CAR)
    stiff = CAR.replace('"Dunlin"', '"Dunlin, front bar"')
    (tmp_path / "stiff.toml").write_text(stiff.replace("mm = 1.0\n", "mm = 1.0\nbar_n_per_mm = 1.0\n"))
    (tmp_path / "phases.toml").write_text(card_text("phases"))
    return tmp_path


def run(*arguments: str) -> str:
    """The command's output; its errors are raised as they are."""
    done = CliRunner().invoke(command, list(arguments), catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.thorough
def test_two_set_ups_through_the_phases_of_a_card(folder: Path) -> None:
    text = run(
        str(folder / "car.toml"),
        str(folder / "phases.toml"),
        "--against",
        str(folder / "stiff.toml"),
        *WEIGHTS,
        "--out",
        str(folder / "out"),
        "--json",
    )
    told = json.loads(text)
    assert [one["name"] for one in told["phases"]] == ["approach", "initiation", "hold", "transition", "exit"]
    for one in told["phases"]:
        assert sum(one["load_g"]) == pytest.approx(1640, abs=0.01)  # the floor carries the weight
    soft, stiff = (side["phases"][2] for side in (told, told["against"]))
    # common practice, no source: a stiffer front bar takes more of the transfer and moves the balance point rearwards
    assert stiff["load_g"][1] - stiff["load_g"][0] > soft["load_g"][1] - soft["load_g"][0] + 10
    assert stiff["balance_pct"] < soft["balance_pct"]
    assert told["changes"]["ranked"][0]["balance_change_pct"] != 0
    page, report = (Path(name).read_text() for name in reversed(told["files"]))
    for one in (page, report):
        # "http" only as the name of a drawing standard: nothing is fetched
        assert not re.search(r'(src|href)="https?:|@import|url\(http', one)
    assert "equal share" in report
    assert "wheels that spin" in report
    assert json.loads(re.search(r"const D=(\{.*?\}),NS=", page).group(1))["names"][2] == "hold"  # type: ignore[union-attr]


@pytest.mark.thorough
def test_a_usual_drift_is_taken_without_a_phases_card(folder: Path) -> None:
    text = run(str(folder / "car.toml"), *WEIGHTS)
    assert "transition" in text
    assert "balance point" in text
    assert "Expect the direction and the rank" in text


@pytest.mark.parametrize(
    ("change", "arguments", "says"),
    [
        (
            (
                "[chassis]\nload_sensitivity = 0.2\n[chassis.front]\nspring_n_per_mm = 1.0\n[chassis.rear]\n"
                "spring_n_per_mm = 0.9\n",
                "",
            ),
            WEIGHTS,
            "no springs",
        ),
        (("spring_n_per_mm = 0.9", "spring_n_per_mm = -1"), WEIGHTS, "spring_n_per_mm"),
        (("spring_n_per_mm = 0.9", "spring_n_per_mm = 0.9\nmotion_ratio = 0"), WEIGHTS, "motion_ratio"),
        (("", ""), ["--log", "LOG"], "no weighing"),
        (("", ""), ["--weights", "30", "400", "420", "420"], "unsprung weight"),
        (("", ""), [*WEIGHTS, "--phase", "donut"], "no phase"),
    ],
)
def test_nonsense_is_told(folder: Path, change: tuple[str, str], arguments: list[str], says: str) -> None:
    (folder / "car.toml").write_text(CAR.replace(*change) if change[0] else CAR)
    given = [str(folder / "log") if word == "LOG" else word for word in arguments]
    from analysis.base.errors import AnalysisError

    with pytest.raises((BenchError, AnalysisError), match=says):
        run(str(folder / "car.toml"), *given)


def test_a_phase_without_duration_and_an_empty_card_are_told(folder: Path) -> None:
    from analysis.base.errors import AnalysisError

    (folder / "phases.toml").write_text(card_text("phases").replace("duration_s = 0.3", "duration_s = 0.0"))
    with pytest.raises(BenchError, match=r"duration_s"):
        run(str(folder / "car.toml"), str(folder / "phases.toml"), *WEIGHTS)
    (folder / "phases.toml").write_text('card = "phases"\nname = "none"\n')
    with pytest.raises(AnalysisError, match="no phase"):
        run(str(folder / "car.toml"), str(folder / "phases.toml"), *WEIGHTS)


@pytest.mark.thorough
def test_roll_over_is_told_as_such(folder: Path) -> None:
    (folder / "car.toml").write_text(CAR.replace("cg_height_mm = 35", "cg_height_mm = 70"))
    (folder / "phases.toml").write_text(
        'card = "phases"\nname = "hard"\n[[phases]]\nname = "hold"\nay_g = 1.6\nduration_s = 1\n'
        '[[phases]]\nname = "exit"\nax_g = 0.1\nduration_s = 1\n'
    )
    told = json.loads(run(str(folder / "car.toml"), str(folder / "phases.toml"), *WEIGHTS, "--json"))
    assert told["phases"][0]["rolls_over"] is True
    assert "load_g" not in told["phases"][0]
    assert any("rolls over" in text for text in told["warnings"])
    assert told["phases"][1]["rolls_over"] is False


@pytest.mark.thorough
def test_a_test_card_brings_its_weights_and_its_grip(folder: Path) -> None:
    """The same car behind a test card: as if its figures had been typed; what the options say goes first."""
    (folder / "test.toml").write_text(
        'card = "test"\nname = "mine"\n[typed]\nweights_g = [400, 400, 420, 420]\n[grip]\nfront = 0.9\nrear = 0.7\n'
    )
    (folder / "bench.toml").write_text('card = "bench"\nname = "B"\n')
    log = ["--log", str(folder / "log"), "--json"]
    told = json.loads(run(str(folder / "test.toml"), *log))
    typed = json.loads(run(str(folder / "car.toml"), *WEIGHTS, "--grip", "0.9", "0.7", "--json"))
    assert told["remarks"] == ["Grip front 0.9, rear 0.7, from test.toml, not measured"]
    assert {key: value for key, value in told.items() if key != "remarks"} == typed
    other = json.loads(run(str(folder / "test.toml"), "--grip", "0.7", "0.9", *log))
    assert "remarks" not in other
    # common practice, no source: more front grip, the balance point farther forward
    assert other["phases"][2]["balance_pct"] < told["phases"][2]["balance_pct"]
    heavier = json.loads(run(str(folder / "test.toml"), "--weights", "500", "500", "420", "420", *log))
    assert sum(heavier["phases"][0]["load_g"]) == pytest.approx(1840, abs=0.01)
