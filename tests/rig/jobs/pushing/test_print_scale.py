"""What a ruler is promised to do to a push's ± is what it does: held against the answer with measured bars."""

import re
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest

from rig.cards.read import CardSet
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.pushing.balance import PushAnswer, answer_push
from rig.log.store import BenchLog
from rig.lookups.track_file import KeptTrack
from tests.rig.jobs.synthetic_pushes import cards, pushed_track, weighed

UNMEASURED, MEASURED = 1.5, 0.2
"""mm at 100 mm, standard: 3 % at 95 %, and a ruler."""
FLOOR, CAR = "print scale of the floor sheets", "print scale of the car sheet"


def with_bars(of: CardSet, floor: float, plate: float) -> CardSet:
    """The cards with these uncertainties of the two bars, mm."""
    bench = msgspec.structs.replace(of.bench, floor=msgspec.structs.replace(of.bench.floor, bar_mm_u=floor))
    car = msgspec.structs.replace(of.car, plate=msgspec.structs.replace(of.car.plate, bar_mm_u=plate))
    return replace(of, bench=bench, car=car)


def answered(of: CardSet, log: BenchLog, nose: float, tail: float) -> PushAnswer:
    """A push whose poses share what the two sheets' scales do, in proportion to the bars' uncertainties.

    Lengths on the floor grow with its sheets; the marker plate's scale turns the poses, more at the end of the push.
    """
    track = pushed_track(nose, tail)
    floor, plate = of.bench.floor.bar_mm_u / 100, of.car.plate.bar_mm_u / 100
    share = np.clip((np.arange(90) - 30) / 30.0, 0.0, 1.0)
    grown = track.pose * [1.0, 1.0, 0.0]
    turned = np.stack([0 * share, 0 * share, 0.4 * share], axis=1)
    shared = np.stack([plate * turned, floor * (grown - 0.07 * turned)])
    sheet = KeptTrack(
        time=track.time,
        pose=track.pose,
        covariance=track.covariance,
        repeating=track.repeating,
        shared=shared,
        shared_names=(CAR, FLOOR),
    )
    (push,) = pushes_in(sheet, of).pushes
    return answer_push(of, push, weighed(of, log), track=sheet)


def half_width(answer: PushAnswer) -> float:
    assert answer.balance is not None
    assert answer.balance.interval_pct is not None
    low, high = answer.balance.interval_pct
    return (high - low) / 2


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("floor", "plate", "named"),
    [
        (UNMEASURED, UNMEASURED, "on the floor sheets and the marker plate"),
        (UNMEASURED, MEASURED, "on the floor sheets"),
        (MEASURED, UNMEASURED, "on the marker plate"),
    ],
)
def test_the_promised_interval_is_the_one_that_a_ruler_brings(
    floor: float, plate: float, named: str, tmp_path: Path
) -> None:
    log = BenchLog(tmp_path / "log")
    of = cards(push__position_pct=85.0)
    now = answered(with_bars(of, floor, plate), log, 0.069, 0.015)
    then = answered(with_bars(of, MEASURED, MEASURED), log, 0.069, 0.015)
    assert then.remarks == ()
    (remark,) = now.remarks
    assert f"Nobody measured the printed bar {named}, so it counts as 100 ± 3 mm" in remark
    told = re.search(r"from ([\d.]+) to ([\d.]+)\.$", remark)
    assert told is not None, remark
    assert float(told[1]) == pytest.approx(half_width(now), abs=0.051)
    # two rounds of rounding, and the sides of an interval far from the balance are not alike
    assert float(told[2]) == pytest.approx(half_width(then), abs=0.1)
    assert half_width(now) > half_width(then) + 0.1  # the case can tell


def test_near_the_balance_it_hardly_matters_and_says_so(tmp_path: Path) -> None:
    log = BenchLog(tmp_path / "log")
    now = answered(with_bars(cards(), UNMEASURED, MEASURED), log, 0.0601, 0.0600)
    (remark,) = now.remarks
    assert remark.endswith(f"the balance hardly (± {half_width(now):.1f}).")


def test_without_weights_it_speaks_of_lengths(tmp_path: Path) -> None:
    of = with_bars(cards(), UNMEASURED, MEASURED)
    (push,) = pushes_in(pushed_track(0.04, 0.07), of).pushes
    assert answer_push(of, push, None).remarks == (
        "Nobody measured the printed bar on the floor sheets, so it counts as 100 ± 3 mm: "
        "a ruler on it makes every length here more certain.",
    )
