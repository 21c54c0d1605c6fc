"""What springs, bars and heights are worth, in words. Truth: the sentences, by hand."""

from dataclasses import replace

import pytest

from analysis.moving.worth import MovingWorth
from rig.jobs.moving.on_the_move import OnTheMove
from rig.report.words.moving.worth import worth_json, worth_lines

BAR = MovingWorth(
    name="front bar +1",
    points=-1.23,
    points_interval=(-1.58, -0.88),
    grams=37.0,
    grams_interval=(24.0, 50.0),
    end="rear",
    roll_deg=(2.34, 1.87),
    moved_g=(250.4, 238.0),
)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {},
            "front bar +1: back by 1.2 ± 0.4 points, as much as 37 ± 13 g over the rear axle; "
            "roll 2.34 → 1.87°, 12 g less to the outside",
        ),
        (
            {"points": 0.41, "points_interval": (0.29, 0.53), "end": "front", "moved_g": (238.0, 250.4)},
            "front bar +1: forward by 0.41 ± 0.12 points, as much as 37 ± 13 g over the front axle "
            "(too small to see in a push of a frozen moment); roll 2.34 → 1.87°, 12 g more to the outside",
        ),
        (
            {"points": -0.7, "points_interval": (-1.9, 0.5), "moved_g": (238.0, 238.4)},
            "front bar +1: which way is not known: −0.7 ± 1.2 points; roll 2.34 → 1.87°",
        ),
        (
            {"points": 0.019, "points_interval": (-0.02, 0.06), "moved_g": (1.0, 1.6)},
            "front bar +1: next to nothing; roll 2.34 → 1.87°, 1 g more to the outside",
        ),
        (
            {"points": -0.021, "points_interval": (-0.031, -0.011), "moved_g": (1.0, 1.0), "grams": 0.6}
            | {"grams_interval": (0.3, 0.9)},
            "front bar +1: back by 0.021 ± 0.010 points, as much as 1 ± under 1 g over the rear axle "
            "(too small to see in a push of a frozen moment); roll 2.34 → 1.87°",
        ),
    ],
)
def test_a_change_is_told_with_its_way_and_size(changed: dict[str, object], words: str) -> None:
    one = replace(BAR, **changed)  # type: ignore[arg-type]
    found = OnTheMove(acceleration_g=0.45, worth=(one,), sensitive=True, remarks=())
    head, line, _ = worth_lines(found)
    assert head == "At 0.45 g sideways (mean of a left and a right turn):"
    assert line == f"  {words}"


def test_tyres_that_lose_no_grip_and_what_programs_are_told() -> None:
    found = OnTheMove(acceleration_g=0.45, worth=(BAR,), sensitive=False, remarks=())
    assert "move no balance point" in worth_lines(found)[1]
    assert len(worth_lines(found)) == 3
    told = worth_json(found)
    assert (told["acceleration_g"], told["tyres_lose_grip_with_load"]) == (0.45, False)
    (one,) = told["changes"]
    assert one == {
        "name": "front bar +1",
        "points": -1.23,
        "points_interval": [-1.58, -0.88],
        "ballast_g": 37.0,
        "ballast_interval_g": [24.0, 50.0],
        "over": "rear",
        "roll_deg": [2.34, 1.87],
        "moved_to_outside_g": [250.4, 238.0],
    }
