"""Yaw inertia against the closed form of an even box."""

import pytest

from analysis.base.errors import InputError
from analysis.quick.yaw_inertia import from_size


def test_a_guess_from_size_is_wide() -> None:
    # m (a^2 + b^2) / 12 of an even box, elementary mechanics
    found = from_size(mass=1.6, length=0.4, width=0.19)
    assert found.value == pytest.approx(1.6 * (0.4**2 + 0.19**2) / 12)
    assert found.u == pytest.approx(0.25 * found.value)


@pytest.mark.parametrize("wrong", ["mass", "length", "width"])
def test_impossible_input_is_refused(wrong: str) -> None:
    with pytest.raises(InputError, match="not above zero"):
        from_size(**({"mass": 1.6, "length": 0.4, "width": 0.19} | {wrong: 0.0}))
