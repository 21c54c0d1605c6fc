"""What is said of a push beside its pivot, and what cards leave open of its speed: limits and shares by hand."""

import numpy as np
import pytest

from tests.analysis.measured.test_pushes import L, only, swings

SWING = ("swing", -0.05, 0.02, 9.0, 20)


def lacking(frames: int) -> dict:
    """A push at 30 frames a second of which so many frames, in the middle, do not show the car."""
    track = swings(("rest", 40), SWING, ("rest", 40))
    kept = np.r_[0:48, 48 + frames : len(track["time"])]
    return track | {name: track[name][kept] for name in ("time", "pose", "covariance")}


@pytest.mark.parametrize(("frames", "seconds"), [(0, None), (3, None), (5, "0.20"), (8, "0.30")])
def test_a_gap_of_more_than_five_frames_is_told_with_its_length(frames: int, seconds: str | None) -> None:
    # the next frame after five lacking ones is six thirtieths of a second later; four are within the usual
    told = only(lacking(frames)).warnings
    said = f"No frame shows the car for {seconds} s of the push; that part is unknown, "
    assert told == (() if seconds is None else (said + "the rests before and after are not affected.",))


@pytest.mark.parametrize(("before", "after", "told"), [(5, 30, "5 frames before"), (30, 5, "6 frames after")])
def test_a_short_rest_is_told_with_its_side_and_its_frames(before: int, after: int, told: str) -> None:
    push = only(swings(("rest", before), SWING, ("rest", after)))  # a swing's last frame is the first of its rest
    assert push.rest_frames[told.endswith("after")] == int(told[0])
    assert push.warnings == (f"The car rested for only {told} the push; leave it alone for 15 or more.",)


def test_a_speed_is_as_doubtful_as_the_way_it_was_found_from() -> None:
    track = swings(("rest", 40), SWING, ("rest", 40))
    plain = only(track)

    def share(**doubts: object) -> float:
        """Relative doubt of the speed beyond that of the track itself."""
        found = only(track, **doubts)
        assert found.peak_speed == pytest.approx(plain.peak_speed)
        return float(np.sqrt(found.peak_speed_u**2 - plain.peak_speed_u**2) / found.peak_speed)

    assert share(scale_u=0.02) == pytest.approx(0.02, rel=1e-6)  # floor distances two per cent too long
    z, yaw = track["pose"][:, 0] + 1j * track["pose"][:, 1], track["pose"][:, 2]
    middle = z + L / 2 * np.exp(1j * yaw)
    gone = middle - middle[:40].mean()
    # a cause that stretches the way of the middle by three per cent, and one that does by four: five together
    stretched = np.stack([np.stack([gone.real, gone.imag, 0 * yaw], 1) * part for part in (0.03, -0.04)])
    assert share(shared=stretched) == pytest.approx(0.05, rel=0.02)
    # one that turns the car by 3 mrad more at the end takes the middle, half a wheelbase ahead, across by 0.39 mm
    turned = np.zeros((1, len(yaw), 3))
    turned[0, 50:, 2] = 0.003
    way = middle[-30:].mean() - middle[:30].mean()
    across = 0.003 * L / 2 * 1j * np.exp(1j * yaw[-1])
    assert share(shared=turned) == pytest.approx(abs((across / way).real), rel=0.02)
