"""What calibration and zeros say of four pads before the car is turned on them, wheel by wheel: by hand."""

import numpy as np
import pytest

from analysis.pads.loads import Loads
from analysis.statistics.estimate import DoubtPart
from analysis.weighing.orientations import one_weighing_enough
from rig.jobs.weighing.weigh import OF_ONE_PAD, calibrated_prior

ORDER = np.array([2, 0, 3, 1])  # pads 3, 1, 4 and 2 stand under FL, FR, RL and RR
LOAD = np.array([500.0, 400.0, 250.0, 200.0])  # g, in pad order


def placed() -> Loads:
    """Pads 1 to 4: zeros known to 1, 2, 3, 4 g, each curve to 1, 2, 3, 4 g at these loads, the masses to 1 %."""
    own = np.diag([1.0, 4.0, 9.0, 16.0])
    none = np.zeros((4, 4))
    parts = {"zero": own, "pads": none, "curves": own, "masses": 1e-4 * np.outer(LOAD, LOAD), "noise": 100.0 + own}
    return Loads(load_g=LOAD, parts=tuple(DoubtPart(name=name, covariance=found) for name, found in parts.items()))


def test_each_wheel_has_the_uncertainty_of_the_pad_under_it() -> None:
    prior = calibrated_prior([placed()], ORDER)
    np.testing.assert_allclose(np.sqrt(np.diag(prior.offset)), [3, 1, 4, 2])
    own = np.array([3 / 250, 1 / 500, 4 / 200, 2 / 400])
    np.testing.assert_allclose(np.sqrt(np.diag(prior.gain)), np.sqrt(own**2 + 1e-4))
    assert prior.gain[0, 1] == pytest.approx(1e-4)  # the masses were the same for all pads


def test_whether_one_weighing_is_enough_counts_what_makes_the_pads_differ() -> None:
    """Under RL stands pad 4, 4 g by its zero and 4 g by its curve: 1.96 (4² + 4²)^½. The masses err for all alike."""
    found = one_weighing_enough(LOAD[ORDER], calibrated_prior([placed()], ORDER, causes=OF_ONE_PAD))
    np.testing.assert_allclose(found.pads_g, 1.959964 * np.sqrt(2.0) * np.array([3, 1, 4, 2]), rtol=1e-6)
    assert not found.enough
    assert "may be 11.1 g off at a corner" in found.text
