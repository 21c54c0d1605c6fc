"""Which edge fits count: all corners, the right pattern, and settled where they began."""

from dataclasses import replace

import numpy as np

from vision.tracking.bodies import Fits


def test_a_fit_that_still_moves_is_known_but_not_sure() -> None:
    # From the definition: a fit that settled moved by half a pixel at the most; two corners name a marker.
    square = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 7.0], [0.0, 7.0]])
    fits = Fits.none(1, 5)
    corner = np.broadcast_to(square, (1, 5, 4, 2)).copy()
    corner[0, 2, 3] = np.nan
    corner[0, 4, 1:] = np.nan
    fits = replace(
        fits,
        corner=corner,
        likeness=np.array([[1.0, 1.0, 1.0, 0.0, 1.0]]),
        step=np.array([[0.4, 0.6, 0.1, 0.1, 0.1]]),
    )
    assert fits.sure().tolist() == [[True, False, False, False, False]]
    assert fits.known().tolist() == [[True, True, True, False, False]]
