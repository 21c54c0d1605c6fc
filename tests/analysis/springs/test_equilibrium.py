"""Sprung body in balance: against an independent optimiser, closed forms, printed examples and the laws of statics."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from analysis.base.errors import InputError
from analysis.springs.chassis import Chassis, Standing, Suspension, Unsprung, car_at_rest, stacked
from analysis.springs.equilibrium import Equilibrium, equilibrium, standing
from tests.analysis.springs.sprung_cars import G, dunlin, picked, random_cars

BOOK = tomllib.loads((Path(__file__).parents[2] / "data" / "vehicle_examples.toml").read_text())


def by_least_squares(car: Chassis, ax: float, ay: float, lean: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loads (4,) and coordinates (7,) from a bounded least-squares solver (SciPy's BVLS), from the statics anew.

    Least complementary energy of hinge forces that only push, under balance of forces and moments.
    lean: pitch and roll by which the body's weight is displaced.
    """
    x = np.array([car.wheelbase, car.wheelbase, 0, 0]) - car.sprung_place[0]
    y = np.array([1, -1, 1, -1]) * np.repeat(car.track, 2) / 2 - car.sprung_place[1]
    rows, start, rates = [], [], []
    kw = car.spring * car.motion_ratio**2
    for i in range(4):
        travel = np.zeros(7)
        travel[[0, 1, 2, 3 + i]] = -1, x[i], -y[i], 1
        tyre = np.zeros(7)
        tyre[3 + i] = -1
        rows += [travel, travel, -travel, tyre]
        start += [
            car.spring_force[i] * car.motion_ratio[i] / kw[i],
            -car.bump_gap[i],
            -car.droop[i],
            car.tyre_force[i] / car.tyre[i],
        ]
        rates += [kw[i], car.bump_rate[i], car.droop_rate[i], car.tyre[i]]
    twist = np.array([rows[0] - rows[4], rows[8] - rows[12]])
    lever = np.vstack([rows, twist * (car.bar > 0)[:, None]])
    ms, h, mu, hu = car.sprung_mass, car.sprung_place[2], car.unsprung_mass, car.unsprung_height
    front = car.sprung_place[0] / car.wheelbase
    axis = front * car.roll_centre[0] + (1 - front) * car.roll_centre[1]
    force = np.zeros(7)
    force[0], force[3:7] = -ms * G, -mu * G
    force[1], force[2] = -(ms * h + mu @ hu) * ax, ms * ay * (h - axis)
    force[1] += ms * G * h * lean[0]
    force[2] += ms * G * (h - axis) * lean[1]
    for axle, share in enumerate((front, 1 - front)):
        two = slice(2 * axle, 2 * axle + 2)
        side = ay * (ms * share * car.roll_centre[axle] + mu[two] @ hu[two]) / car.track[axle]
        force[3 + 2 * axle] += side
        force[4 + 2 * axle] -= side
    flexible, q, heavy = 1 / np.sqrt(np.append(rates, np.where(car.bar > 0, car.bar, 1))), np.zeros(7), 30.0
    lower = np.append(np.zeros(16), [-np.inf, -np.inf])
    for _ in range(4):  # a stiff penalty on balance, then its multipliers (which are the coordinates)
        matrix = np.vstack([np.diag(flexible), heavy * lever.T])
        wanted = np.concatenate([np.array(start) / flexible[:16], [0, 0], heavy * (force + q / heavy**2)])
        found = lsq_linear(matrix, wanted, (lower, np.inf), method="bvls", tol=1e-15)
        q = q + heavy**2 * (force - lever.T @ found.x)
    return found.x[3:16:4], q


