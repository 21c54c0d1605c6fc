"""The wheels' two sets of names stand in one order."""

from analysis.base.wheel_names import WHEEL_KEYS, WHEELS
from analysis.base.wheels import FL, FR, RL, RR


def test_short_and_full_names_are_in_the_order_of_the_arrays() -> None:
    # README: front left, front right, rear left, rear right; a short name is the initials of the full one
    assert WHEELS == ("front left", "front right", "rear left", "rear right")
    assert [WHEEL_KEYS[place] for place in (RR, FL, FR, RL)] == ["RR", "FL", "FR", "RL"]
    assert [f"{first[0]}{second[0]}".upper() for first, second in map(str.split, WHEELS)] == list(WHEEL_KEYS)
