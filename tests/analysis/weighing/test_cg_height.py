"""Height of the centre of gravity by axle lift: printed equation, exact geometry, stated doubts, rates counted."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.base.errors import InputError
from analysis.weighing.cg_height import AxleLift, HeightDoubts, LiftedCar, cg_height

CASE = tomllib.loads((Path(__file__).parents[2] / "data" / "vehicle_examples_weighing.toml").read_text())["cg_height"]
EXACT = HeightDoubts(load=1e-9, height=0.0, wheelbase=0.0, radius=0.0)
GRAMS = HeightDoubts(load=0.5 * math.sqrt(2), height=0.0, wheelbase=0.0, radius=0.0)
CAR = {"total": 1600.0, "wheelbase": 0.260, "radius_front": 0.031, "radius_rear": 0.033}


def front_load(car: dict[str, float], station: float, height: float, lift: float, axle: str) -> float:
    """Front axle load of a lifted car, built point by point: wheel centres placed first, then moments (statics)."""
    front, rear = car["radius_front"], car["radius_rear"]
    raised = {"front": lift if axle == "front" else 0.0, "rear": lift if axle == "rear" else 0.0}
    centre_rear = np.array([0.0, raised["rear"] + rear])
    drop = centre_rear[1] - (raised["front"] + front)
    reach = math.hypot(car["wheelbase"], front - rear)
    centre_front = centre_rear + np.array([math.sqrt(reach**2 - drop**2), -drop])
    along = (centre_front - centre_rear) / reach  # unit vector along the line of wheel centres
    tilt = math.atan2(front - rear, car["wheelbase"])  # of that line in car axes
    forward = np.array(
        [math.cos(tilt) * along[0] + math.sin(tilt) * along[1], math.cos(tilt) * along[1] - math.sin(tilt) * along[0]]
    )
    upward = np.array([-forward[1], forward[0]])
    cg = centre_rear + station * forward + (height - rear) * upward
    return car["total"] * float(cg[0] / centre_front[0])


def lifts_of(
    car: dict[str, float], station: float, height: float, heights: list[float], axle: str = "rear"
) -> list[AxleLift]:
    out = []
    for lift in heights:
        front = front_load(car, station, height, lift, axle)
        out.append(AxleLift(lifted=axle, height=lift, load_down=front if axle == "rear" else car["total"] - front))  # type: ignore[arg-type]
    return out


def test_round_trip_of_the_printed_equation() -> None:  # equation printed in Jazar 2008; numbers satisfy it
    case = CASE["round_trip"]
    lift = case["l_m"] * math.sin(math.radians(case["phi_deg"]))
    found = cg_height(
        [AxleLift(lifted="rear", height=lift, load_down=case["F_raised_N"])],
        car=LiftedCar(total=case["W_N"], wheelbase=case["l_m"], radius_front=case["R_m"], radius_rear=case["R_m"]),
        level_front=case["F_level_N"],
        doubts=EXACT,
    )
    assert found.height.value == pytest.approx(case["h_m"], abs=1e-6)
    assert case["l_m"] - found.station.value == pytest.approx(case["a1_m"], abs=1e-6)
    assert math.degrees(found.pitch[0]) == pytest.approx(case["phi_deg"], abs=1e-9)


@given(st.floats(0.05, 0.2), st.floats(0.02, 0.09), st.sampled_from(["front", "rear"]), st.floats(-0.01, 0.01))
@settings(max_examples=60, deadline=None)
def test_geometry_built_point_by_point(station: float, height: float, axle: str, step: float) -> None:
    car = CAR | {"radius_front": CAR["radius_rear"] + step}
    found = cg_height(lifts_of(car, station, height, [0.03, 0.06, 0.09], axle), doubts=EXACT, car=LiftedCar(**car))
    assert found.height.value == pytest.approx(height, abs=1e-9)
    assert found.station.value == pytest.approx(station, abs=1e-9)


def test_unequal_wheels_matter() -> None:
    """4 mm between the radii, forgotten, shifts the height by more than the pads do: the exact pitch is needed."""
    car = CAR | {"radius_front": 0.029}
    lifts = lifts_of(car, 0.12, 0.045, [0.06, 0.08, 0.10])
    wrong = cg_height(lifts, doubts=EXACT, car=LiftedCar(**(car | {"radius_front": 0.033})))
    assert abs(wrong.height.value - 0.045) > 0.5e-3
    assert cg_height(lifts, doubts=EXACT, car=LiftedCar(**car)).height.value == pytest.approx(0.045, abs=1e-9)


def test_both_axles_in_one_fit() -> None:
    lifts = lifts_of(CAR, 0.12, 0.045, [0.05, 0.1]) + lifts_of(CAR, 0.12, 0.045, [0.05, 0.1], "front")
    found = cg_height(lifts, doubts=EXACT, car=LiftedCar(**CAR))
    assert found.height.value == pytest.approx(0.045, abs=1e-9)
    assert found.count == 4


@pytest.mark.parametrize(("lift", "sigma_mm"), [(0.04, 1.04), (0.06, 0.69), (0.08, 0.50), (0.10, 0.39)])
def test_doubt_of_one_lift_with_half_gram_pads(lift: float, sigma_mm: float) -> None:
    """Computed values: L * sigma / (W tan theta) with 0.5 g pads, 1.6 kg, 260 mm (law of propagation)."""
    car = CAR | {"radius_front": 0.032, "radius_rear": 0.032}
    level = front_load(car, 0.13, 0.04, 0.0, "rear")
    found = cg_height(lifts_of(car, 0.13, 0.04, [lift]), level_front=level, doubts=GRAMS, car=LiftedCar(**car))
    assert 1000 * found.height.u == pytest.approx(sigma_mm, abs=0.006)


def test_doubts_match_sampling_and_cover() -> None:
    """Everything doubtful drawn at random: spread and 95 % coverage as stated."""
    rng = np.random.default_rng(6)
    doubts = HeightDoubts(
        load=0.7,
        load_common=0.8,
        height=0.3e-3,
        height_common=0.2e-3,
        total=1.0,
        wheelbase=0.4e-3,
        radius=0.3e-3,
        radius_common=0.6e-3,
    )
    heights, errors, stated, inside, trials = [0.0, 0.03, 0.06, 0.09, 0.06, 0.03], [], [], 0, 300
    for _ in range(trials):
        larger = rng.normal(0, 0.6e-3)
        true = CAR | {
            "wheelbase": 0.26 + rng.normal(0, 0.4e-3),
            "radius_front": 0.031 + larger + rng.normal(0, 0.3e-3),
            "radius_rear": 0.033 + larger + rng.normal(0, 0.3e-3),
        }
        common_load, common_height = rng.normal(0, 0.8), rng.normal(0, 0.2e-3)
        lifts = []
        for nominal in heights:
            actual = nominal + (rng.normal(0, 0.3e-3) + common_height if nominal else 0.0)
            reading = front_load(true, 0.12, 0.045, actual, "rear") + rng.normal(0, 0.7) + common_load
            lifts.append(AxleLift(lifted="rear", height=nominal, load_down=reading))
        found = cg_height(lifts, doubts=doubts, car=LiftedCar(**(CAR | {"total": 1600 + rng.normal(0, 1.0)})))
        errors.append(found.height.value - 0.045)
        stated.append(found.height.u)
        inside += found.height.interval[0] <= 0.045 <= found.height.interval[1]
    assert float(np.mean(stated)) == pytest.approx(float(np.std(errors)), rel=0.12)
    assert 0.91 <= inside / trials <= 0.98  # +-3.2 standard errors of 300 trials


def test_suspension_that_moves_is_noticed() -> None:
    """A height that grows with the pitch bends the line."""
    lifts = [lifts_of(CAR, 0.12, 0.045 + 0.1 * h, [h])[0] for h in (0.02, 0.04, 0.06, 0.08, 0.10)]
    found = cg_height(lifts, doubts=replace(GRAMS, load=0.3), car=LiftedCar(**CAR))
    assert any("not a straight line" in text for text in found.warnings)


def test_up_and_down_that_differ_are_noticed() -> None:
    heights = [0.03, 0.06, 0.09, 0.09, 0.06, 0.03]
    lifts = [
        replace(lift, rising=i < 3, load_down=lift.load_down + (0 if i < 3 else 9.0))
        for i, lift in enumerate(lifts_of(CAR, 0.12, 0.045, heights))
    ]
    found = cg_height(lifts, doubts=GRAMS, car=LiftedCar(**CAR))
    assert any("Going up and coming down differ" in text for text in found.warnings)


def test_excess_scatter_widens_the_interval() -> None:
    lifts = lifts_of(CAR, 0.12, 0.045, [0.03, 0.05, 0.07, 0.09, 0.1])
    shaken = [replace(lift, load_down=lift.load_down + e) for lift, e in zip(lifts, [9, -12, 3, 11, -9], strict=True)]
    calm, wild = (cg_height(some, doubts=GRAMS, car=LiftedCar(**CAR)) for some in (lifts, shaken))
    assert wild.height.half_width > 5 * calm.height.half_width
    assert calm.warnings == ()
    assert any("scatter more" in text for text in wild.warnings)


def test_cautions() -> None:
    lifts = lifts_of(CAR, 0.12, 0.045, [0.05, 0.12])
    texts = " ".join(
        cg_height(lifts, doubts=GRAMS, suspension_blocked=False, battery_in=True, car=LiftedCar(**CAR)).warnings
    )
    for word in ("suspension was free", "battery was in", "Fewer than three heights"):
        assert word in texts


@pytest.mark.parametrize(
    ("lifts", "change", "said"),
    [
        ([0.05], {}, "one reading"),
        ([0.05, 0.05], {}, "alike"),
        ([0.05, 0.3], {}, "higher than the wheelbase"),
        ([0.05, -0.01], {}, "not negative"),
        ([0.05, 0.1], {"wheelbase": 0.0}, "must be positive"),
    ],
)
def test_bad_lifts_are_refused(lifts: list[float], change: dict[str, float], said: str) -> None:
    readings = [AxleLift(lifted="rear", height=lift, load_down=800.0 + i) for i, lift in enumerate(lifts)]
    with pytest.raises(InputError, match=said):
        cg_height(readings, doubts=GRAMS, car=LiftedCar(**(CAR | change)))


@pytest.mark.parametrize(
    "doubt", [{"gain": 1e-3}, {"load_common": 1.0}, {"height_common": 1e-4}, {"total": 1.0}, {"wheelbase": 1e-4}]
)
def test_a_shared_error_alone_is_worth_what_it_shifts(doubt: dict[str, float]) -> None:
    """First-order propagation of one cause that all readings share: the shift that just this error makes (GUM 5.1)."""
    ((name, size),) = doubt.items()
    lifts, car = lifts_of(CAR, 0.12, 0.045, [0.04, 0.07, 0.10]), dict(CAR)
    off = {
        "gain": [replace(lift, load_down=lift.load_down * (1 + size)) for lift in lifts],
        "load_common": [replace(lift, load_down=lift.load_down + size) for lift in lifts],
        "height_common": [replace(lift, height=lift.height + size) for lift in lifts],
    }.get(name, lifts)
    if name in car:
        car[name] += size
    true, wrong = (
        cg_height(lifts, doubts=EXACT, car=LiftedCar(**CAR)),
        cg_height(off, doubts=EXACT, car=LiftedCar(**car)),
    )
    stated = cg_height(lifts, doubts=replace(EXACT, **doubt), car=LiftedCar(**CAR))
    assert stated.height.u == pytest.approx(abs(wrong.height.value - true.height.value), rel=5e-3)
    assert stated.station.u == pytest.approx(abs(wrong.station.value - true.station.value), rel=5e-3)


def test_what_lies_off_the_line_is_told_in_loads() -> None:
    """Two readings 4 g apart at each height: the line goes between them, 2 g from each (by hand)."""
    twice = [
        replace(lift, load_down=lift.load_down + error)
        for lift in lifts_of(CAR, 0.12, 0.045, [0.04, 0.10])
        for error in (2.0, -2.0)
    ]
    found = cg_height(twice, doubts=GRAMS, car=LiftedCar(**CAR))
    np.testing.assert_allclose(found.residual, [2, -2, 2, -2], atol=0.02)
    assert found.height.value == pytest.approx(0.045, abs=1e-6)
    # 2 g over 0.7 g is too much: the scatter of 16 g2 over two degrees of freedom is believed, with Student's t of two
    span = float(np.ptp(np.tan(found.pitch)))
    assert found.height.u == pytest.approx(0.260 / 1600 * math.sqrt(16 / 2) / span, rel=0.02)
    assert (found.height.dof, found.height.factor) == (pytest.approx(2.0), pytest.approx(4.3027, abs=1e-3))


@pytest.mark.parametrize(("grams", "told"), [(1.66, False), (1.80, True)])
def test_up_and_down_differ_beyond_three_deviations(grams: float, told: bool) -> None:
    """Means of three readings each of 0.707 g: three deviations of their difference are 3 * 0.707 * sqrt(2/3) g."""
    car = CAR | {"radius_front": 0.032, "radius_rear": 0.032}
    lifts = [
        replace(lift, rising=i < 3, load_down=lift.load_down + (0.0 if i < 3 else grams))
        for i, lift in enumerate(lifts_of(car, 0.12, 0.045, [0.03, 0.06, 0.09, 0.09, 0.06, 0.03]))
    ]
    found = cg_height(lifts, doubts=GRAMS, car=LiftedCar(**car))
    assert any("Going up and coming down" in text for text in found.warnings) == told


def test_the_radii_are_doubted_each_for_itself() -> None:
    lifts = lifts_of(CAR, 0.12, 0.045, [0.04, 0.07, 0.10])
    stated = cg_height(lifts, doubts=replace(EXACT, radius=1e-4), car=LiftedCar(**CAR)).height
    shifts = [
        cg_height(lifts, doubts=EXACT, car=LiftedCar(**(CAR | {name: CAR[name] + 1e-4}))).height.value - stated.value
        for name in ("radius_front", "radius_rear")
    ]
    assert stated.u == pytest.approx(math.hypot(*shifts), rel=5e-3)


@pytest.mark.parametrize(("load", "fits"), [(-0.1, False), (0.0, True), (1600.0, True), (1610.0, False)])
def test_the_axle_that_stays_down_carries_between_nothing_and_all(load: float, fits: bool) -> None:
    readings = [AxleLift(lifted="rear", height=0.05, load_down=load), AxleLift(lifted="rear", height=0.1, load_down=99)]
    if fits:
        assert cg_height(readings, doubts=GRAMS, car=LiftedCar(**CAR)).count == 2
    else:
        with pytest.raises(InputError, match="no more than the total"):
            cg_height(readings, doubts=GRAMS, car=LiftedCar(**CAR))


PADS = HeightDoubts(load=0.7, height=0.3e-3, wheelbase=0.0, radius=0.0)
STEPS = [0.03, 0.045, 0.06, 0.075, 0.09]


def up_and_down(off: dict[int, float]) -> list[AxleLift]:
    """Five lifts up and four down of one car, some readings wrong by so many grams."""
    clean = lifts_of(CAR, 0.14, 0.05, [*STEPS, *STEPS[-2::-1]])
    return [
        replace(one, load_down=one.load_down + off.get(i, 0.0), rising=i < len(STEPS)) for i, one in enumerate(clean)
    ]


@pytest.mark.parametrize(
    ("index", "named"),
    [(2, "The lift to 60 mm going up"), (6, "The lift to 60 mm coming down"), (0, "The lift to 30 mm")],
)
def test_a_reading_that_the_pads_do_not_explain_is_named_with_its_size(index: int, named: str) -> None:
    found = cg_height(up_and_down({index: 9.0}), car=LiftedCar(**CAR), doubts=PADS)
    assert found.off_line.startswith(named)
    # about 9 g less what the line followed; by hand its scatter there is 0.7 g and 0.3 mm of slope, 1.96 times
    size = float(found.off_line.split(" is ")[1].split(" g")[0])
    assert 5.0 < size < 9.0
    assert size == pytest.approx(abs(found.residual[index]), abs=0.06)
    assert 0.8 < float(found.off_line.split("explain ")[1].split(" g")[0]) < 1.6


def test_a_wrong_level_weighing_is_named_too() -> None:
    level = front_load(CAR, 0.14, 0.05, 0.0, "rear")
    found = cg_height(up_and_down({}), car=LiftedCar(**CAR), doubts=PADS, level_front=level + 12.0)
    assert found.off_line.startswith("The level weighing is ")


def test_three_readings_cannot_say_which_one_it_is() -> None:
    found = cg_height(up_and_down({1: 9.0})[:3], car=LiftedCar(**CAR), doubts=PADS)
    assert all(f"{mm} mm" in found.off_line for mm in (30, 45, 60))


def test_what_the_pads_explain_is_rarely_called_off_the_line() -> None:
    rng = np.random.default_rng(4)
    told = 0
    for _ in range(400):
        noise = {i: float(rng.normal(0.0, 0.7)) for i in range(9)}
        told += bool(cg_height(up_and_down(noise), car=LiftedCar(**CAR), doubts=PADS).off_line)
    assert told <= 12  # 1 in 100 at most is stated: 4 of 400, and 12 is four standard deviations above


@pytest.mark.parametrize(("grams", "told"), [(0.4, False), (2.5, True)])
def test_fine_pads_do_not_make_a_fault_of_next_to_nothing(grams: float, told: bool) -> None:
    """0.4 g of 1600 g is no sticking suspension, even where the pads resolve 0.02 g; 2.5 g is."""
    fine = replace(GRAMS, load=0.02)
    lifts = [
        replace(lift, rising=i < 3, load_down=lift.load_down + (0.0 if i < 3 else grams))
        for i, lift in enumerate(lifts_of(CAR, 0.12, 0.045, [0.03, 0.06, 0.09, 0.09, 0.06, 0.03]))
    ]
    found = cg_height(lifts, doubts=fine, car=LiftedCar(**CAR))
    assert any("Going up and coming down" in text for text in found.warnings) == told
