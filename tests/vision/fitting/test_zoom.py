"""What a changing focal length does, beside one that stays: relative changes drawn here, none from the code."""

import numpy as np

from vision.fitting.zoom import zoom_of

N = 60
MOVED = np.arange(N) >= 20
U, NOISE = np.full(N, 0.02), np.full(N, 0.04)  # of one picture: 0.08 %


def seen(change: np.ndarray) -> np.ndarray:
    return change + np.random.default_rng(5).normal(0, U * NOISE)


def test_a_zoom_in_mid_push_is_found_where_the_camera_moved() -> None:
    true = np.where(np.arange(N) < 20, 0.0, -0.01)
    change, u = zoom_of(seen(true), U, NOISE, MOVED)
    assert not change[:20].any()
    assert not u[:20].any()
    assert np.abs(change[20:] + 0.01).max() < 0.001
    # nine pictures together, and what repeats: by hand sqrt(0.0008**2 / 9 + 0.0004**2) = 0.00048
    assert np.all((u[24:56] > 0.00045) & (u[24:56] < 0.0005))


def test_chance_is_taken_for_no_zoom() -> None:
    change, u = zoom_of(seen(np.zeros(N)), U, NOISE, MOVED)
    assert not change.any()
    assert not u.any()
    assert not zoom_of(seen(np.full(N, 0.02)), U, NOISE, np.zeros(N, bool))[0].any()