def balance(car: Chassis, state: Equilibrium, ax: np.ndarray, ay: np.ndarray) -> np.ndarray:
    """Weight and both moments about the floor, (..., 3), N and N m: what the floor gives minus what is asked."""
    place, c = car.contact_place, car.sprung_place
    front = c[..., 0] / car.wheelbase
    arm = c[..., 2] - front * car.roll_centre[..., 0] - (1 - front) * car.roll_centre[..., 1]
    tall = car.sprung_mass * c[..., 2] + (car.unsprung_mass * car.unsprung_height).sum(-1)
    own = (car.unsprung_mass[..., None] * place).sum(-2) * G
    lean_x, lean_y = c[..., 2] * state.pitch, -arm * state.roll
    mx = car.sprung_mass * G * (c[..., 0] + lean_x) + own[..., 0] - tall * ax
    my = car.sprung_mass * G * (c[..., 1] + lean_y) + own[..., 1] - tall * ay
    got = (state.load[..., None] * place).sum(-2)
    return np.stack([state.load.sum(-1) - car.mass * G, got[..., 0] - mx, got[..., 1] - my], -1)


def test_random_cars_agree_with_a_bounded_least_squares_solver() -> None:
    rng = np.random.default_rng(3)
    cars = random_cars(1000, rng)
    a, turn = rng.uniform(0, 30, 1000), rng.uniform(0, 2 * np.pi, 1000)
    ax, ay = a * np.cos(turn), a * np.sin(turn)
    state = equilibrium(cars, ax, ay, leaning=False)
    stands = np.flatnonzero(~state.rolls_over)
    assert len(stands) > 700
    assert (state.lifted[stands].any(-1)).sum() > 150
    assert state.on_bump_stop[stands].any(-1).sum() > 150
    upright, worst = np.zeros(2), 0.0
    pushed = np.flatnonzero((state.lifted | state.on_bump_stop)[stands].any(-1))  # the harder half of the optimiser's
    chosen = stands[np.union1d(pushed[:120], np.arange(60))]
    for i in chosen:
        load, _ = by_least_squares(picked(cars, int(i)), ax[i], ay[i], upright)
        worst = max(worst, np.abs(load - state.load[i]).max() / cars.weight[i])
    assert worst < 1e-8  # BVLS works to about 1e-10 of the weight
    # those called rolled over: the centre of pressure would lie outside the four contacts (statics)
    tall = cars.sprung_mass * cars.sprung_place[..., 2] + (cars.unsprung_mass * cars.unsprung_height).sum(-1)
    centre = cars.centre[..., :2] - tall[:, None] * np.stack([ax, ay], -1) / cars.weight[:, None]
    half = (cars.track[:, 1] + (cars.track[:, 0] - cars.track[:, 1]) * centre[:, 0] / cars.wheelbase) / 2
    outside = (np.abs(centre[:, 1]) > half) | (centre[:, 0] < 0) | (centre[:, 0] > cars.wheelbase)
    np.testing.assert_array_equal(state.rolls_over, outside)
    assert outside.sum() > 50


def test_leaning_bodies_agree_with_a_general_root_finder_and_balance() -> None:
    rng = np.random.default_rng(4)
    cars = random_cars(300, rng)
    a, turn = rng.uniform(0, 15, 300), rng.uniform(0, 2 * np.pi, 300)
    ax, ay = a * np.cos(turn), a * np.sin(turn)
    state = equilibrium(cars, ax, ay)
    stands = ~state.rolls_over
    assert stands.sum() > 200
    left = balance(cars, state, ax, ay)[stands] / cars.weight[stands, None]
    np.testing.assert_allclose(left, 0, atol=1e-9)
    assert np.all(state.load[state.lifted & stands[:, None]] == 0.0)
    assert np.nanmax(state.residual / cars.weight) < 1e-9
    for i in np.flatnonzero(stands)[:10]:  # the optimiser above, given the body's lean until it repeats itself
        car, lean = picked(cars, int(i)), np.zeros(2)
        for _ in range(60):
            load, q = by_least_squares(car, ax[i], ay[i], lean)
            lean, before = q[1:3], lean
            if np.abs(lean - before).max() < 1e-12:
                break
        assert np.abs(load - state.load[i]).max() / car.weight < 1e-7
        assert lean == pytest.approx([state.pitch[i], state.roll[i]], abs=1e-8)


