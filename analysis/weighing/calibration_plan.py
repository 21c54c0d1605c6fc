"""Which check masses to lay on, in which order, to calibrate a pad: up and down in even steps, from what there is."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from analysis.base.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStep:
    """One step. masses_g: laid on together, g (empty: nothing).  total_g: their sum.  rising: load reached from below.

    cycle: number of the up-and-down cycle, from 1.
    """

    masses_g: tuple[float, ...]
    total_g: float
    rising: bool
    cycle: int


def calibration_plan(
    masses_g: Sequence[float], *, capacity_g: float, steps: int = 5, cycles: int = 2
) -> tuple[PlanStep, ...]:
    """Steps from the empty pad to the heaviest load and back, `cycles` times.

    masses_g: the check masses at hand, g, each once (at most 12).  capacity_g: nothing above it.
    steps: loads beside zero.  Raises InputError when the masses give fewer than two different loads.
    Levels are the reachable sums nearest to an even division of the range, with the fewest pieces.
    """
    masses = sorted((float(mass) for mass in masses_g), reverse=True)
    if len(masses) > 12 or any(not mass > 0 for mass in masses):
        raise InputError("give up to twelve positive check masses", where="check masses", remedy="Correct the list")
    sums: dict[float, tuple[float, ...]] = {}
    for size in range(1, len(masses) + 1):
        for some in combinations(masses, size):
            if sum(some) <= capacity_g:
                sums.setdefault(round(sum(some), 6), some)
    if len(sums) < 2:
        raise InputError(
            "these masses give fewer than two loads within the capacity",
            where="check masses",
            remedy="Add a smaller mass, or check the capacity on the bench card",
        )
    top = max(sums)
    levels = sorted(
        {min(sums, key=lambda load: (abs(load - top * i / steps), len(sums[load]))) for i in range(1, steps + 1)}
    )
    up = [(), *(sums[level] for level in levels)]
    plan: list[PlanStep] = []
    for cycle in range(1, cycles + 1):
        way = [(some, True) for some in (up if cycle == 1 else up[1:])] + [(some, False) for some in up[-2::-1]]
        plan += [PlanStep(masses_g=some, total_g=float(sum(some)), rising=rising, cycle=cycle) for some, rising in way]
    return tuple(plan)
