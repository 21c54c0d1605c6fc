"""A train of jumps is recognised, and a smooth push is not taken for one: made tracks with noise, seeded.

Truth: by construction. The hands are invented: speeds that wander, tremble at 8 to 11 Hz (the frequency of a hand's own
tremor: from memory) and pause.
"""

import numpy as np
import pytest

from analysis.measured.pose_track import PoseTrack
from analysis.measured.stick_slip import Jumps, jumps_seen

STATION, L = 0.2, 0.26


def seen(advance, moments: np.ndarray, rng: np.random.Generator, noise: float, *, kept: float = 1.0) -> Jumps | None:
    """advance: m against s, as a function.  moments: s of the frames, of which a share is kept.  noise: m."""
    moments = moments[rng.uniform(size=len(moments)) < kept]
    way = advance(moments)
    turn, heading = way * 4.0, rng.uniform(-3.0, 3.0)
    # the touched place goes `way` to the left of the first heading
    x, y = STATION * (1.0 - np.cos(turn)), way - STATION * np.sin(turn)
    c, s = np.cos(heading), np.sin(heading)
    pose = np.stack([c * x - s * y, s * x + c * y, turn + heading], -1)
    spread = np.array([noise, noise, noise / 0.1])
    pose = pose + spread * rng.standard_normal(pose.shape)
    covariance = np.tile(np.diag((spread * rng.uniform(0.7, 1.4)) ** 2), (len(moments), 1, 1))
    track = PoseTrack(time=moments, pose=pose, covariance=covariance, repeating=np.zeros((3, 3)))
    moving = np.flatnonzero((way > 1e-5) & (way < way[-1] - 1e-5))
    start, end = moments[max(moving[0] - 1, 0)], moments[min(moving[-1] + 1, len(moments) - 1)]
    return jumps_seen(track, start_time=start, end_time=end, station=STATION)


def by_hand(rng: np.random.Generator):
    """A hand's own way of pushing 15 to 50 mm in 0.7 to 3 s, eased at both ends, and the moment when it is done."""
    way, seconds = rng.uniform(0.015, 0.05), rng.uniform(0.7, 3.0)
    fine = np.linspace(0.0, seconds, 3000)
    speed = np.minimum(1.0, np.minimum(fine, seconds - fine) / (0.2 * seconds))
    for cycles in (1, 2, 3):
        speed *= 1.0 + rng.uniform(0.0, 0.3) * np.sin(2 * np.pi * (cycles * fine / seconds + rng.uniform()))
    speed *= 1.0 + rng.uniform(0.0, 0.4) * np.sin(2 * np.pi * (rng.uniform(8.0, 11.0) * fine + rng.uniform()))
    for _ in range(rng.integers(0, 3)):  # it pauses
        speed[np.abs(fine - rng.uniform(0.1, 0.9) * seconds) < rng.uniform(0.03, 0.15)] *= 0.05
    gone = np.cumsum(speed)
    gone *= way / gone[-1]
    return (lambda t: np.interp(t - 1.0, fine, gone)), 1.0 + seconds


def test_smooth_pushes_are_not_taken_for_jumps() -> None:
    wrong = []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        advance, done = by_hand(rng)
        moments = np.arange(0.0, done + 1.0, 1.0 / rng.choice([24.0, 30.0, 60.0, 120.0]))
        if seen(advance, moments, rng, rng.choice([1e-5, 3e-5, 1e-4, 2e-4]), kept=rng.choice([1.0, 0.9])) is not None:
            wrong.append(seed)
    assert len(wrong) <= 1


def jumping(rng: np.random.Generator, length: float, speed: float, way: float):
    """The finger goes on at `speed`; the car stays until its tyres let go, then leaps within 25 ms."""
    jumps = length * rng.uniform(0.7, 1.3, round(way / length))
    lets_go = 1.0 + np.cumsum(jumps) / speed
    at = np.concatenate([[0.0], np.cumsum(jumps)])

    def advance(t):
        return sum(jump * np.clip((t - when) / 0.025, 0.0, 1.0) for jump, when in zip(jumps, lets_go, strict=True))

    return advance, float(lets_go[-1]), at


def test_trains_of_jumps_are_recognised_and_counted() -> None:
    missed, off = 0, []
    for seed in range(60):
        rng = np.random.default_rng(1000 + seed)
        length, rate = rng.uniform(0.0015, 0.004), rng.choice([30.0, 60.0])
        speed = length * rng.uniform(0.08, 0.15) * rate  # 7 to 12 frames a jump
        advance, done, _ = jumping(rng, length, speed, 0.04)
        found = seen(advance, np.arange(0.0, done + 1.0, 1.0 / rate), rng, rng.choice([1e-5, 3e-5, 6e-5]))
        missed += found is None
        if found is not None:
            off.append(found.length / length - 1.0)
    assert missed <= 3
    assert np.median(np.abs(off)) < 0.15


def test_what_it_does_is_said() -> None:
    rng = np.random.default_rng(3)
    advance, done, _ = jumping(rng, 0.003, 0.018, 0.04)
    found = seen(advance, np.arange(0.0, done + 1.0, 1 / 60), rng, 2e-5)
    assert found is not None
    assert found.sentence.startswith(f"The car went in jumps ({found.count} of about {1e3 * found.length:.1f} mm)")
    assert found.length == pytest.approx(0.003, rel=0.1)
    assert "% of the wheelbase" in found.sentence


@pytest.mark.parametrize("shown", [3, 5])
def test_pictures_shown_again_are_no_jumps(shown: int) -> None:
    # a steady push of which only every third or fifth picture is new: poses repeat with all their noise
    rng = np.random.default_rng(shown)
    time = np.arange(0.0, 4.0, 1 / 60)
    new = time[np.arange(len(time)) // shown * shown]
    way = 0.04 * np.clip((new - 1.0) / 2.0, 0.0, 1.0)
    each = 3e-5 * rng.standard_normal((len(time), 3))[np.arange(len(time)) // shown * shown]
    pose = np.stack([0.0 * way, way, 0.0 * way], -1) + each
    track = PoseTrack(
        time=time,
        pose=pose,
        covariance=np.tile(9e-10 * np.eye(3), (len(time), 1, 1)),
        repeating=np.zeros((3, 3)),
    )
    assert jumps_seen(track, start_time=1.0, end_time=3.0, station=STATION) is None
