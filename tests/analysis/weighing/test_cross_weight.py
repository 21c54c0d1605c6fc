"""Springs, floor, shims, ballast and the builder's loop: check values, statics, an independent spring model."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.base.errors import InputError
from analysis.base.wheels import CROSS
from analysis.weighing.collar_loop import LoopState, next_step
from analysis.weighing.corner_weights import CornerWeights, cg_place, corner_weights
from analysis.weighing.cross_weight import floor_verdict, plan_shims
from analysis.weighing.parts import PartMass, add_parts, load_of_mass, move_ballast, place_ballast
from analysis.weighing.warp import SpringRates, collar_turn, response_from_rates, response_from_shim, warp_pattern
from tests.analysis.weighing.rectangle import rectangle_contacts

G = 9.80665
CONTACT = rectangle_contacts(0.260, 0.170)


def rates(
    front: float = 2500.0,
    rear: float = 2500.0,
    tyre: float = math.inf,
    bar: tuple[float, float] = (0, 0),
    track: tuple[float, float] = (0.17, 0.17),
) -> SpringRates:
    return SpringRates(
        spring=np.array([front, front, rear, rear]),
        motion_ratio=np.full(4, 0.65),
        tyre=np.full(4, tyre),
        bar=np.array(bar),
        track=np.array(track),
    )


def spring_model(
    car: SpringRates, weight: float, place: np.ndarray, height: np.ndarray, preload: np.ndarray
) -> np.ndarray:
    """Loads of a rigid body on springs, bars and tyres, solved with all displacements: heave, two tilts,
    four wheels."""
    front, rear = car.track
    contact = np.array([[0.26, front / 2], [0.26, -front / 2], [0, rear / 2], [0, -rear / 2]])
    plane = np.column_stack([np.ones(4), contact])  # body height over each wheel from heave and tilts
    stiffness = np.zeros((7, 7))
    force = np.zeros(7)
    body, wheel = np.hstack([plane, np.zeros((4, 4))]), np.hstack([np.zeros((4, 3)), np.eye(4)])
    suspension = np.diag(car.wheel_rate)
    for (left, right), bar in zip(((0, 1), (2, 3)), car.bar, strict=True):
        suspension[left, left] += bar
        suspension[right, right] += bar
        suspension[left, right] -= bar
        suspension[right, left] -= bar
    tyre = np.diag(car.tyre)
    stretch = wheel - body  # compression of the suspension
    stiffness += stretch.T @ suspension @ stretch + wheel.T @ tyre @ wheel
    force += wheel.T @ tyre @ height - stretch.T @ preload
    force[:3] -= weight * np.array([1, *place])
    moved = np.linalg.solve(stiffness, force)
    return np.asarray(tyre @ (height - wheel @ moved))


def weighing(load_g: np.ndarray, sd: float = 1.0) -> CornerWeights:
    return corner_weights(load_g, sd**2 * np.eye(4))


def test_check_values_of_a_typical_car() -> None:
    """Computed check values: 1.06 N/mm at the wheel, 31 g per wheel for one collar turn of 0.75 mm, 3.9 points of
    cross weight on 1.6 kg, 27 g per millimetre of pad height."""
    car = rates()
    response = response_from_rates(car)
    assert car.wheel_rate[0] / 1000 == pytest.approx(1.06, abs=0.005)
    turn = collar_turn(response, car, 2, 1.0, 0.75e-3) * 1000 / G
    np.testing.assert_allclose(turn, np.array([-31, 31, 31, -31]), atol=0.5)
    assert abs(float(CROSS @ turn)) / 2 / 1600 * 100 == pytest.approx(3.9, abs=0.05)
    assert response.grams_per_mm() == pytest.approx(27, abs=0.5)
    assert response.cross_per_mm() == pytest.approx(4 * response.grams_per_mm())


@given(
    st.floats(800, 6000),
    st.floats(800, 6000),
    st.floats(5e3, 2e5),
    st.floats(0, 3000),
    st.floats(0, 3000),
    st.floats(0.12, 0.2),
    st.integers(0, 3),
)
@settings(max_examples=60, deadline=None)
def test_against_a_spring_model_with_all_displacements(
    front: float, rear: float, tyre: float, bar_f: float, bar_r: float, track: float, wheel: int
) -> None:
    car = rates(front, rear, tyre, (bar_f, bar_r), (0.17, track))
    response = response_from_rates(car)
    still = spring_model(car, 16.0, np.array([0.13, 0.004]), np.zeros(4), np.zeros(4))
    raised = np.eye(4)[wheel] * 1e-3
    on_shim = spring_model(car, 16.0, np.array([0.13, 0.004]), raised, np.zeros(4))
    np.testing.assert_allclose(on_shim - still, response.per_height @ raised, atol=1e-8)
    push = collar_turn(response, car, wheel, 1.0, 1e-3)
    turned = spring_model(
        car, 16.0, np.array([0.13, 0.004]), np.zeros(4), np.eye(4)[wheel] * car.spring[wheel] * 0.65e-3
    )
    np.testing.assert_allclose(turned - still, push, atol=1e-8)


@given(st.floats(0.1, 0.2), st.floats(0.1, 0.2))
def test_warping_changes_no_axle_sum_and_no_moment(front: float, rear: float) -> None:  # statics
    q = warp_pattern(np.array([front, rear]))
    y = np.array([front, -front, rear, -rear]) / 2
    np.testing.assert_allclose([q[0] + q[1], q[2] + q[3], q @ y], 0, atol=1e-12)


def test_response_measured_with_a_shim() -> None:
    true = response_from_rates(rates())
    before = np.array([4.0, 3.9, 3.8, 4.1])
    after = before + true.per_height[:, 1] * 0.5e-3
    found = response_from_shim(before, after, 0.003**2 * np.eye(4), wheel=1, shim=0.5e-3, track=np.array([0.17, 0.17]))
    np.testing.assert_allclose(found.per_height, true.per_height, rtol=1e-6)
    np.testing.assert_allclose(found.per_preload, true.per_preload, rtol=1e-6)
    # four readings, two weighings: 0.003 N * sqrt(2) / sqrt(4) on a change of 0.132 N; shim 0.02 of 0.5 mm
    expected = math.hypot(0.003 * math.sqrt(2) / 2 / (true.per_height[1, 1] * 0.5e-3), 0.04)
    assert found.relative_u == pytest.approx(expected, rel=1e-3)


def test_a_shim_too_thin_to_tell_is_refused() -> None:
    with pytest.raises(InputError, match="thicker shim"):
        response_from_shim(
            np.full(4, 4.0),
            np.full(4, 4.0) + 0.001 * CROSS,
            0.05**2 * np.eye(4),
            wheel=0,
            shim=1e-4,
            track=np.array([0.17, 0.17]),
        )


def test_cross_weight_and_floor_told_apart_or_not() -> None:
    """27 g per wheel and mm: pads level to 0.3 mm are worth 27 * 4 * 0.3 * 2 = 65 g of cross weight (closed form)."""
    response = response_from_rates(rates())
    verdict = floor_verdict(weighing(np.array([415, 385, 385, 415.0])), response, 0.3e-3)
    assert not verdict.told_apart
    assert "may be the floor's" in verdict.text
    level = floor_verdict(weighing(np.array([415, 385, 385, 415.0])), response, verdict.level_u * 0.98)
    assert level.told_apart
    assert "front-left and rear-right" in level.text
    assert not floor_verdict(weighing(np.array([415, 385, 385, 415.0])), response, verdict.level_u * 1.02).told_apart
    assert "cannot be told from zero" in floor_verdict(weighing(np.full(4, 400.0), 5.0), response, 0.0).text


@given(st.lists(st.floats(-1.5e-3, 1.5e-3), min_size=4, max_size=4).map(np.array))
@settings(max_examples=60, deadline=None)
def test_shims_make_the_pads_plane(height: np.ndarray) -> None:
    plan, warp = plan_shims(height, CONTACT), float(CROSS @ height)
    assert np.count_nonzero(plan.thickness) <= 1
    if abs(warp) <= 3e-3:  # three shims of at most 1 mm
        assert abs(plan.warp_after) <= 0.2501e-3  # half of the widest gap between stacks of three: 2.5 to 3 mm
    assert plan.warp_after == pytest.approx(warp + float(CROSS @ plan.thickness), abs=1e-12)


def test_a_tilted_plane_needs_no_shim() -> None:
    tilt = CONTACT @ np.array([0.01, -0.02])
    assert "No shim" in plan_shims(tilt, CONTACT).text
    np.testing.assert_allclose(response_from_rates(rates()).per_height @ tilt, 0, atol=1e-9)


# Masses


@given(st.floats(-0.05, 0.3), st.floats(-0.1, 0.1), st.floats(1, 300))
def test_a_mass_loads_the_wheels_in_equilibrium(x: float, y: float, mass: float) -> None:
    load = load_of_mass(mass, np.array([x, y]), CONTACT)
    assert load.sum() == pytest.approx(mass)
    np.testing.assert_allclose(cg_place(load, CONTACT), [x, y], atol=1e-12)


@pytest.mark.parametrize("bar", [(0.0, 0.0), (2000.0, 0.0)])
def test_a_mass_on_springs_as_in_the_spring_model(bar: tuple[float, float]) -> None:
    car = rates(2500, 1500, 3e4, bar)
    place = np.array([0.2, 0.05])
    expected = spring_model(car, 1.0, place, np.zeros(4), np.zeros(4))
    np.testing.assert_allclose(load_of_mass(1.0, place, CONTACT, compliance=car.compliance), expected, atol=1e-10)


def test_forty_grams_moved_by_hand() -> None:
    """40 g from the rear axle to the front one, on the middle line: 20 g on each front wheel (by hand)."""
    change = move_ballast(40, np.array([0.0, 0.0]), np.array([0.26, 0.0]), CONTACT)
    np.testing.assert_allclose(change, [20, 20, -20, -20], atol=1e-12)
    across = move_ballast(40, np.array([0.13, -0.04]), np.array([0.13, 0.04]), CONTACT)
    np.testing.assert_allclose(across, 40 * 0.08 / 0.17 / 2 * np.array([1, -1, 1, -1]), atol=1e-12)


@pytest.mark.parametrize(("target", "wanted"), [("front_pct", 51.5), ("left_pct", 50.0)])
@pytest.mark.parametrize("start", [None, np.array([0.05, 0.03])])
def test_ballast_place_undoes_itself(target: str, wanted: float, start: np.ndarray | None) -> None:
    load = np.array([400, 380, 410, 390.0])
    advice = place_ballast(load, 60, CONTACT, target=target, wanted_pct=wanted, start=start)  # type: ignore[arg-type]
    assert advice.place is not None
    if start is None:
        by_hand = load + load_of_mass(60, advice.place, CONTACT)
    else:
        by_hand = load + move_ballast(60, start, advice.place, CONTACT)
    np.testing.assert_allclose(advice.load_g, by_hand, atol=1e-9)
    assert getattr(weighing(by_hand), target).value == pytest.approx(wanted, abs=1e-9)


def test_ballast_cannot_cure_cross_weight_on_equal_springs_but_can_on_unequal_ones() -> None:
    load = np.array([415, 385, 385, 415.0])
    told = place_ballast(load, 40, CONTACT, target="diagonal_fr_rl_pct")
    assert told.place is None
    assert "Turn a spring collar" in told.text
    stiff_front = rates(bar=(3000.0, 0.0), tyre=3e4).compliance
    advice = place_ballast(load, 300, CONTACT, target="diagonal_fr_rl_pct", compliance=stiff_front)
    assert advice.place is not None
    after = load + load_of_mass(300, advice.place, CONTACT, compliance=stiff_front)
    assert weighing(after).diagonal_fr_rl_pct.value == pytest.approx(50, abs=1e-9)
    assert advice.reachable
    light = place_ballast(load, 40, CONTACT, target="diagonal_fr_rl_pct", compliance=stiff_front)
    assert not light.reachable
    assert "outside the wheels" in light.text


def test_parts_that_were_off_the_car() -> None:
    """An 84 g body at the middle adds 21 g a corner; its doubt: 0.5 g of mass and 2 mm of place (by hand)."""
    body = PartMass(name="body", mass_g=84.0, place=np.array([0.13, 0.0]))
    found = add_parts(np.full(4, 300.0), [body], CONTACT)
    np.testing.assert_allclose(found.load_g, 321.0)
    along, across = 84 * 2e-3 / 0.26 / 2, 84 * 2e-3 / 0.17 / 2
    expected = math.sqrt((0.5 / 4) ** 2 + along**2 + across**2)
    assert math.sqrt(found.parts[0].covariance[0, 0]) == pytest.approx(expected)
    back = add_parts(found.load_g, [PartMass(name="body", mass_g=-84.0, place=np.array([0.13, 0.0]))], CONTACT)
    np.testing.assert_allclose(back.load_g, 300.0)


def test_impossible_masses_are_refused() -> None:
    with pytest.raises(InputError, match="less than nothing"):
        add_parts(np.full(4, 10.0), [PartMass(name="battery", mass_g=-300, place=np.array([0.1, 0]))], CONTACT)
    with pytest.raises(InputError, match="positive mass"):
        place_ballast(np.full(4, 10.0), 0.0, CONTACT, target="left_pct")
    with pytest.raises(InputError, match="one line"):
        load_of_mass(1.0, np.zeros(2), np.zeros((4, 2)))


# The builder's loop


class Workshop:
    """A car whose springs really are softer than its card says; obeys each step and weighs with scatter."""

    def __init__(self, cross_g: float, bar_g: float = 0.0, softness: float = 0.75, seed: int = 1) -> None:
        self.cross, self.bar, self.softness = cross_g, bar_g, softness
        self.rng = np.random.default_rng(seed)
        self.hooked: set[str] = set()

    def weigh(self) -> CornerWeights:
        bar = self.bar if "rear" in self.hooked else 0.0
        load = np.full(4, 400.0) + CROSS * (self.cross + bar + self.rng.normal(0, 1.5)) / 4
        return corner_weights(load, 0.4**2 * np.outer(CROSS, CROSS) + 0.01 * np.eye(4))

    def obey(self, text: str, wheel: int | None, turns: float | None) -> None:
        if wheel is not None and turns is not None:
            preload = 2500 * self.softness * 0.65 * turns * 0.75e-3
            self.cross += float(CROSS[wheel]) * preload * 1000 / G
        for axle in ("front", "rear"):
            if f"Hook the {axle} bar" in text:
                self.hooked.add(axle)
        if "bar link" in text:
            self.bar *= 0.05


def run(shop: Workshop, **options: object) -> tuple[list[str], LoopState]:
    car = rates()
    state = LoopState(response=response_from_rates(car), rates=car, pitch=0.75e-3, **options)  # type: ignore[arg-type]
    texts: list[str] = []
    found: CornerWeights | None = None
    for _ in range(30):
        step = next_step(state, found)
        texts.append(step.text)
        if step.done:
            return texts, step.state
        shop.obey(step.text, step.wheel, step.turns)
        found = shop.weigh() if step.weigh else None
        state = step.state
    raise AssertionError("\n".join(texts))


@pytest.mark.parametrize("cross", [-130.0, 8.0, 90.0])
def test_the_loop_ends_within_tolerance(cross: float) -> None:
    shop = Workshop(cross)
    texts, _ = run(shop)
    assert abs(shop.cross) / 1600 / 2 * 100 <= 0.5 + 0.15  # points; 0.15: two sigma of a weighing here
    order = [
        next(i for i, text in enumerate(texts) if word in text)
        for word in ("Unhook both", "collars and the damper lengths equal", "Hook the rear", "Hook the front")
    ]
    assert order == sorted(order)


def test_advice_names_corner_turn_and_expected_grams() -> None:
    shop = Workshop(90.0, softness=1.0)
    texts, _ = run(shop)
    advice = next(text for text in texts if "collar" in text and "expect" in text)
    assert "Rear-left collar three quarters of a turn down" in advice  # 90 g / (4 * 31 g) = 0.73 turns
    assert "expect +23 g here" in advice  # 0.75 * 31 g
    assert "front-right with rear-left" in advice.lower()


def test_a_twisted_bar_is_cured_at_its_link() -> None:
    texts, _ = run(Workshop(0.0, bar_g=80.0))
    blamed = next(text for text in texts if "bar link" in text)
    assert "rear bar moved" in blamed
    assert "front-left with rear-right" in blamed
    assert "leave the springs alone" in blamed


def test_a_car_without_bars_is_done_sooner() -> None:
    texts, state = run(Workshop(0.0), bars="none")
    assert not any("bar" in text.replace("bars", "") for text in texts if "Hook" in text)
    assert state.stage == "done"


def test_a_collar_that_does_nothing_is_questioned() -> None:
    texts, _ = run(Workshop(120.0, softness=0.0))
    assert any("weigh again" in text and "came" in text for text in texts)
    assert "binding" in texts[-1]


def test_a_weighing_that_is_due_is_asked_for() -> None:
    car = rates()
    state = LoopState(response=response_from_rates(car), rates=car, pitch=0.75e-3, stage="weigh")
    with pytest.raises(InputError, match="needs a weighing"):
        next_step(state)
