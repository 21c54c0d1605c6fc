"""Time between two moments by two clocks, one of which people set. By hand."""

import pytest

from rig.base.clock import Elapsed, Moment, elapsed, moment_now


def at(wall: float, steady: float, boot: str = "b") -> Moment:
    return Moment(wall=wall, steady=steady, boot=boot)


@pytest.mark.parametrize(
    ("before", "after", "seconds", "jump"),
    [
        (at(1000, 50), at(1100, 150), 100.0, 0.0),
        (at(1000, 50), at(1161, 150), 100.0, 61.0),  # a minute or less is no jump
        (at(1000, 50), at(1159, 150), 100.0, 0.0),
        (at(1000, 50), at(400, 150), 100.0, -700.0),
        (at(1000, 50), at(1040, 49), 0.0, 0.0),
        (at(1000, 50), at(1100, 20, "c"), 100.0, 0.0),  # started again: the wall's clock is all there is
        (at(1000, 50, ""), at(1100, 90, ""), 100.0, 0.0),  # the system does not say which start
        (at(1000, 50), at(941, 20, "c"), 0.0, 0.0),
        (at(1000, 50), at(939, 20, "c"), None, None),  # set back by nobody knows how much
    ],
)
def test_how_long_it_was(before: Moment, after: Moment, seconds: float | None, jump: float | None) -> None:
    assert elapsed(before, after) == Elapsed(seconds=seconds, jump=jump)


def test_now_is_later_than_before() -> None:
    first, second = moment_now(), moment_now()
    assert second.steady >= first.steady
    assert second.boot == first.boot
    assert abs(second.wall - first.wall) < 60
