"""Weigh, turn round, weigh: corner weights told apart from the errors of the pads and of the floor.

Each reading is r = (load of the wheel on that pad, warped by the floor) * (1 + gain error) + offset error + scatter.
Loads are free; pad and floor errors are free too, but held by what is known of them beforehand. What the turns cannot
see therefore keeps its stated doubt instead of vanishing. Turning by half a turn leaves each diagonal on its two pads:
it corrects front and left shares but not cross weight, which needs the pads exchanged or a quarter turn as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.wheels import CROSS, FRONT, LEFT
from analysis.statistics.estimate import DoubtPart, total_covariance
from analysis.statistics.quantiles import NORMAL_95, chi_square_tail
from analysis.weighing.reseating import Scatter, usual_scatter

Turn = Literal["as is", "half turn", "quarter left", "quarter right", "pads exchanged", "half turn, pads exchanged"]

PAD_UNDER: dict[Turn, tuple[int, int, int, int]] = {
    "as is": (0, 1, 2, 3),
    "half turn": (3, 2, 1, 0),
    "quarter left": (2, 0, 3, 1),
    "quarter right": (1, 3, 0, 2),
    "pads exchanged": (1, 0, 3, 2),
    "half turn, pads exchanged": (2, 3, 0, 1),
}
"""Which pad is under FL, FR, RL, RR. Pads are numbered by the place they have in the first weighing."""
SPOT_UNDER: dict[Turn, tuple[int, int, int, int]] = {
    "as is": (0, 1, 2, 3),
    "half turn": (3, 2, 1, 0),
    "quarter left": (2, 0, 3, 1),
    "quarter right": (1, 3, 0, 2),
    "pads exchanged": (0, 1, 2, 3),
    "half turn, pads exchanged": (3, 2, 1, 0),
}
"""Which place on the floor is under each wheel: exchanging pads left for right leaves the car on its places."""
CHANCE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class PadPrior:
    """What is known of the errors before turning. Pads, or places on the floor, on the axes; independent of each other.

    offset: (4, 4) g2 covariance of the pads' zero errors.  gain: (4, 4) covariance of the relative gain errors.
    height_u: standard uncertainty of each place's height, m.  per_height: (4, 4) g per m, this car's response to the
    floor (column j: wheel j raised), or None when the floor is flat enough to be forgotten.
    """

    offset: FloatArray
    gain: FloatArray
    height_u: float = 0.0
    per_height: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnedWeighing:
    """Corner weights from several orientations.

    load_g: (4,) g, wheels FL, FR, RL, RR.  parts: doubt by cause, g2, for corner_weights.
    pad_error_g: (4,) what each pad reads too much at the mean load, less the mean of all pads, g; pad_error_u_g.
    chance: that pads which agree would differ as much as these.
    scatter: re-seating scatter used.  left_pct: share of the pads' and the floor's doubt that the turns could not
    remove, % of the standard uncertainty of a single weighing: for "front", "left" and "cross".
    text: what was found and what to do.
    """

    load_g: FloatArray
    parts: tuple[DoubtPart, ...]
    pad_error_g: FloatArray
    pad_error_u_g: FloatArray
    chance: float
    scatter: Scatter
    left_pct: dict[str, float]
    text: str

    @property
    def covariance(self) -> FloatArray:
        """(4, 4) g2, all causes together."""
        return total_covariance(self.parts, 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWeighing:
    """Is one orientation enough? pads_g, scatter_g: (4,) 95 % half-widths of each corner from each cause, g."""

    enough: bool
    pads_g: FloatArray
    scatter_g: FloatArray
    text: str


def one_weighing_enough(
    load_g: FloatArray, prior: PadPrior, *, scatter: Scatter | None = None, tolerance_g: float = 5.0
) -> OneWeighing:
    """Whether turning the car would tell more, before it is turned.

    load_g: (4,) g, as weighed or guessed.  tolerance_g: what a corner should be known to (95 %).
    """
    load = np.asarray(load_g, dtype=float)
    pads = NORMAL_95 * np.sqrt(np.diag(total_covariance(_prior_parts(load, prior), 4)))
    placing = NORMAL_95 * (scatter or usual_scatter()).corner_g
    worst = float(pads.max())
    enough = bool(worst <= tolerance_g or np.all(pads <= 0.5 * placing))
    text = (
        f"One weighing is enough: the pads are known to {worst:.1f} g a corner"
        if enough
        else f"One weighing is not enough: the pads may be {worst:.1f} g off at a corner. Turn the car round, and for "
        "cross weight exchange the pads left for right too, and weigh again"
    )
    return OneWeighing(enough=enough, pads_g=pads, scatter_g=placing, text=text)


def solve_orientations(
    reading_g: FloatArray,
    turns: Sequence[Turn],
    prior: PadPrior,
    *,
    noise_g: float = 0.5,
    scatter: Scatter | None = None,
    assumed: Scatter | None = None,
    known_pads: bool = False,
) -> TurnedWeighing:
    """Corner weights and pad errors from a car weighed in several orientations, each any number of times.

    reading_g: (n, 4) g, row per placement, column per PAD (see PAD_UNDER).  turns: n names.
    noise_g: standard uncertainty of one settled pad reading, g.  scatter: re-seating; default: from repeats of the
    same orientation where there are any, else `assumed` (default: the usual value).
    known_pads: the prior is what a calibration says of these pads, so that all placements together tell the scatter.
    Raises InputError on wrong shapes or unknown orientations.
    Source: generalised least squares with prior knowledge (Gauss-Markov with pseudo-observations); the re-seating
    part keeps the degrees of freedom of the scatter.
    """
    readings = np.asarray(reading_g, dtype=float)
    if readings.shape != (len(turns), 4) or len(turns) == 0 or not np.all(np.isfinite(readings)):
        raise InputError(
            f"{len(turns)} orientations but readings of shape {readings.shape}, or not finite",
            where="weighings",
            remedy="Give one row of four pad readings per placement",
        )
    unknown = [turn for turn in turns if turn not in PAD_UNDER]
    if unknown:
        raise InputError(
            f"unknown orientation {unknown[0]!r}", where="weighings", remedy=f"Use one of: {', '.join(PAD_UNDER)}"
        )
    wheels = np.array([row[list(PAD_UNDER[turn])] for row, turn in zip(readings, turns, strict=True)])  # wheel order
    repeated = scatter is None and len(set(turns)) < len(turns)
    if scatter is None:
        scatter = (_from_repeats(wheels, turns) if repeated else None) or assumed or usual_scatter()
    # Working weights have the usual shape: weights taken from few repeats would make the answer fit its own scatter.
    size = float(np.sqrt(np.trace(scatter.covariance) / 4.0))
    working = usual_scatter(max(size, 0.3)).covariance + noise_g**2 * np.eye(4)
    load = wheels.mean(0)
    for _ in range(3):  # the gain columns need the loads
        design, nuisance = _design(turns, load, prior)
        inverse = np.kron(np.eye(len(turns)), np.linalg.inv(working))
        information = design.T @ inverse @ design
        information[4:, 4:] += np.linalg.inv(nuisance)
        solve = np.linalg.solve(information, design.T @ inverse)
        found = solve @ wheels.ravel()
        load = found[:4]
    if repeated and known_pads:
        scatter = _from_all(wheels, design, np.asarray(found), np.asarray(solve)) or scatter
    leak = (solve @ design - np.eye(design.shape[1]))[:, 4:]
    parts = [
        DoubtPart(name=name, covariance=leak[:4, where] @ nuisance[where, where] @ leak[:4, where].T)
        for name, where in _nuisance_parts(prior)
    ]
    row = [solve[:, 4 * k : 4 * k + 4] for k in range(len(turns))]
    seat = sum((a @ scatter.covariance @ a.T for a in row), np.zeros((len(found), len(found))))
    noise = noise_g**2 * solve @ solve.T
    parts += [
        DoubtPart(name="re-seating", covariance=seat[:4, :4], dof=scatter.dof),
        DoubtPart(name="noise", covariance=noise[:4, :4]),
    ]
    error, error_u = _pad_errors(found, seat + noise + leak @ nuisance @ leak.T, float(load.mean()))
    chance = _chance(wheels, design, nuisance, working, scatter.dof)
    remaining_pct = _left(load, prior, parts)
    return TurnedWeighing(
        load_g=load,
        parts=tuple(parts),
        pad_error_g=error,
        pad_error_u_g=error_u,
        chance=chance,
        scatter=scatter,
        left_pct=remaining_pct,
        text=_text(turns, error, chance, remaining_pct),
    )


def _nuisance_parts(prior: PadPrior) -> list[tuple[str, slice]]:
    named = [("pad offsets", slice(0, 4)), ("pad gains", slice(4, 8))]
    return named + ([("pad heights", slice(8, 12))] if prior.per_height is not None else [])


def _design(turns: Sequence[Turn], load: FloatArray, prior: PadPrior) -> tuple[FloatArray, FloatArray]:
    """Columns: loads, pad offsets, pad gains, heights of the places; and the prior covariance of all but the loads."""
    heights = prior.per_height is not None
    tiny = 1e-12  # keeps the prior invertible where a pad is declared perfect
    nuisance = np.zeros((12 if heights else 8,) * 2)
    nuisance[:4, :4], nuisance[4:8, 4:8] = prior.offset + tiny * np.eye(4), prior.gain + tiny**2 * np.eye(4)
    if heights:
        nuisance[8:, 8:] = (prior.height_u**2 + tiny**2) * np.eye(4)
    blocks = []
    for turn in turns:
        on_pad = np.eye(4)[list(PAD_UNDER[turn])]  # wheel by pad
        block = [np.eye(4), on_pad, load[:, None] * on_pad]
        if prior.per_height is not None:
            block.append(prior.per_height @ np.eye(4)[list(SPOT_UNDER[turn])])
        blocks.append(np.hstack(block))
    return np.vstack(blocks), nuisance


def _from_repeats(wheels: FloatArray, turns: Sequence[Turn]) -> Scatter | None:
    total, dof = np.zeros((4, 4)), 0
    for turn in dict.fromkeys(turns):  # in one order: a recalculation adds up to the same bits
        rows = wheels[[one == turn for one in turns]]
        off = rows - rows.mean(0)
        total, dof = total + off.T @ off, dof + len(rows) - 1
    return Scatter(covariance=total / dof, dof=float(dof)) if dof else None


def _from_all(wheels: FloatArray, design: FloatArray, found: FloatArray, solve: FloatArray) -> Scatter | None:
    """Scatter of all placements about what was found, pads' errors taken out, with the degrees of freedom left.

    Repeats of one orientation alone would waste what the others show of it. The shift between the diagonals, nearly all
    of the scatter, and the rest are estimated apart: the fit takes other shares of the two.
    Source: residuals of generalised least squares; degrees of freedom as the trace of what the fit leaves over.
    """
    count, off = len(wheels), wheels - (design @ found).reshape(wheels.shape)
    shift = CROSS / 2.0
    hat = (design @ solve).reshape(count, 4, count, 4)
    own = np.einsum("kikj->ij", hat)  # summed over placements
    spare_shift = count - float(shift @ own @ shift)
    spare_rest = (3.0 * count - (float(np.trace(own)) - float(shift @ own @ shift))) / 3.0
    if min(spare_shift, spare_rest) < 1.0:
        return None
    along = off @ shift
    rest = off - np.outer(along, shift)
    covariance = float(along @ along) / spare_shift * np.outer(shift, shift) + rest.T @ rest / spare_rest
    return Scatter(covariance=covariance, dof=spare_shift)


def _pad_errors(found: FloatArray, covariance: FloatArray, mean_load: float) -> tuple[FloatArray, FloatArray]:
    to_error = np.zeros((4, len(found)))
    to_error[:, 4:8], to_error[:, 8:12] = np.eye(4), mean_load * np.eye(4)
    to_error = (np.eye(4) - 0.25) @ to_error
    return to_error @ found, np.sqrt(np.maximum(np.diag(to_error @ covariance @ to_error.T), 0.0))


def _chance(wheels: FloatArray, design: FloatArray, nuisance: FloatArray, working: FloatArray, dof: float) -> float:
    """Chance of differences as large as these between pads that agree: test of the contrasts free of the loads."""
    from scipy.linalg import null_space
    from scipy.special import fdtrc

    contrast = null_space(design[:, :4].T)
    if contrast.shape[1] == 0:
        return 1.0
    floor = design[:, 12:] @ nuisance[8:, 8:] @ design[:, 12:].T
    spread = contrast.T @ (np.kron(np.eye(len(wheels)), working) + floor) @ contrast
    pads = contrast.T @ design[:, 4:8]
    weighted = np.linalg.solve(spread, np.column_stack([pads, contrast.T @ wheels.ravel()]))
    normal, score = pads.T @ weighted[:, :-1], pads.T @ weighted[:, -1]
    rank = int(np.linalg.matrix_rank(normal, tol=1e-9 * max(float(np.trace(normal)), 1e-30)))
    if rank == 0:
        return 1.0
    size = float(score @ np.linalg.pinv(normal, rcond=1e-9) @ score)
    return chi_square_tail(size, dof=rank) if np.isinf(dof) else float(fdtrc(rank, dof, size / rank))


def _prior_parts(load: FloatArray, prior: PadPrior) -> list[DoubtPart]:
    parts = [
        DoubtPart(name="pad offsets", covariance=prior.offset),
        DoubtPart(name="pad gains", covariance=prior.gain * np.outer(load, load)),
    ]
    if prior.per_height is not None:
        spread = prior.height_u**2 * prior.per_height @ prior.per_height.T
        parts.append(DoubtPart(name="pad heights", covariance=spread))
    return parts


def _left(load: FloatArray, prior: PadPrior, parts: Sequence[DoubtPart]) -> dict[str, float]:
    before = total_covariance(_prior_parts(load, prior), 4)
    after = total_covariance([part for part in parts if part.name.startswith("pad ")], 4)
    total = load.sum()
    remaining = {}
    for name, group in (("front", FRONT), ("left", LEFT), ("cross", CROSS)):
        gradient = (group - float(group @ load) / total) / total
        single = float(gradient @ before @ gradient)
        remaining[name] = 100.0 * float(np.sqrt(max(gradient @ after @ gradient, 0.0) / single)) if single > 0 else 0.0
    return remaining


def _text(turns: Sequence[Turn], error: FloatArray, chance: float, remaining_pct: dict[str, float]) -> str:
    if len(set(turns)) < 2:
        return "One orientation says nothing about the pads: turn the car round and weigh again"
    found = (
        "The pads agree within what these weighings can tell"
        if chance > CHANCE
        else f"The pads differ: from {error.min():+.1f} to {error.max():+.1f} g about their mean (corrected)"
    )
    blind = [name for name, share in remaining_pct.items() if share > 50.0]
    if "cross" in blind and any("exchanged" in turn for turn in turns):
        return found + ". Cross weight still carries the errors of the floor: level the pads, or turn by a quarter"
    if "cross" in blind:
        return (
            found + ". Cross weight still carries the errors of pads or floor: exchange the pads left for right, "
            "or turn by a quarter, and weigh again"
        )
    return found + (f". The {' and '.join(blind)} share still carries errors of the pads" if blind else "")
