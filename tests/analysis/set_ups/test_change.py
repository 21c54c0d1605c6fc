"""The change between two set-ups: the formula by hand, the findings, the words."""

from dataclasses import replace

import pytest

from analysis.balance.results import (
    BalanceCause,
    ChangeFinding,
    GripMoved,
    MeasuredBalance,
    Moved,
    WeightsMoved,
)
from analysis.base.errors import InputError
from analysis.set_ups.change import shared_causes, what_changed
from analysis.set_ups.change_words import change_sentences, points_words
from analysis.set_ups.weights_and_tyres import front_weight_that_fits, grip_that_fits

L = 0.26


def balance(pct, *, place=0.4, clip=0.0, along=0.0, notch=0.0, pushed=50.0) -> MeasuredBalance:
    """A push whose causes are given in points; along, notch: signed."""
    causes = (
        BalanceCause(name="placing the finger", effect=place, own=True),
        BalanceCause(name="clip", effect=clip, own=True),
        BalanceCause(name="along/across grip of the front tyres", effect=along),
        BalanceCause(name="push position", effect=notch),
    )
    u = sum(one.effect**2 for one in causes) ** 0.5
    return MeasuredBalance(
        pushed_pct=pushed,
        kappa=0.0,
        wheelbase=L,
        pct=pct,
        u=u,
        interval_pct=(pct - 1.96 * u, pct + 1.96 * u),
        axle=None,
        odds=None,
        bounds_pct=None,
        causes=causes,
        distance=abs(pct - pushed),
        next_push_pct=None,
    )


def swung(axle, *, odds=1000.0, pushed=50.0) -> MeasuredBalance:
    """A rolling car's push."""
    bounds = (0.0, 50.8) if axle == "rear" else (49.2, 100.0)
    return replace(
        balance(50.0, pushed=pushed),
        pct=None,
        u=None,
        interval_pct=None,
        axle=axle,
        odds=odds,
        bounds_pct=bounds,
        causes=(),
        reason="rolling wheels",
    )


def test_one_push_each_is_the_formula() -> None:
    # By hand: u² = (0.4² + 0.5²)(1/1 + 1/1) + 0.3² + 0.1²: 0.82 + 0.10, u = 0.9592.
    found = what_changed([balance(50.3, along=0.3)], [balance(53.4, along=0.1)])
    assert found.moved is not None
    assert found.moved.value == pytest.approx(3.1)
    assert found.moved.u == pytest.approx(0.9592, abs=1e-4)
    assert found.moved.interval == pytest.approx((3.1 - 1.88, 3.1 + 1.88), abs=1e-3)
    assert found.finding is ChangeFinding.MOVED_FORWARD
    assert found.pushes == (1, 1)


def test_repeats_average_what_is_their_own_and_nothing_else() -> None:
    # By hand: (0.4² + 0.5²)(1/2 + 1/3) + 0.3² + 0.1² = 0.34167 + 0.1, u = 0.6646.
    a, b = [balance(50.0, along=0.3), balance(50.6, along=0.3)], [balance(50.3, along=0.1)] * 3
    found = what_changed(a, b)
    assert found.moved is not None
    assert found.moved.u == pytest.approx(0.6646, abs=1e-4)
    assert found.moved.value == pytest.approx(0.0, abs=1e-9)


def test_shared_causes_count_with_their_difference() -> None:
    # By hand: own (0.1² + 0.2²)·2 = 0.1; the notch 0.8 and 0.7 cancel to 0.1; along -2 and -1.5 to 0.5: u² = 0.36.
    one, two = balance(52.0, place=0.1, along=-2.0, notch=0.8), balance(49.0, place=0.1, along=-1.5, notch=0.7)
    names = {"along/across grip of the front tyres", "push position"}
    found = what_changed([one], [two], shared=names, scatter=0.2)
    assert found.moved is not None
    assert found.moved.u == pytest.approx(0.6, abs=1e-6)
    assert found.finding is ChangeFinding.MOVED_BACKWARD
    assert found.u_without_sharing == pytest.approx((0.1 + 4 + 2.25 + 0.64 + 0.49) ** 0.5, abs=1e-6)
    only_notch = what_changed([one], [two], shared={"push position"}, scatter=0.2)
    assert only_notch.moved is not None
    assert only_notch.moved.u == pytest.approx((0.1 + 0.01 + 4 + 2.25) ** 0.5, abs=1e-6)
    # placing the finger anew never cancels, whatever is said to be shared
    same = what_changed([one], [two], shared={"placing the finger", "clip"}, scatter=0.2)
    assert same.moved is not None
    assert same.moved.u == pytest.approx(found.u_without_sharing, abs=1e-6)


