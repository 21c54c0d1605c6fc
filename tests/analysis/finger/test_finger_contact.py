"""Station, side and direction of a push against plane geometry: a car on a known swing, touched at a known place."""

import numpy as np
import pytest

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.finger.finger_contact import PushContact, push_contact

FACE, POLE = -0.09, -0.05  # m: the touched side and the pivot, car axes
N = 40


def swing(turn: float = 0.3, yaw: float = 0.2) -> FloatArray:
    """(n, 3) poses from rest to rest about the point POLE ahead of the rear axle, standing at (0.1, -0.02)."""
    angle = yaw + turn * 0.5 * (1 - np.cos(np.pi * np.linspace(0.0, 1.0, N)))
    return np.stack([0.1 - POLE * np.cos(angle), -0.02 - POLE * np.sin(angle), angle], -1)


def on_car(pose: FloatArray, x: FloatArray, y: float) -> FloatArray:
    """(n, 2) floor places of points (x, y) of the car."""
    c, s = np.cos(pose[:, 2]), np.sin(pose[:, 2])
    return np.stack([pose[:, 0] + c * x - s * y, pose[:, 1] + s * x + c * y], -1)


def straight(pose: FloatArray, station: float, off: float, face: float = FACE) -> tuple[FloatArray, FloatArray]:
    """Tips on one straight line of the floor that meets the face, and the stations met: two lines intersected by hand.

    The line starts at `station` of the first pose and goes `off` rad away from square to it, anticlockwise.
    """
    first = on_car(pose[:1], np.array([station]), face)[0]
    heading = pose[0, 2] + np.pi / 2 + off + (np.pi if face > 0 else 0.0)
    ahead = np.array([np.cos(heading), np.sin(heading)])
    axis = np.stack([np.cos(pose[:, 2]), np.sin(pose[:, 2])], -1)
    foot = on_car(pose, np.zeros(N), face)
    # first + way * ahead = foot + x * axis, solved for x and way
    stations, ways = np.empty(N), np.empty(N)
    for k in range(N):
        stations[k], ways[k] = np.linalg.solve(np.stack([axis[k], -ahead], -1), first - foot[k])
    return first + ways[:, None] * ahead, stations


def handed(
    pose: FloatArray, tip: FloatArray, *, shared: FloatArray | None = None, u: float = 1e-5
) -> PushContact | None:
    causes = np.zeros((0, N, 2)) if shared is None else shared
    return push_contact(
        pose,
        np.tile(np.diag([u, u, 3 * u]) ** 2, (N, 1, 1)),
        tip,
        np.tile(np.eye(2) * u**2, (N, 1, 1)),
        pose_shared=np.zeros((len(causes), N, 3)),
        tip_shared=causes,
    )


def contact(pose: FloatArray, tip: FloatArray, *, shared: FloatArray | None = None, u: float = 1e-5) -> PushContact:
    found = handed(pose, tip, shared=shared, u=u)
    assert found is not None
    return found


@pytest.mark.parametrize(("station", "off"), [(0.22, 0.0), (0.12, 0.06), (0.26, -0.08)])
def test_a_straight_finger_is_found_where_it_first_touched(station: float, off: float) -> None:
    pose = swing()
    tip, met = straight(pose, station, off)
    found = contact(pose, tip)
    assert found.side == 1
    assert found.station == pytest.approx(station, abs=2e-4)
    assert found.direction == pytest.approx(off, abs=1e-6)
    assert found.bend == pytest.approx(0.0, abs=1e-6)
    assert found.slip == pytest.approx(met[-1] - met[0], abs=5e-4)
    assert found.path == "straight on the floor"


def test_the_other_side_is_the_mirror_image() -> None:
    pose, other = swing(), swing()
    other[:, 1:] *= -1.0
    tip, _ = straight(pose, 0.2, 0.05)
    found, mirrored = contact(pose, tip), contact(other, tip * [1.0, -1.0])
    assert mirrored.side == -found.side == -1
    assert mirrored.station == pytest.approx(found.station, abs=1e-9)
    assert mirrored.direction == pytest.approx(-found.direction, abs=1e-9)
    assert mirrored.bend == pytest.approx(-found.bend, abs=1e-9)


def test_a_finger_in_a_notch_stays_on_the_car_and_turns_with_it() -> None:
    pose = swing(turn=0.3)
    found = contact(pose, on_car(pose, np.full(N, 0.2), FACE))
    assert found.path == "stays on the car"
    assert found.station == pytest.approx(0.2, abs=1e-6)
    assert found.slip == pytest.approx(0.0, abs=1e-6)
    assert found.bend == pytest.approx(0.3, abs=0.005)  # a point of the car turns its way as the car turns
    # Velocity is square to the arm from the pivot, (0.25, FACE): (-FACE, 0.25) for a left turn, so it leans forwards.
    assert found.direction == pytest.approx(-np.arctan2(-FACE, 0.2 - POLE), abs=0.005)


