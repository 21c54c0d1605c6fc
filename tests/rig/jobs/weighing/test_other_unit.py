"""Scales that show pounds where the bench card says kilograms: told by what the car is known to weigh. By hand:
1590.4 g are 3.506 lb (NIST SP 811: 453.59237 g each), which read as kilograms are 3506 g."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace as changed_struct

from rig.base.errors import InputError
from rig.cards.read import CardSet
from rig.jobs.weighing.plausible_loads import refuse_empty
from rig.log.store import BenchLog
from tests.rig.jobs.synthetic_pushes import cards

CAR_G = np.array([431.2, 366.8, 402.5, 389.9])
AS_POUNDS_READ_AS_KILOGRAMS = CAR_G / 453.59237 * 1000.0


def on_scales(unit: str, total_g: float | None) -> CardSet:
    of = cards()
    pads = changed_struct(of.bench.pads, unit=unit, line_pattern="<c1>,<c2>,<c3>,<c4>")
    car = changed_struct(of.car, masses=changed_struct(of.car.masses, total_g=total_g))
    return replace(of, bench=changed_struct(of.bench, pads=pads), car=car)


@pytest.mark.parametrize(
    ("unit", "shown", "known", "meant"),
    [
        ("kg", AS_POUNDS_READ_AS_KILOGRAMS, 1600.0, "lb"),
        ("lb", CAR_G / 1000.0 * 453.59237, 1580.0, "kg"),
        ("oz", CAR_G * 28.349523125, 1590.0, "g"),
        ("kg", AS_POUNDS_READ_AS_KILOGRAMS, None, ""),  # nothing is known of this car
        ("kg", CAR_G, 1600.0, ""),
        ("kg", 1.8 * CAR_G, 1600.0, ""),  # another car, no other unit
    ],
)
def test_a_sum_that_fits_another_unit_is_refused(
    unit: str, shown: np.ndarray, known: float | None, meant: str, tmp_path: Path
) -> None:
    of = on_scales(unit, known)
    with BenchLog(tmp_path / "log") as log:
        if not meant:
            refuse_empty(of, log, shown)
            return
        with pytest.raises(InputError, match=f'if these scales show {meant}.*Write unit = "{meant}"'):
            refuse_empty(of, log, shown)