def test_total_transfer_and_its_parts_on_rigid_tyres() -> None:
    # Sum over axles: (m_s h_s + m_u h_u) a_y / t and (m_s h_s + m_u h_u) a_x / L; the axle's part: elastic by roll
    # stiffness, geometric by roll centre, unsprung directly (elementary statics).
    car = dunlin(tyre=[1e9] * 4, bump_gap=np.inf, droop=np.inf)
    ay = 3.0
    state = equilibrium(car, 0.0, ay, leaning=False)
    transfer = (state.load[[1, 3]] - state.load[[0, 2]]) / 2
    tall = car.sprung_mass * car.sprung_place[2] + 4 * 0.035 * 0.032
    assert transfer.sum() == pytest.approx(tall * ay / 0.165, rel=1e-9)
    front = car.sprung_place[0] / 0.257
    axis = front * 0.008 + (1 - front) * 0.012
    stiff = 0.165**2 / 2 * (np.array([800, 700]) * 0.65**2 + 2 * np.array([150, 80]))
    couple = car.sprung_mass * ay * (car.sprung_place[2] - axis)
    y = car.sprung_mass * ay * np.array([front, 1 - front])
    by_hand = (couple * stiff / stiff.sum() + y * np.array([0.008, 0.012]) + 2 * 0.035 * ay * 0.032) / 0.165
    np.testing.assert_allclose(transfer, by_hand, rtol=1e-6)  # tyres of 1e9 N/m are rigid to 1e-6
    lean = equilibrium(car, 0.0, ay)
    arm = car.sprung_place[2] - axis
    assert lean.roll == pytest.approx(couple / (stiff.sum() - car.sprung_mass * G * arm), rel=1e-5)
    along = equilibrium(car, 2.0, 0.0, leaning=False)
    assert along.load[2:].sum() - car.tyre_force[2:].sum() == pytest.approx(tall * 2.0 / 0.257, rel=1e-9)


def test_printed_example_of_a_full_size_car() -> None:
    # Barton & Fieldhouse, Automotive Chassis Engineering, 2018, chapter 3.
    book = BOOK["barton_fieldhouse_load_transfer"]
    published, g, total = book["published_N"], book["g"], book["roll_stiffness_total_Nm_per_rad"]
    track, length, ms, ay = book["track_m"], 2.5, book["ms_kg"], book["a_y_g"] * book["g"]
    front = book["front_share_of_ms"]
    unsprung = np.repeat([book["unsprung_kg"]["front"], book["unsprung_kg"]["rear"]], 2) / 2
    height = np.repeat([book["unsprung_height_m"]["front"], book["unsprung_height_m"]["rear"]], 2)
    centres = np.array([book["roll_centre_m"]["front"], book["roll_centre_m"]["rear"]])
    axis = front * centres[0] + (1 - front) * centres[1]
    hs = axis + book["cg_to_roll_axis_m"]
    load = unsprung * g + ms * g * np.repeat([front, 1 - front], 2) / 2
    share = published["roll_front"] / (published["roll_front"] + published["roll_rear"])
    spring = np.repeat(np.array([share, 1 - share]) * total * 2 / track**2, 2)
    car = car_at_rest(
        Standing(
            wheelbase=length,
            track=[track, track],
            load=load,
            gravity=g,
            height=(ms * hs + unsprung @ height) / (ms + unsprung.sum()),
        ),
        Suspension(spring=spring, motion_ratio=[1.0] * 4, tyre=[1e10] * 4, roll_centre=centres),
        Unsprung(mass=unsprung, height=height),
    )
    state = equilibrium(car, 0.0, ay)
    transfer = (state.load[[1, 3]] - state.load[[0, 2]]) / 2
    direct = np.array(
        [
            published["geometric_front"] + published["unsprung_front"],
            published["geometric_rear"] + published["unsprung_rear"],
        ]
    )
    elastic_parts = [published["roll_front"], published["roll_rear"]]
    # the book's elastic parts are 0.7 % less than its own gradient gives (0.365 m rounded); hence 1 %
    np.testing.assert_allclose(transfer, direct + np.array(elastic_parts), rtol=0.01)
    rolled = book["recomputed"]["rad_per_m_s2"]
    assert state.roll / ay == pytest.approx(rolled, rel=1e-5)
    assert rolled == pytest.approx(book["published_roll_gradient"]["rad_per_m_s2"], abs=5e-5)
    upright = equilibrium(car, 0.0, ay, leaning=False)
    elastic = ms * ay * 0.365 * np.array([share, 1 - share]) / track
    geometric = (
        (upright.load[[1, 3]] - upright.load[[0, 2]]) / 2 - elastic - unsprung[[0, 2]] * 2 * ay * height[[0, 2]] / track
    )
    recomputed = [book["recomputed"]["geometric_front"], book["recomputed"]["geometric_rear"]]
    np.testing.assert_allclose(geometric, recomputed, rtol=2e-4)