def test_too_little_turn_tells_no_path_and_too_few_frames_tell_nothing() -> None:
    pose = np.column_stack([np.zeros(N), np.linspace(0.0, 0.05, N), np.zeros(N)])
    tip = on_car(pose, np.full(N, 0.13), FACE)
    assert contact(pose, tip).path == "cannot tell"
    none = np.zeros((0, 5, 3)), np.zeros((0, 5, 2))
    few = push_contact(
        pose[:5], np.zeros((5, 3, 3)), tip[:5], np.zeros((5, 2, 2)), pose_shared=none[0], tip_shared=none[1]
    )
    assert few is None
    with pytest.raises(InputError, match="shapes"):
        push_contact(
            pose,
            np.zeros((N, 3, 3)),
            tip[:9],
            np.zeros((N, 2, 2)),
            pose_shared=np.zeros((0, N, 3)),
            tip_shared=np.zeros((0, N, 2)),
        )


def test_a_finger_still_on_its_way_does_not_count() -> None:
    pose = np.concatenate([np.repeat(swing()[:1], N, axis=0), swing()])[N - 10 : -10]
    approach = straight(swing(), 0.2, 0.0)[0]
    heading = pose[0, 2] + np.pi / 2 + 0.5  # it comes from aside
    before = approach[0] - np.linspace(0.02, 0.0, 10)[:, None] * [np.cos(heading), np.sin(heading)]
    found = contact(pose, np.concatenate([before, approach[: N - 10]]))
    assert found.station == pytest.approx(0.2, abs=3e-4)
    assert found.direction == pytest.approx(0.0, abs=0.01)


def test_the_stated_doubt_is_that_of_its_causes() -> None:
    """Against a simulation in which causes and corner errors are drawn: 95 % of 400 hold the truth."""
    rng = np.random.default_rng(11)
    pose = swing()
    tip, _ = straight(pose, 0.2, 0.0)
    along = np.stack([np.cos(pose[:, 2]), np.sin(pose[:, 2])], -1)
    causes = np.stack([0.001 * along, 0.0006 * np.tile([0.3, 0.95], (N, 1))])
    inside, errors, stated = 0, [], []
    for _ in range(400):
        drawn = rng.standard_normal(2)
        seen = tip + np.einsum("k,knj->nj", drawn, causes) + rng.normal(0.0, 3e-4, 2) + rng.normal(0.0, 5e-5, (N, 2))
        found = contact(pose, seen, shared=causes, u=3e-4)
        errors.append(found.station - 0.2)
        stated.append(found.station_u)
        inside += abs(errors[-1]) < 1.96 * stated[-1]
    # Binomial error of 95 % in 400: 1.1 %.
    assert inside / 400 == pytest.approx(0.95, abs=0.033)
    assert np.std(errors) == pytest.approx(float(np.median(stated)), rel=0.12)


@pytest.mark.parametrize("station", [0.05, 0.22])
@pytest.mark.parametrize("beside", [FACE, -0.2])
def test_a_marker_that_lies_on_the_floor_touches_nothing(station: float, beside: float) -> None:
    """It stays where it was, beside the car or under its edge, while the car goes 34 to 81 mm away from it."""
    pose = swing()
    lies = np.tile(on_car(pose[:1], np.array([station]), beside), (N, 1))
    noise = 2e-4 * np.random.default_rng(1).standard_normal((N, 2))
    assert handed(pose, lies + noise) is None


def test_a_tool_that_moves_another_way_touches_nothing() -> None:
    """A hand that lays a second tool aside meanwhile: 60 mm along the car and away from it."""
    pose = swing()
    start = on_car(pose[:1], np.array([0.1]), -0.2)[0]
    assert handed(pose, start + np.linspace(0.0, 1.0, N)[:, None] * [-0.05, -0.035]) is None


@pytest.mark.parametrize("off", [-0.2, 0.2])
def test_a_slanting_push_and_a_round_side_still_touch(off: float) -> None:
    """12 degrees off square, on a side that is 6 mm nearer where the finger has slipped to."""
    pose = swing()
    tip, met = straight(pose, 0.2, off)
    axis = np.stack([-np.sin(pose[:, 2]), np.cos(pose[:, 2])], -1)
    rounded = tip + 0.006 * np.linspace(0.0, 1.0, N)[:, None] * axis
    assert handed(pose, rounded) is not None
    assert contact(pose, tip).station == pytest.approx(0.2, abs=4e-4)
    assert np.ptp(met) > 0.002  # it slips
