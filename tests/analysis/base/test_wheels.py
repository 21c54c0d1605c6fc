"""The order of the wheels and standard gravity, written down once more by hand."""

from pathlib import Path

import numpy as np

import analysis
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheel_names import WHEEL_KEYS, WHEELS
from analysis.base.wheels import AXLES, CROSS, DIAGONAL_FL_RR, FRONT, FRONT_LESS_REAR, LEFT


def test_every_pattern_follows_the_order_of_the_wheels() -> None:
    """Loads of a car heavier at one corner only: 100 g front left, 20, 3 and 700 g the others."""
    load = np.array([100.0, 20.0, 3.0, 700.0])
    assert (FRONT @ load, LEFT @ load, DIAGONAL_FL_RR @ load) == (120.0, 103.0, 800.0)  # sums by hand
    assert (FRONT_LESS_REAR @ load, CROSS @ load) == (-583.0, 777.0)
    assert [[load[wheel] for wheel in axle] for axle in AXLES] == [[100.0, 20.0], [3.0, 700.0]]


def test_names_and_keys_go_together() -> None:
    assert [name.split() for name in WHEELS] == [
        [{"F": "front", "R": "rear"}[key[0]], {"L": "left", "R": "right"}[key[1]]] for key in WHEEL_KEYS
    ]


def test_standard_gravity_stands_once() -> None:
    assert STANDARD_GRAVITY == 9.80665  # 3rd CGPM, 1901
    sources = [path for path in Path(analysis.__file__).parent.rglob("*.py") if path.name != "gravity.py"]
    written = [str(path) for path in sources if "= 9.8" in (text := path.read_text()) or "/ 9.8" in text]
    assert not written