@pytest.mark.parametrize("name", ["multibody_vehicle_1", "multibody_vehicle_2"])
def test_steady_turns_of_an_open_multi_body_model(name: str) -> None:
    book = BOOK[name]
    length = book["a_m"] + book["b_m"]
    mu = book["mu_kg"] / 2 if "mu_kg" in book else 0.0
    ms, g, hs = book["ms_kg"], 9.81, book["h_s_m"]
    front = book["b_m"] / length
    weight = book["m_kg"] * g if "m_kg" in book else (ms + 4 * mu) * g
    carried = weight - 4 * mu * g
    load = mu * g + carried * np.repeat([front, 1 - front], 2) / 2
    tracks = np.array([book["track_m"]["front"], book["track_m"]["rear"]])
    bars = np.array([book["bar_Nm_per_rad"]["front"], book["bar_Nm_per_rad"]["rear"]]) / tracks**2
    springs = np.repeat([book["spring_N_per_m"]["front"], book["spring_N_per_m"]["rear"]], 2)
    hu = book["wheel_radius_m"]

    def car(tyre: float) -> Chassis:
        return car_at_rest(
            Standing(
                wheelbase=length, track=tracks, load=load, height=(ms * hs + 4 * mu * hu) / (ms + 4 * mu), gravity=g
            ),
            Suspension(spring=springs, bar=bars, motion_ratio=[1.0] * 4, tyre=[tyre] * 4),
            Unsprung(mass=[mu] * 4, height=[hu] * 4),
        )

    for run in book["runs"]:
        rigid, real = (equilibrium(car(rate), 0.0, run["a_y"]) for rate in (1e10, book["tyre_N_per_m"]))
        transfer = (rigid.load[[1, 3]] - rigid.load[[0, 2]]) / 2
        np.testing.assert_allclose(transfer, run["classical_dF"], rtol=0.005)
        # tyres give: the bodies of the full model also move sideways and jack, which ours leaves out (5 % of dF)
        np.testing.assert_allclose((real.load[[1, 3]] - real.load[[0, 2]]) / 2, run["model_dF"], rtol=0.05)


def test_laws_of_statics_and_symmetry() -> None:
    rng = np.random.default_rng(8)
    cars = random_cars(50, rng)
    ax, ay = rng.uniform(-6, 6, 50), rng.uniform(-6, 6, 50)
    state = equilibrium(cars, ax, ay)
    rest = equilibrium(cars)
    np.testing.assert_allclose(rest.load, cars.tyre_force, rtol=1e-9)
    np.testing.assert_allclose(rest.travel, 0, atol=1e-9)
    flip = [1, 0, 3, 2]
    mirrored = replace(
        cars,
        sprung_place=cars.sprung_place * [1, -1, 1],
        **{
            name: getattr(cars, name)[:, flip]
            for name in (
                "unsprung_mass",
                "unsprung_height",
                "spring",
                "motion_ratio",
                "spring_force",
                "tyre",
                "tyre_force",
                "bump_gap",
                "bump_rate",
                "droop",
                "droop_rate",
            )
        },
    )
    other = equilibrium(mirrored, ax, -ay)
    np.testing.assert_allclose(other.load[:, flip], state.load, atol=1e-8)
    # a slope is an acceleration seen from a floor that leans: uphill pushes weight to the rear
    hill = equilibrium(cars, grade=0.2)
    assert np.all(hill.load[:, 2:].sum(-1) > rest.load[:, 2:].sum(-1) * np.cos(0.2))
    np.testing.assert_allclose(hill.load.sum(-1), cars.weight * np.cos(0.2), rtol=1e-9)
    bank = equilibrium(cars, bank=0.1)
    assert np.all(bank.load[:, [1, 3]].sum(-1) > rest.load[:, [1, 3]].sum(-1))
    together = equilibrium(stacked([dunlin(), dunlin(height=0.05)]), np.array([[1.0], [2.0]]), 0.0)
    assert together.load.shape == (2, 2, 4)


