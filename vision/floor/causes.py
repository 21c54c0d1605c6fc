"""Floor markers that contradict the cards: the likeliest single cause, and what else could be.

Each cause widens one of the priors: a sheet laid elsewhere, a print of another scale, a floor that is not flat, paper
that is not, a lens that bends more than lenses do or is not the one calibrated. The problem is solved with each; their
evidences (marginal likelihoods) say which is likeliest, and how sure that is. A second cause is looked for in what the
first leaves.
"""

from dataclasses import dataclass, replace
from enum import Enum, auto, unique

import numpy as np

from vision.base.types import FloatArray
from vision.floor.problem import Descent, FloorProblem, Priors

MOST_CAUSES = 2
ODDS = 20.0
"""To 1, from which a cause is named."""
TENSION = 3.0
"""Standard uncertainties off the cards from which causes are looked for."""
LARGE_NOISE = 0.08
LARGE_WAVE = 0.0004
WIDE_MOVE, WIDE_TURN = 0.01, 0.03
"""m, rad: how far a sheet lies off that somebody measured wrongly, standard."""
WIDE_STRETCH = 0.02
"""Relative: how far a print is off that was fitted to the page, standard."""
WIDE_BOW = 4.0
"""Times the bow of an ordinary floor."""


@unique
class FloorCauseKind(Enum):
    """What may contradict the cards."""

    SHEET_MOVED = auto()
    ALL_PRINTED = auto()
    SHEET_PRINTED = auto()
    BOWED = auto()
    LENS = auto()

    @property
    def share(self) -> float:
        """How often it does, against cards that are right (by judgement)."""
        return {
            FloorCauseKind.SHEET_MOVED: 0.03,
            FloorCauseKind.ALL_PRINTED: 0.02,
            FloorCauseKind.SHEET_PRINTED: 0.01,
            FloorCauseKind.BOWED: 0.05,
            FloorCauseKind.LENS: 0.02,
        }[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorCause:
    """kind; sheet: which one, -1 for none.  share: probability among all causes that were tried.  other: the next."""

    kind: FloorCauseKind
    sheet: int = -1
    share: float = 1.0
    other: FloorCauseKind | None = None


def likeliest(problem: FloorProblem, found: Descent, *, robust: bool) -> tuple[Descent, tuple[FloorCause, ...]]:
    """The fit under the likeliest causes, and those. found: with everything as on the cards."""
    causes: list[FloorCause] = []
    while len(causes) < MOST_CAUSES and _in_tension(problem, found):
        tried: list[tuple[FloorCause, Descent]] = []
        for cause in _possible(problem):
            if not any(cause.kind is one.kind and cause.sheet == one.sheet for one in causes):
                wide = _widened(found.priors, cause, problem)
                tried.append((cause, problem.settle(found.state, wide, robust=robust)))
        scores = np.array([end.evidence + np.log(cause.kind.share) for cause, end in tried] + [found.evidence])
        share = np.exp(scores - scores.max())
        share /= share.sum()
        order = np.argsort(-share[:-1])
        best, end = tried[order[0]]
        if not np.isfinite(end.evidence):
            break
        if not share[order[0]] > ODDS * share[-1]:
            break
        other = next((tried[k][0].kind for k in order[1:] if tried[k][0].kind is not best.kind), None)
        causes.append(replace(best, share=float(share[order[0]]), other=other))
        found = replace(end, covariance=_mixed(end, [one for _, one in tried], share[:-1]))
    return found, tuple(causes)


def _possible(problem: FloorProblem) -> list[FloorCause]:
    sheets = range(problem.floor.sheets)
    causes = [FloorCause(kind=FloorCauseKind.BOWED), FloorCause(kind=FloorCauseKind.ALL_PRINTED)]
    if len(sheets) > 1:
        causes += [FloorCause(kind=FloorCauseKind.SHEET_MOVED, sheet=sheet) for sheet in sheets]
        causes += [FloorCause(kind=FloorCauseKind.SHEET_PRINTED, sheet=sheet) for sheet in sheets]
    if problem.basis.shape[1]:
        causes.append(FloorCause(kind=FloorCauseKind.LENS))
    return causes


def _widened(priors: Priors, cause: FloorCause, problem: FloorProblem) -> Priors:
    floor, laid = problem.floor, priors.laid.copy()
    match cause.kind:
        case FloorCauseKind.SHEET_MOVED:
            floor.moves(laid)[cause.sheet] = WIDE_MOVE, WIDE_MOVE, WIDE_TURN
        case FloorCauseKind.ALL_PRINTED:
            floor.stretches(laid)[:, 0] = WIDE_STRETCH
        case FloorCauseKind.SHEET_PRINTED:
            floor.stretches(laid)[cause.sheet] = WIDE_STRETCH, WIDE_STRETCH / 2
        case FloorCauseKind.BOWED:
            laid[floor.bow_part] *= WIDE_BOW
        case FloorCauseKind.LENS:
            return replace(priors, camera=priors.other_camera)
    return replace(priors, laid=laid)


def _in_tension(problem: FloorProblem, found: Descent) -> bool:
    """Whether something lies farther off the cards than chance puts it."""
    if not np.isfinite(found.evidence):
        return False
    away = np.abs(found.state.shared) * np.sqrt(found.priors.precision(problem.floor))
    first = problem.basis.shape[1] + 1
    waves = first + problem.floor.wave_part.start
    own = np.delete(away, first - 1)[: waves - 1]
    faded = bool((found.weight < 0.3).any())
    odd = found.priors.noise > LARGE_NOISE or found.priors.wave > LARGE_WAVE
    return bool(own.max(initial=0.0) > TENSION) or odd or faded


def _mixed(best: Descent, ends: list[Descent], share: FloatArray) -> FloatArray:
    """The covariance with what the other causes would make of the same numbers, each by its probability."""
    covariance = np.zeros_like(best.covariance)
    for end, weight in zip(ends, share, strict=True):
        if weight < 0.005 or not np.isfinite(end.covariance).all():
            continue
        away = np.concatenate([end.state.shared - best.state.shared, _pose_step(best, end)])
        covariance += weight * (end.covariance + np.outer(away, away))
    return covariance / max(float(share[share >= 0.005].sum()), 1e-9)


def _pose_step(best: Descent, end: Descent) -> FloatArray:
    """(6 v,) rotation vector and place from the best's poses to another's."""
    turned = end.state.rotation @ np.swapaxes(best.state.rotation, 1, 2)
    vector = 0.5 * np.stack(
        [turned[:, 2, 1] - turned[:, 1, 2], turned[:, 0, 2] - turned[:, 2, 0], turned[:, 1, 0] - turned[:, 0, 1]], -1
    )
    return np.concatenate([vector, end.state.place - best.state.place], axis=1).ravel()
