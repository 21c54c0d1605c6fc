"""What was seen: nose and tail by hand, and every word of the table."""

import math
from dataclasses import replace

import pytest

from analysis.balance.results import Saw, TurnSeen
from analysis.balance.seen import seen_words, what_was_seen, where_pushed
from tests.analysis.balance.balance_cars import L


def of(nose_mm: float, tail_mm: float, *, reach: float = 0.001, station: float = L / 2):
    """A push whose nose and tail went so far (mm, signed to the left); reach: half-width of the ratio's interval."""
    chord, travel = (nose_mm - tail_mm) / 1e3 / L, (nose_mm + tail_mm) / 2e3
    kappa = chord / travel
    half = reach * 2 / L
    turn = TurnSeen(
        kappa=kappa,
        own_u=half / 1.96,
        interval=(kappa - half, kappa + half),
        turn=2 * math.asin(chord / 2),
        travel=travel,
        wheelbase=L,
    )
    return what_was_seen(turn, station=station)


TABLE = [  # by hand: ratio = (nose - tail)/(nose + tail)
    (60, 61, Saw.STRAIGHT, "went straight (nose 60, tail 61)"),  # 0.8 %
    (102, 98.2, Saw.STRAIGHT, "went straight (nose 102, tail 98)"),  # 1.9 %, though 3.8 mm
    (11, 9.2, Saw.STRAIGHT, "went straight (nose 11.0, tail 9.2)"),  # 8.9 %, but below 2 mm
    (62, 58, Saw.ALMOST_STRAIGHT, "almost straight, the nose led by 4 mm (nose 62, tail 58)"),  # 3.3 %
    (58, 62, Saw.ALMOST_STRAIGHT, "almost straight, the tail led by 4 mm (nose 58, tail 62)"),
    (51, 69, Saw.TAIL_LED, "the tail led by 18 mm (nose 51, tail 69)"),  # 15 %
    (26.7, 33.3, Saw.TAIL_LED, "the tail led by 6 mm (nose 27, tail 33)"),
    (69, 51, Saw.NOSE_LED, "the nose led by 18 mm (nose 69, tail 51)"),
    (24, 76, Saw.FRONT_HELD, "the front held, the tail came round (nose 24, tail 76)"),  # 52 %
    (26, 74, Saw.TAIL_LED, "the tail led by 48 mm (nose 26, tail 74)"),  # 48 %: 26 is more than a third of 74
    (49, 10, Saw.REAR_HELD, "the rear held, the nose came round (nose 49, tail 10)"),
    (50, -10, Saw.REAR_HELD, "the rear held, the nose came round (nose 50, tail −10)"),  # a fifth, backwards
    (12, 6, Saw.NOSE_LED, "the nose led by 6.0 mm (nose 12.0, tail 6.0)"),
    (103, 98.2, Saw.ALMOST_STRAIGHT, "almost straight, the nose led by 5 mm (nose 103, tail 98)"),  # 2.4 %
    (12, 9.4, Saw.NOSE_LED, "the nose led by 2.6 mm (nose 12.0, tail 9.4)"),  # more than 2 mm
    (55.2, 62, Saw.ALMOST_STRAIGHT, "almost straight, the tail led by 7 mm (nose 55, tail 62)"),  # 5.8 %
    (62, 54, Saw.NOSE_LED, "the nose led by 8 mm (nose 62, tail 54)"),  # 6.9 %
    (19.94, 10.1, Saw.NOSE_LED, "the nose led by 9.8 mm (nose 19.9, tail 10.1)"),  # tenths below 20 mm
]


@pytest.mark.parametrize(("nose", "tail", "saw", "words"), TABLE)
@pytest.mark.parametrize("side", [1, -1])
def test_words(nose: float, tail: float, saw: Saw, words: str, side: int) -> None:
    found = of(side * nose, side * tail)
    assert (found.saw, found.side) == (saw, side)
    assert (found.nose_mm, found.tail_mm) == pytest.approx((nose, tail), abs=1e-6)
    assert seen_words(found) == words


def test_an_end_that_went_far_back_did_not_hold() -> None:
    found = of(50, -30, station=0.9 * L)
    assert found.saw is Saw.NOSE_LED
    assert seen_words(found) == (
        "it turned between its axles: the nose went 50 mm with the push, the tail 30 mm against it"
    )
    behind = of(-30, 50, station=0.1 * L)
    assert behind.saw is Saw.TAIL_LED
    assert seen_words(behind) == (
        "it turned between its axles: the tail went 50 mm with the push, the nose 30 mm against it"
    )


def test_straight_or_nobody_can_tell() -> None:
    assert of(51, 49, reach=0.029).saw is Saw.STRAIGHT  # 0.02 ± 0.029: holds zero, reaches 0.049
    assert of(51, 49, reach=0.035).saw is Saw.CANNOT_TELL  # reaches 0.055
    assert of(60, 40, reach=0.25).saw is Saw.CANNOT_TELL  # 0.2 ± 0.25
    assert of(60, 40, reach=0.15).saw is Saw.NOSE_LED
    # a best estimate close to zero does not make an unknown turn straight
    assert of(50.2, 49.8, reach=0.3).saw is Saw.CANNOT_TELL
    assert "cannot tell" in seen_words(of(50.2, 49.8, reach=0.3))
    # 8 mm pushed: 2 mm are an eighth of nose plus tail
    assert of(8.2, 7.8, reach=0.09).saw is Saw.STRAIGHT
    assert of(7.8, 8.2, reach=0.11).saw is Saw.CANNOT_TELL  # 0.025 and 0.11 are more than an eighth
    assert of(0.3, 0.25, reach=0.9).saw is Saw.STRAIGHT  # whatever it did, it was less than 2 mm
    # the same of a tail that may have led
    assert of(49, 51, reach=0.029).saw is Saw.STRAIGHT
    assert of(49, 51, reach=0.035).saw is Saw.CANNOT_TELL


def test_where_it_was_pushed_and_what_was_seen() -> None:
    assert where_pushed(50.0) == "pushed at the middle (50 %)"
    assert where_pushed(50.5) == "pushed at the middle (50.5 %)"
    assert (where_pushed(50.6), where_pushed(49.4)) == ("pushed at 50.6 %", "pushed at 49.4 %")
    assert seen_words(of(51, 69)) == "the tail led by 18 mm (nose 51, tail 69)"
    assert where_pushed(53.4) == "pushed at 53.4 %"
    assert seen_words(of(60, 61)).startswith("went straight")
    assert where_pushed(85.0) == "pushed at 85 %"


def test_the_way_of_the_push_is_that_of_the_touched_place() -> None:
    # pushed to the left at 95 %: nose 20 mm to the left, tail 30 mm to the right, the middle 5 mm to the right
    found = of(20, -30, station=0.95 * L)
    assert found.side == 1
    assert (found.nose_mm, found.tail_mm) == pytest.approx((20, -30))


def test_an_interval_through_infinity_holds_no_zero() -> None:
    turn = TurnSeen(kappa=200.0, own_u=1.0, interval=(100.0, -400.0), turn=0.4, travel=0.002, wheelbase=L)
    assert what_was_seen(turn, station=0.8 * L).saw is not Saw.CANNOT_TELL
    assert what_was_seen(replace(turn, interval=(-1e6, 1e6)), station=0.8 * L).saw is Saw.CANNOT_TELL