def test_effects_of_opposite_sign_add_up() -> None:
    # One push ahead of the balance, one behind it: along/across errs either way. By hand: 0.82 + (0.6 + 0.4)².
    found = what_changed(
        [balance(50.0, along=-0.6)], [balance(50.0, along=0.4)], shared={"along/across grip of the front tyres"}
    )
    assert found.moved is not None
    assert found.moved.u == pytest.approx(1.82**0.5, abs=1e-6)


def test_no_change_gives_its_bound_and_how_many_more() -> None:
    # By hand: u² = 0.82/3, half 1.0249; bound 0.2 + 1.0249. For ±0.5: 0.82/n <= 0.0651, n = 13 each, ten more.
    a, b = [balance(50.0)] * 3, [balance(50.2)] * 3
    found = what_changed(a, b)
    assert found.finding is ChangeFinding.NO_CHANGE_SEEN
    assert found.bound == pytest.approx(1.2249, abs=1e-3)
    assert found.more_pushes == 10
    assert change_sentences(found, wheelbase=L) == (
        "No change larger than 1.2 points (three pushes each).",
        "To see half a point, ten more pushes each.",
    )


def test_nobody_can_tell_with_so_wide_an_interval() -> None:
    found = what_changed([balance(50.0, along=2.0)], [balance(51.0, along=2.0)])
    assert found.finding is ChangeFinding.CANNOT_TELL
    assert found.bound is None
    assert found.more_pushes is None  # 2.83 points of tyres' grip do not average
    said = " ".join(change_sentences(found, wheelbase=L))
    assert "Cannot tell whether the balance moved" in said
    assert "along/across grip of the front tyres" in said


def test_repeats_that_scatter_far_more_are_believed_and_told() -> None:
    # By hand: 46 and 54 scatter with a variance of 32, where 0.41 is stated.
    found = what_changed([balance(46.0), balance(54.0)], [balance(53.0), balance(53.0)])
    assert found.finding is ChangeFinding.CANNOT_TELL
    assert found.warnings
    assert found.moved is not None
    assert found.moved.interval[1] - found.moved.interval[0] > 10


def test_four_repeats_measure_their_scatter() -> None:
    calm = [balance(50.0 + 0.1 * k, place=0.0) for k in (-1, 0, 0, 1)]
    found = what_changed(calm, calm)
    stated = what_changed(calm[:3], calm[:3])
    assert found.moved is not None
    assert stated.moved is not None
    # By hand: chi² = 2 · 0.02/0.25 = 0.16, 6 degrees; sqrt((4 + 0.16)/10) = 0.645 of 0.5: u² = 0.3225² / 2.
    assert found.moved.u == pytest.approx(0.2280, abs=1e-3)
    assert stated.moved.u == pytest.approx(0.5 * (2 / 3) ** 0.5, abs=1e-6)
    # Student's t with 10 degrees of freedom, 2.228
    assert found.moved.interval[1] == pytest.approx(2.228 * 0.2280, abs=3e-3)


