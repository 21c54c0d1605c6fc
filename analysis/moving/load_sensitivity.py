"""How fast tyres lose grip with load, measured: by pushes with ballast moved between the axles, or by pulls.

Grip falls as (load / nominal) to the power of minus q. At the nominal load that is the slope of the linear form that
the moving car's tyres have, so one number serves both.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import chi_square_tail

SUSPICIOUS = 0.01
"""Of chance that pushes scatter as they do with the uncertainties they state: below it these are widened."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceAtLoads:
    """One state of the car. balance: of 1 of the wheelbase, by pushes.  u: standard.  front, rear: N on the axles."""

    balance: float
    u: float
    front: float
    rear: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadSensitivity:
    """q: load sensitivity with its interval.  count: states or pulls.  scatter: residuals' standard deviation over what
    was stated (pushes), or relative (pulls).  widened: more scatter than stated, which is in the interval.
    """

    q: Estimate
    count: int
    scatter: float
    widened: bool = False

    @property
    def from_none(self) -> bool:
        """Whether tyres without load sensitivity are ruled out."""
        low, high = self.q.interval
        return low > 0.0 or high < 0.0


def from_pushes(states: Sequence[BalanceAtLoads]) -> LoadSensitivity:
    """ln(x/(1 - x)) against ln(front/rear load) has the slope 1 - q, x the balance point.

    Raises InputError for fewer than two states, or where the load was not moved.
    Source: centre of friction x/(1 - x) = F/R with capacities N^(1 - q); weighted straight line.
    """
    if len(states) < 2:
        raise _refuse("one state of the car tells no slope", "Move ballast between the axles, weigh and push again")
    x = np.log([one.front / one.rear for one in states])
    share = np.array([one.balance for one in states])
    u = np.array([one.u for one in states])
    if not (np.all((share > 0) & (share < 1)) and np.all(np.isfinite(x)) and np.all(u > 0)):
        raise _refuse("a balance point must lie between the axles, with its uncertainty", "Push nearer to the middle")
    if np.ptp(x) < np.log(1.05):
        raise _refuse(
            "the load was hardly moved between the axles", "Move a tenth of the car's weight or more from end to end"
        )
    return _line(x, np.log(share / (1 - share)), u / (share * (1 - share)))


def _line(x: FloatArray, y: FloatArray, u: FloatArray) -> LoadSensitivity:
    weight = 1 / u**2
    middle = float((weight * x).sum() / weight.sum())
    spread = float((weight * (x - middle) ** 2).sum())
    slope = float((weight * (x - middle) * y).sum() / spread)
    level = float((weight * y).sum() / weight.sum())
    residual = (y - level - slope * (x - middle)) / u
    dof = len(x) - 2
    scatter = float(np.sqrt((residual**2).sum() / dof)) if dof > 0 else 1.0
    widened = dof > 0 and chi_square_tail(float((residual**2).sum()), dof=dof) < SUSPICIOUS
    factor = scatter if widened else 1.0
    return LoadSensitivity(
        q=Estimate(value=1.0 - slope, u=factor / float(np.sqrt(spread)), dof=float(dof) if widened else float("inf")),
        count=len(x),
        scatter=scatter,
        widened=widened,
    )


def from_pulls(load: FloatArray, force: FloatArray) -> LoadSensitivity:
    """q from pulls in the order in which they were made, best A B C C B A: what drifts steadily is taken out.

    load: (n,) N square to the floor.  force: (n,) N along it while sliding.
    Raises InputError for fewer than four pulls, or loads that are all alike.
    Source: ln(force/load) = level - q ln(load) + drift; least squares, Student's t.
    """
    loads, forces = np.asarray(load, dtype=float), np.asarray(force, dtype=float)
    if loads.shape != forces.shape or loads.ndim != 1 or len(loads) < 4:
        raise _refuse("four pulls or more are needed, each with its load", "Pull in the order A B C C B A")
    if not (np.all(np.isfinite(loads) & np.isfinite(forces)) and np.all((loads > 0) & (forces > 0))):
        raise _refuse("loads and forces must be above 0", "Correct the pull")
    if np.ptp(np.log(loads)) < np.log(1.2):
        raise _refuse("the loads are nearly alike", "Load the tyre with half its weight more, and twice as much")
    turn = np.linspace(-1.0, 1.0, len(loads))
    design = np.column_stack([np.ones(len(loads)), np.log(loads), turn])
    grip = np.log(forces / loads)
    found, *_ = np.linalg.lstsq(design, grip, rcond=None)
    dof = len(loads) - 3
    scatter = float(np.sqrt(((grip - design @ found) ** 2).sum() / dof))
    u = scatter * float(np.sqrt(np.linalg.inv(design.T @ design)[1, 1]))
    return LoadSensitivity(q=Estimate(value=-float(found[1]), u=u, dof=float(dof)), count=len(loads), scatter=scatter)


def _refuse(what: str, remedy: str) -> InputError:
    return InputError(what, where="load sensitivity", remedy=remedy)