def test_directions_the_trade_relies_on() -> None:  # common practice
    soft, stiff = dunlin(), dunlin(bar=[900.0, 80.0])
    turn = [equilibrium(car, 0.0, 5.0).load for car in (soft, stiff)]
    front = [(load[1] - load[0]) for load in turn]
    assert front[1] > front[0]  # a stiffer front bar moves lateral transfer to the front axle
    pitch = [equilibrium(car, -4.0, 0.0).pitch for car in (dunlin(), dunlin(spring=[500, 500, 700, 700]))]
    assert pitch[1] > pitch[0] > 0  # softer front springs pitch more under braking


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"spring": [-800.0, 800, 700, 700]}, "spring rate -800"),
        ({"motion_ratio": [0.0, 0.65, 0.65, 0.65]}, "motion ratio 0"),
        ({"tyre": [0.0] * 4}, "tyre rate 0"),
        ({"bar": [-1.0, 0.0]}, "bar rate -1"),
        ({"rest_load": np.array([0.2, 4, 4, 4])}, "more than its own unsprung weight"),
        ({"track": [0.0, 0.1]}, "track 0"),
        ({"droop": -0.001}, "droop travel -0.001"),
        ({"height": -0.1}, "below the floor"),
        ({"spring": [np.nan, 1, 1, 1]}, "spring rate"),
    ],
)
def test_nonsense_is_named(changes: dict, words: str) -> None:
    with pytest.raises(InputError, match=words):
        dunlin(**changes)


def test_a_car_that_rolls_over_is_told_so_and_has_no_numbers() -> None:
    state = equilibrium(dunlin(), 0.0, np.array([5.0, 30.0]))
    assert state.rolls_over.tolist() == [False, True]
    assert np.all(np.isnan(state.load[1]))
    assert np.all(np.isfinite(state.load[0]))
    with pytest.raises(InputError, match="rolls over"):
        standing(state)
    with pytest.raises(InputError, match="finite"):
        equilibrium(dunlin(), float("nan"), 0.0)


def test_a_car_stands_right_up_to_where_it_tips() -> None:
    """A tall car on soft springs, found by drawing cars: the solver gave it up at 0.94 of its tipping.

    Truth by moments about the outer contacts: it tips where its inner wheels carry nothing any more, at
    (t/2 - y) / h, y by how far its centre of gravity is outward of the middle, leaned over as its body rolled.
    """
    height, load = 0.0728, np.array([4.61, 4.686, 3.171, 3.224])
    changes = {"spring": np.repeat([576.3, 665.3], 2), "bar": [41.7, 998.9], "tyre": [16726.0] * 4}
    car = dunlin(rest_load=load, height=height, droop=0.00408, bump_gap=0.00776, **changes)
    ay = np.linspace(0.5, 1.2, 281) * G
    state = equilibrium(car, 0.0, ay)
    falls = int(np.argmax(state.rolls_over))
    assert state.rolls_over[falls:].all()
    assert (state.load[falls - 1, 0] + state.load[falls - 1, 2]) / (1.6 * G) < 0.005  # it turns to the left
    weight = load.sum()
    outward = 0.0825 * (load[1] + load[3] - load[0] - load[2]) / weight
    sprung = 1.0 - 4 * 0.035 * G / weight
    lean = float(state.roll[falls - 1]) * (height - 0.032 * (1.0 - sprung))
    assert ay[falls - 1] / G == pytest.approx((0.0825 - outward - lean) / height, rel=0.015)