def test_rolling_wheels_name_the_other_axle_only_when_sure() -> None:
    assert what_changed([swung("rear")], [swung("front")]).finding is ChangeFinding.OTHER_AXLE
    same = what_changed([swung("rear")], [swung("rear")])
    assert (same.finding, same.moved) == (ChangeFinding.CANNOT_TELL, None)
    unsure = what_changed([swung("rear")], [swung("front", odds=20.0)])
    assert unsure.finding is ChangeFinding.CANNOT_TELL
    elsewhere = what_changed([swung("rear", pushed=50.0)], [swung("front", pushed=45.0)])
    assert elsewhere.finding is ChangeFinding.CANNOT_TELL
    assert "places differ" in elsewhere.reason
    mixed = what_changed([swung("rear")], [balance(53.0)])
    assert mixed.finding is ChangeFinding.CANNOT_TELL
    said = change_sentences(what_changed([swung("rear")], [swung("front")]), wheelbase=L)[0]
    assert "about the rear axle before, about the front axle now" in said


def test_weights_and_tyres_are_told_apart() -> None:
    # By hand: weight 50 -> 52 %, ln(52/48) = 0.08004; balance 50 -> 55 %, ln(55/45) = 0.20067; grip 0.12063: 12.8 % up.
    found = what_changed(
        [balance(50.0)] * 3,
        [balance(55.0)] * 3,
        weights=WeightsMoved(front_pct_a=50.0, front_pct_b=52.0, moved_u=0.2),
        grip=GripMoved(factor=1.10, factor_u=0.02),
    )
    assert found.explained_by_weights is not None
    assert found.left_for_tyres is not None
    assert found.front_grip_up is not None
    assert found.explained_by_weights.value == pytest.approx(2.0, abs=1e-6)
    assert found.explained_by_weights.u == pytest.approx(0.2, abs=1e-3)
    assert found.left_for_tyres.value == pytest.approx(3.0, abs=1e-6)
    assert found.left_for_tyres.u == pytest.approx((0.82 / 3 + 0.04) ** 0.5, abs=1e-3)
    assert found.front_grip_up[0] == pytest.approx(12.82, abs=0.01)
    # u of ln: 0.5228 points at 100/(52.5 · 47.5) a point, and 0.2 of weight at 100/(51 · 49)
    assert found.front_grip_up[1] == pytest.approx(1.1282 * 100 * (0.02096**2 + 0.0080**2) ** 0.5, abs=0.02)
    assert found.tyres_agree == "agrees"  # ln 1.10 = 0.0953, 0.0253 away from 0.1206, u 0.030
    off = what_changed(
        [balance(50.0)] * 3,
        [balance(55.0)] * 3,
        weights=WeightsMoved(front_pct_a=50.0, front_pct_b=52.0, moved_u=0.2),
        grip=GripMoved(factor=1.0, factor_u=0.02),
    )
    assert off.tyres_agree == "disagrees"
    said = change_sentences(off, wheelbase=L)
    assert said[0] == (
        "The balance moved forward by 5.0 ± 1.0 points (13 mm; three pushes each): 50.0 → 55.0 %. Beyond chance."
    )
    assert said[1].startswith("The weights explain 2.0 ± 0.4 of it, the tyres 3.0 ± 1.1: front grip up by 13 ± 5 %")
    assert said[2] == "That disagrees with the measured grip."


def test_tyres_that_lose_grip_with_load_leave_less_for_the_weights() -> None:
    # by hand: 0.8 * 0.08004 = 0.06403, so 51.60 %; 0.20067 - 0.06403 is grip up by 14.64 %; u: 0.8 * 0.2 points of
    # weight, 1.001 of balance each, and 0.05 * 0.08004 / 0.04004 a point
    found = what_changed(
        [balance(50.0)] * 3,
        [balance(55.0)] * 3,
        weights=WeightsMoved(front_pct_a=50.0, front_pct_b=52.0, moved_u=0.2, sensitivity=0.2, sensitivity_u=0.05),
    )
    assert found.explained_by_weights is not None
    assert found.front_grip_up is not None
    assert found.explained_by_weights.value == pytest.approx(1.600, abs=1e-3)
    assert found.explained_by_weights.u == pytest.approx((0.16**2 + 0.1**2) ** 0.5, abs=1e-3)
    assert found.front_grip_up[0] == pytest.approx(14.64, abs=0.01)


