"""A picture made smaller for a live view keeps its pixels' places. Truth: a slice."""

import numpy as np
import pytest

from rig.jobs.pushing.live_push import thinned


@pytest.mark.parametrize(
    ("shape", "step"),
    [((72, 128, 3), 2), ((108, 192), 3), ((48, 64, 3), 1), ((107, 193, 3), 4), ((107, 192, 3), 4), ((108, 193), 3)],
)
def test_every_so_many_pixels_from_the_first_one_on(shape: tuple[int, ...], step: int) -> None:
    picture = np.random.default_rng(0).integers(0, 256, shape, dtype=np.uint8)
    assert np.array_equal(thinned(picture, step), picture[::step, ::step])
