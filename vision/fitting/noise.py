"""Doubt that residuals of a single frame do not show: motion during the exposure, errors that repeat at rest."""

import numpy as np

from vision.base.types import FloatArray, IntArray
from vision.fitting.solve import Solved

REPEATING_USUAL, REPEATING_WEIGHT = 0.02, 4.0  # px per marker, and how many observations that belief is worth
REPEATING_LEAST = 0.006  # px
NOISE_STILL, NOISE_MOVING = 0.008, 0.02  # px, the least of a corner in one frame
NEAR = 4  # frames to either side
SHARP = 1.5  # px of motion during the exposure
VECTOR_STEP = 0.25  # px, of a coder's motion vectors
COPIED = 0.25  # noise of the floor's corners over residuals of the car's, above which noise is coded


def frame_noise(solved: Solved, kept: IntArray) -> FloatArray:
    """(n,) px, the part of the corner noise that is new in every frame.

    A still camera shows it directly, as scatter of the floor's corners, one that moves as what a fit of the floor
    leaves; residuals beyond the usual ones (blur, a hand) come on top. What all residuals share repeats from frame to
    frame and is counted there, not here.
    kept: (n,), indices of the frames that count.
    """
    own = solved.noise[kept]
    if not len(own):
        return own
    usual = np.full(len(own), float(np.median(own)) ** 2)
    moved = np.hypot(*np.gradient(solved.pose[kept, :2], axis=0).T) if len(own) > 1 else np.zeros(len(own))
    rests = np.flatnonzero(moved < 0.3 * solved.m_per_px[kept])
    for at in rests:  # at rest the neighbours show which residuals repeat
        near = rests[(rests >= at - NEAR) & (rests <= at + NEAR)]
        usual[at] = float(np.median(own[near])) ** 2
    least = NOISE_MOVING if solved.moving else NOISE_STILL
    result: FloatArray = np.sqrt(max(solved.corner_noise, least) ** 2 + np.maximum(own**2 - usual, 0.0))
    return result


def blur_part(time: FloatArray, pose: FloatArray, blur: FloatArray, m_per_px: FloatArray) -> FloatArray:
    """Doubt of poses taken in motion: the exposure's middle is known to about a tenth of the exposure.

    The pose error lies along the motion; residuals do not show it, because all corners move alike.
    time: (n,) s.  pose: (n, 3) m, m, rad.  blur: (n,) px that the car moved during the exposure.  m_per_px: (n,).
    Returns (n, 3, 3).
    """
    if len(time) < 3:
        return np.zeros((len(time), 3, 3))
    rate = np.gradient(pose, time, axis=0)
    speed = np.maximum(np.hypot(rate[:, 0], rate[:, 1]), 1e-6)
    exposure = np.minimum(blur * m_per_px / speed, np.gradient(time))
    moved = 0.1 * rate * exposure[:, None]
    moved[blur < 0.3] = 0.0
    return moved[:, :, None] * moved[:, None, :]


def repeating_part(solved: Solved, kept: IntArray, blur: FloatArray, lift: FloatArray) -> FloatArray:
    """(n, 3, 3) the part of each pose's doubt that averaging over a rest there would not reduce.

    Every marker's corners are off by a little that depends on where its edges fall between the pixels; at rest
    this repeats. A hidden marker leaves more of it to the others, so it differs from frame to frame. Pictures
    that a video coder copied from one another repeat where it put down what had moved, too.
    kept: (n,), indices of the frames that count.  blur: px of each frame of the pass.  lift: (n,) m, over the floor: a
    car that is held up shows nothing of this.
    """
    gain = solved.repeating_gain[kept]
    spread = _marker_spread(solved, kept[lift == 0], blur) + copied_spread(solved, kept)
    result: FloatArray = np.einsum("nimk,njmk->nij", gain, gain) * spread
    return result


def _marker_spread(solved: Solved, kept: IntArray, blur: FloatArray) -> float:
    """px², how far a whole marker is off at a new place on the picture, per coordinate.

    The clip shows it: while the car moves, each marker's residual differs from place to place by this error and by
    noise, which pictures of the same place show. What stays with the marker all the time is its place on the
    plate, not this error. Where the clip says little, the usual size counts.
    """
    sharp = kept[blur[kept] < SHARP]
    spread = REPEATING_USUAL**2
    seen = solved.marker_mean[_distinct(solved, sharp)]  # (p, m, 2)
    count = np.isfinite(seen).all(2).sum(0)
    several = count >= 2
    markers = int(several.sum())
    if len(seen) >= 2 and markers >= 2:
        away = seen[:, several] - np.nanmean(seen[:, several], axis=0)
        spare = 2.0 * float((count[several] - 1).sum())
        found = max(float(np.nansum(away**2)) / spare - _marker_noise(solved, kept), 0.0)
        free = (2 * markers - 3) / (2 * markers)  # the pose takes three of the residuals' freedoms
        freedom = spare * free
        spread = (REPEATING_WEIGHT * spread + freedom * found / free) / (REPEATING_WEIGHT + freedom)
    return max(spread, REPEATING_LEAST**2)


def _marker_noise(solved: Solved, kept: IntArray) -> float:
    """px², variance of a marker's mean residual between neighbouring pictures of a car that hardly moved."""
    step = np.diff(solved.pose[kept, :2], axis=0)
    still = (np.hypot(step[:, 0], step[:, 1]) < 0.3 * solved.m_per_px[kept[1:]]) & (np.diff(kept) == 1)
    change = np.diff(solved.marker_mean[kept], axis=0)[still]
    good = np.isfinite(change)
    return float(np.square(change[good]).mean()) / 2.0 if good.any() else 0.0


def copied_spread(solved: Solved, kept: IntArray) -> float:
    """px², per coordinate, by which a marker of a strongly compressed clip is put down beside its place.

    A coder that spares bits codes neither noise nor small errors: the floor's corners then stay put to far below
    the residuals. What moved it places by motion vectors in quarters of a pixel (luma, ITU-T H.264, 8.4.2.2), so
    up to an eighth may remain: an even spread of that width, each marker with vectors of its own. Between such
    clips and those in which noise is coded the share goes evenly.
    kept: (k,) numbers of the frames that count.
    """
    if solved.moving or not len(kept):
        return 0.0
    alive = solved.corner_noise / max(float(np.median(solved.noise[kept])), 1e-9)
    return float(np.clip(1.0 - alive / COPIED, 0.0, 1.0)) * VECTOR_STEP**2 / 12.0


def _distinct(solved: Solved, frames: IntArray) -> IntArray:
    """Of these frames, the first and each that sees the car's edges fall elsewhere between the pixels: half a pixel
    or more from the one before."""
    reach = 0.1  # m from the middle to the markers
    picked: list[int] = []
    for frame in frames:
        if picked:
            way = solved.pose[frame] - solved.pose[picked[-1]]
            if np.hypot(way[0], way[1]) + reach * abs(way[2]) <= 0.5 * solved.m_per_px[frame]:
                continue
        picked.append(int(frame))
    return np.array(picked, dtype=int)