def test_what_grip_and_what_weight_would_fit_the_push() -> None:
    """By hand: 55 : 45 over 48 : 52 is 1.3241 times the grip in front. By weight alone the odds of 51 : 49 go by that,
    to 1.3782, 57.95 %; with tyres that lose a fifth per load by 1.3241 to the power of 1.25, to 1.4783, 59.65 %."""
    assert grip_that_fits(55.0, 48.0) == pytest.approx(1.3241, abs=5e-5)
    assert grip_that_fits(48.0, 55.0) == pytest.approx(1 / 1.3241, abs=5e-5)
    assert front_weight_that_fits(55.0, 48.0, 51.0, sensitivity=0.0) == pytest.approx(57.95, abs=0.005)
    assert front_weight_that_fits(55.0, 48.0, 51.0, sensitivity=0.2) == pytest.approx(59.65, abs=0.005)
    for wrong in ((0.0, 50.0), (50.0, 100.0)):
        with pytest.raises(InputError, match="grip that fits"):
            grip_that_fits(*wrong)
        with pytest.raises(InputError, match="weights that fit"):
            front_weight_that_fits(*wrong, 50.0, sensitivity=0.1)
    with pytest.raises(InputError, match="weights that fit"):
        front_weight_that_fits(50.0, 50.0, 100.0, sensitivity=0.1)


@pytest.mark.parametrize(
    ("grip_u", "said"), [(0.5, "down by 3.4 ± 1.0 %"), (0.52, "down by 3 ± 1 %"), (0.03, "down by 3.4 ± 0.1 %")]
)
def test_grip_is_told_as_finely_as_it_is_known(grip_u: float, said: str) -> None:
    """1.96 times 0.5 is 0.98; from a whole per cent on no decimals."""
    change = replace(
        what_changed([balance(50.0)] * 2, [balance(46.0)] * 2),
        explained_by_weights=Moved(value=-1.2, u=0.3, interval=(-1.8, -0.6)),
        left_for_tyres=Moved(value=-2.8, u=0.4, interval=(-3.6, -2.0)),
        front_grip_up=(-3.4, grip_u),
        tyres_agree="cannot tell",
    )
    assert change_sentences(change, wheelbase=L)[1:3] == (
        f"The weights explain -1.2 ± 0.6 of it, the tyres -2.8 ± 0.8: front grip {said} against the rear.",
        "Whether that agrees with the measured grip nobody can tell: both are too uncertain.",
    )


def test_backwards_is_said_backwards() -> None:
    found = what_changed([balance(53.0)] * 2, [balance(48.3)])
    said = change_sentences(found, wheelbase=L)[0]
    assert said.startswith("The balance moved backward by 4.7 ± 1.5 points (12 mm; two with the first, one with the s")
    assert "53.0 → 48.3 %" in said


@pytest.mark.parametrize(
    ("value", "half", "words"), [(2.64, 0.94, "2.6 ± 0.9"), (3.0, 0.01, "3.0 ± 0.1"), (31.2, 12.4, "31 ± 12")]
)
def test_plus_and_minus(value: float, half: float, words: str) -> None:
    assert points_words(value, half) == words


def test_shared_names_are_those_of_the_causes() -> None:
    kept = shared_causes(
        same_car_card=True, same_weighing=False, same_tyres=False, same_plate=True, same_camera=False, same_notch=True
    )
    assert {"wheelbase", "contact places", "marker plate", "push position"} <= kept
    assert not kept & {"corner weights", "along/across grip of the front tyres", "floor's scale", "placing the finger"}


def test_what_cannot_be_compared_is_refused() -> None:
    with pytest.raises(InputError, match="no push of B"):
        what_changed([balance(50.0)], [])
    with pytest.raises(InputError, match="wheelbases"):
        what_changed([balance(50.0)], [replace(balance(50.0), wheelbase=0.27)])
    with pytest.raises(InputError, match="scatter"):
        what_changed([balance(50.0)], [balance(51.0)], scatter=-1.0)
