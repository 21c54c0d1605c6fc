"""The fading weight of all robust fits, worked out by hand."""

import numpy as np

from vision.base.robust import fading_weight


def test_the_weight_by_hand() -> None:
    """1 / (1 + (r / 4)²)² for r usual residuals: r = 0, 2, 4, 12 give 1, (4/5)², 1/4, 1/100."""
    weight = fading_weight(np.array([0.0, 0.4, 0.8, 2.4]), 0.2)
    np.testing.assert_allclose(weight, [1.0, 0.64, 0.25, 0.01], rtol=1e-12)


def test_every_frame_has_its_own_usual_residual_and_what_was_not_seen_stays_unknown() -> None:
    weight = fading_weight(np.array([[1.0, 2.0], [1.0, np.nan]]), np.array([[1.0], [0.25]]))
    np.testing.assert_allclose(weight, [[256 / 289, 0.64], [0.25, np.nan]], rtol=1e-12)
