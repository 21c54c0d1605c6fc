"""Doubt that residuals of a single frame do not show: motion during the exposure, errors that repeat at rest."""

import warnings

import numpy as np

from vision.tracking_solve import Solved
from vision.types import FloatArray, IntArray

REPEATING_USUAL, REPEATING_WEIGHT = 0.02, 4.0  # px per marker, and how many observations that belief is worth
REPEATING_LEAST = 0.006  # px
NEAR = 4  # frames to either side
BLOCKS = 24  # stretches of the clip whose mean residuals are compared


def frame_noise(solved: Solved, kept: IntArray) -> FloatArray:
    """(n,) px, the part of the corner noise that is new in every frame.

    A still camera shows it directly, as scatter of the floor's corners; residuals beyond the usual ones (blur,
    a hand) come on top. What all residuals share repeats from frame to frame and is counted there, not here.
    """
    own = solved.noise[kept]
    if solved.moving or not len(own):
        return np.maximum(own, 0.02)
    usual = np.full(len(own), float(np.median(own)) ** 2)
    moved = np.hypot(*np.gradient(solved.pose[kept, :2], axis=0).T) if len(own) > 1 else np.zeros(len(own))
    rests = np.flatnonzero(moved < 0.3 * solved.m_per_px[kept])
    for at in rests:  # at rest the neighbours show which residuals repeat
        near = rests[(rests >= at - NEAR) & (rests <= at + NEAR)]
        usual[at] = float(np.median(own[near])) ** 2
    result: FloatArray = np.sqrt(max(solved.corner_noise, 0.008) ** 2 + np.maximum(own**2 - usual, 0.0))
    return result


def blur_part(time: FloatArray, pose: FloatArray, blur: FloatArray, m_per_px: FloatArray) -> FloatArray:
    """Doubt of poses taken in motion: the exposure's middle is known to about a tenth of the exposure.

    The pose error lies along the motion; residuals do not show it, because all corners move alike.
    """
    if len(time) < 3:
        return np.zeros((len(time), 3, 3))
    rate = np.gradient(pose, time, axis=0)
    speed = np.maximum(np.hypot(rate[:, 0], rate[:, 1]), 1e-6)
    exposure = np.minimum(blur * m_per_px / speed, np.gradient(time))
    moved = 0.1 * rate * exposure[:, None]
    moved[blur < 0.3] = 0.0
    return moved[:, :, None] * moved[:, None, :]


def repeating_part(time: FloatArray, solved: Solved, kept: IntArray, blur: FloatArray) -> FloatArray:
    """(3, 3) the part of a rest pose's doubt that averaging does not reduce.

    Every marker's corners are off by a little that depends on where its edges fall between the pixels; at rest
    this repeats. How much, the clip shows: each marker's residual, averaged over a stretch of frames, differs
    from stretch to stretch as the car moves, by the repeating error (and by noise, which is taken off). What
    stays with the marker all the time is its place on the plate, not this error. Where the clip says little, the
    usual size counts.
    """
    gain = solved.repeating_gain[kept]
    if not len(kept):
        return np.zeros((3, 3))
    sharp = kept[blur[kept] < 1.5]
    spread = REPEATING_USUAL**2
    if len(sharp) >= 6:
        blocks = np.array_split(sharp, min(BLOCKS, len(sharp) // 3))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # a marker may be hidden in a whole stretch
            mean = np.stack([np.nanmean(solved.marker_mean[block], axis=0) for block in blocks])  # (b, m, 2)
            noise = np.stack(
                [np.nanvar(solved.marker_mean[block], axis=0) / max(len(block) - 1, 1) for block in blocks]
            )
            mean = mean - np.nanmean(mean, axis=0)
        size = mean**2 - noise
        good = np.isfinite(size)
        poses = _distinct(solved, blocks)
        markers = max(int(good.any((0, 2)).sum()), 1)
        share = max((2 * markers - 3) / (2 * markers), 0.2) * max(poses - 1, 1) / max(poses, 1)
        found = max(float(size[good].mean()), 0.0) / share if good.any() else spread
        freedom = (2 * markers - 3) * (poses - 1)
        spread = (REPEATING_WEIGHT * spread + freedom * found) / (REPEATING_WEIGHT + freedom)
    spread = max(spread, REPEATING_LEAST**2)
    middle: FloatArray = np.median(np.einsum("nimk,njmk->nij", gain, gain), axis=0)
    return middle * spread


def _distinct(solved: Solved, blocks: list[IntArray]) -> int:
    """How many of the stretches see the car's edges fall elsewhere between the pixels (half a pixel or more)."""
    places = [np.nanmedian(solved.pose[block], axis=0) for block in blocks]
    reach = 0.1  # m from the middle to the markers
    count, last = 1, places[0]
    for place in places[1:]:
        moved = np.hypot(*(place - last)[:2]) + reach * abs(place[2] - last[2])
        if moved > 0.5 * float(np.median(solved.m_per_px)):
            count, last = count + 1, place
    return count
