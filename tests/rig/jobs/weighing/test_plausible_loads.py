"""What is no car, what stands on pads that should be empty: the limits, from cards and scales that show grams.

Truth: the limits as they are written down (a tenth of the car, at least 100 g, half of a car that is lighter still).
"""

from pathlib import Path

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.cards.read import read_set
from rig.jobs.weighing.plausible_loads import least_load, refuse_empty, refuse_loaded_zero
from rig.log.store import BenchLog
from tests.values.pads_acted import write_cards


@pytest.mark.parametrize(
    ("total_g", "least"),
    [(2600.0, 260.0), (1600.0, 160.0), (700.0, 100.0), (150.0, 75.0), (None, 100.0)],
)
def test_how_little_is_no_car(tmp_path: Path, total_g: float | None, least: float) -> None:
    known = {} if total_g is None else {"masses.total_g": total_g}
    cards = read_set(write_cards(tmp_path, car=known))
    shares = np.array([0.27, 0.24, 0.25, 0.24])
    with BenchLog(tmp_path / "log") as log:
        assert least_load(cards, log) == pytest.approx(least)
        assert refuse_empty(cards, log, 1.02 * least * shares) == ()
        with pytest.raises(InputError, match="there is no car on the pads"):
            refuse_empty(cards, log, 0.98 * least * shares)


@pytest.mark.parametrize(
    ("light", "said"),
    [(0.13, "refused"), (0.17, "remark"), (0.38, "remark"), (0.42, "nothing")],
)
def test_a_wheel_far_below_the_others(tmp_path: Path, light: float, said: str) -> None:
    """Of the mean of the others: under 0.15 it does not stand on its pad, under 0.4 it is worth a word."""
    cards = read_set(write_cards(tmp_path))
    loads = np.array([380.0, 410.0, light * 400.0, 410.0])
    with BenchLog(tmp_path / "log") as log:
        if said == "refused":
            says = r"the rear left wheel carries 52\.0 g beside 380, 410, 410 g"
            with pytest.raises(InputError, match=says) as found:
                refuse_empty(cards, log, loads, pads=[4, 1, 2, 3])
            assert "pad 2" in str(found.value)
        else:
            remarks = refuse_empty(cards, log, loads)
            assert (len(remarks) == 1 and "rear left wheel carries only" in remarks[0]) is (said == "remark")


@pytest.mark.parametrize(
    ("shown", "refused"),
    [
        ([30.0, 25.0, 20.0, 15.0], True),  # 90 g: something stands there
        ([20.0, 15.0, 10.0, 5.0], False),  # 50 g may be drift
        ([140.0, 30.0, -45.0, 10.0], False),  # nothing that is set down makes a pad lighter: these were moved
        ([140.0, 30.0, -10.0, 10.0], True),
        ([900.0, 420.0, -55.0, 10.0], True),  # under a heavy load a pad may creep by a twentieth
    ],
)
def test_what_stands_on_pads_that_are_to_be_zeroed(tmp_path: Path, shown: list[float], refused: bool) -> None:
    bench = read_set(write_cards(tmp_path, bench={"pads.unit": "g"})).bench
    with BenchLog(tmp_path / "log") as log:
        if refused:
            with pytest.raises(InputError, match=f"carry {sum(shown):.0f} g more"):
                refuse_loaded_zero(bench, log, np.array(shown), ())
        else:
            refuse_loaded_zero(bench, log, np.array(shown), ())


@pytest.mark.parametrize(
    ("shown", "refused"),
    [
        ([0.0, 26.0, 0.0, 0.0], True),  # a wheel of a car of 200 g: an eighth of it
        ([0.0, 22.0, 0.0, 0.0], False),
        ([21.0, 22.0, 0.0, 0.0], True),  # an axle: a fifth
        ([17.0, 18.0, 0.0, 0.0], False),
    ],
)
def test_a_light_car_is_noticed_by_its_own_mass(tmp_path: Path, shown: list[float], refused: bool) -> None:
    bench = read_set(write_cards(tmp_path, bench={"pads.unit": "g"})).bench
    with BenchLog(tmp_path / "log") as log:
        if refused:
            with pytest.raises(InputError, match="the pads are not empty"):
                refuse_loaded_zero(bench, log, np.array(shown), (), car_g=200.0)
        else:
            refuse_loaded_zero(bench, log, np.array(shown), (), car_g=200.0)
