"""Marker corners from straight-line fits to the marker's outer edges, and what the edges say about blur.

For every edge about a dozen brightness profiles are read across it. The middle of each profile's step (centroid
of its gradient) gives one edge point; a line through them, outliers dropped, gives the edge; two lines give a
corner. All markers of a frame are done in one call: the cost is in the number of array operations.
Corners run top-left, top-right, bottom-right, bottom-left of the printed marker, clockwise on the picture.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from vision.types import BoolArray, FloatArray, GreyImage

PROFILES = 12
SAMPLES = 11  # across an edge, ends included
ALONG = np.linspace(0.10, 0.90, PROFILES)  # the rounded corners themselves are left out
ACROSS = np.linspace(-1.0, 1.0, SAMPLES)  # from outside to inside, in half-widths
MIDDLES = 0.5 * (ACROSS[1:] + ACROSS[:-1])
LEAST_STEP = 18.0  # grey levels between paper and ink
LEAST_PROFILES = 6
WORST_RMS = 0.45  # px about the line: more means something lies across the edge
WIDEST = 5.0  # px
REACH = 0.65  # of a cell, half the window across an edge
FAINT = 0.2  # of a profile's steepest step; less is noise
USUAL_GAMMA = 2.2
"""Close to what video standards (BT.709, sRGB) prescribe. The step of an edge does not tell it: its lean under another
gamma is within the noise of one clip. What a camera does differently comes out as ink shift."""
_NEXT, _LAST = [1, 2, 3, 0], [3, 0, 1, 2]
_GRID = np.stack([np.ones(PROFILES * SAMPLES), np.repeat(ALONG, SAMPLES), np.tile(ACROSS, PROFILES)]).astype(
    np.float32
)
_MOMENTS = np.stack([np.ones(SAMPLES - 1), MIDDLES, MIDDLES**2], axis=1).astype(np.float32)
_LINE_BACK = np.stack([np.ones(PROFILES), ALONG - 0.5])  # (2, P): offsets of a level and a slope
_LINE = np.linalg.pinv(_LINE_BACK.T)  # (2, P): level and slope of offsets


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeCorners:
    """What one frame says about m markers.

    corner: (m, 4, 2) px, nan where an edge could not be vouched for.
    spread: (m,) px², second moments of the edge steps, summed over the marker's two directions (focus and motion
    blur); nan where unknown.
    likeness: (m,) correlation of the cells with the marker's pattern, -1..1.
    """

    corner: FloatArray
    spread: FloatArray
    likeness: FloatArray


def linear_light(gamma: float = USUAL_GAMMA) -> npt.NDArray[np.float32]:
    """(256,) linear light, 0..255, of the levels of a picture stored with this gamma.

    A lens blurs light alike on both sides of an edge. Stored through a gamma, the step leans to one side, and the
    edge seems to lie inward by an amount that depends on blur and window; linear light removes that.
    """
    return (255.0 * (np.arange(256) / 255.0) ** gamma).astype(np.float32)


PLAIN = linear_light(1.0)


def fit_corners(
    grey: GreyImage,
    guess: FloatArray,
    pattern: FloatArray,
    *,
    light: npt.NDArray[np.float32] = PLAIN,
    rounds: int = 2,
) -> EdgeCorners:
    """Corners of m markers near their guessed places.

    grey: (h, w).  guess: (m, 4, 2) px, within about half a cell.  pattern: (m, cells, cells) of 0 (ink) and 1,
    the border's cells included.  light: (256,) linear light of each grey level, `linear_light`; plain levels when
    left out.  rounds: at most this many fits; the second is skipped where nothing moved.
    """
    guess = np.asarray(guess, dtype=float)
    cells = pattern.shape[-1]
    corner, spread = _one_fit(grey, guess, cells, light)
    start = guess
    for _ in range(rounds - 1):
        away = corner - start
        lost = np.isnan(away)
        size = np.where(lost, 0.0, np.abs(away)).max(axis=(1, 2))
        moved = np.flatnonzero(size > 0.5)
        if not len(moved):
            break
        count = np.maximum((~lost).sum(axis=1, keepdims=True), 1)
        common = (
            np.where(lost, 0.0, away).sum(axis=1, keepdims=True) / count
        )  # lost corners move with the others
        start = np.where(lost, start + common, corner)
        corner[moved], spread[moved] = _one_fit(grey, start[moved], cells, light)
    seen = np.where(np.isnan(corner), start, corner)
    return EdgeCorners(corner=corner, spread=spread, likeness=likeness(grey, seen, pattern))


@cache
def _cell_weights(cells: int) -> FloatArray:
    """(cells², 4): bilinear weights that put the cells' middles between the corners. Perspective within one marker
    moves them by a small part of a cell."""
    s = (np.arange(cells) + 0.5) / cells
    x, y = (grid.ravel() for grid in np.meshgrid(s, s))
    return np.stack([(1 - x) * (1 - y), x * (1 - y), x * y, (1 - x) * y], axis=1)


def likeness(grey: GreyImage, corner: FloatArray, pattern: FloatArray) -> FloatArray:
    """Correlation between the brightness of the cells' middles and the marker's pattern: (m,), -1..1."""
    height, width = grey.shape
    place = (_cell_weights(pattern.shape[-1]) @ corner + 0.5).astype(np.int32)  # (m, cells², 2)
    x, y = place[..., 0].clip(0, width - 1), place[..., 1].clip(0, height - 1)
    value = grey.reshape(-1)[y * width + x].astype(float)
    wanted = pattern.reshape(len(pattern), -1)
    count = wanted.shape[1]
    total, ink = value.sum(axis=1), wanted.sum(axis=1)
    both = (value * wanted).sum(axis=1) - total * ink / count
    spread = ((value * value).sum(axis=1) - total * total / count) * (ink - ink * ink / count)
    result: FloatArray = both / np.sqrt(np.maximum(spread, 1e-9))
    return result


def _sampled(
    grey: GreyImage, x: npt.NDArray[np.float32], y: npt.NDArray[np.float32], light: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
    """Light at (x, y) px by bilinear interpolation; places outside the picture take its border's."""
    height, width = grey.shape
    if not (
        x.min() >= 0.0 and x.max() < width - 1 and y.min() >= 0.0 and y.max() < height - 1
    ):  # nan goes here too
        x = np.nan_to_num(x).clip(0.0, width - 1.001)
        y = np.nan_to_num(y).clip(0.0, height - 1.001)
    x0, y0 = x.astype(np.int32), y.astype(np.int32)
    u, v = x - x0, y - y0
    index = y0 * np.int32(width) + x0
    flat = grey.reshape(-1)
    a = light[flat[index]]
    index += 1
    a += (light[flat[index]] - a) * u
    index += width
    d = light[flat[index]]
    index -= 1
    c = light[flat[index]]
    c += (d - c) * u
    a += (c - a) * v
    result: npt.NDArray[np.float32] = a
    return result


def _one_fit(
    grey: GreyImage, guess: FloatArray, cells: int, light: npt.NDArray[np.float32]
) -> tuple[FloatArray, FloatArray]:
    """Corners (m, 4, 2) and spread (m,) from one look at the edges of the guessed quads."""
    following = guess[:, _NEXT]
    along = following - guess  # (m, 4, 2)
    ax, ay = along[..., 0], along[..., 1]
    length = np.sqrt(ax * ax + ay * ay)
    area = 0.5 * np.abs((guess[..., 0] * following[..., 1] - guess[..., 1] * following[..., 0]).sum(axis=1))
    safe = np.maximum(length, 1.0)
    nx, ny = -ay / safe, ax / safe  # inward
    # The black border is one cell wide: a wider window would see the pattern behind it.
    half = np.minimum(np.maximum(REACH * area[:, None] / (safe * cells), 1.5), WIDEST)
    # Places: along the edge (P) and across it (S).
    geometry = np.stack([guess[..., 0], ax, half * nx, guess[..., 1], ay, half * ny], axis=-1).astype(
        np.float32
    )
    x = geometry[..., 0:3] @ _GRID
    y = geometry[..., 3:6] @ _GRID
    value = _sampled(grey, x, y, light).reshape(*length.shape, PROFILES, SAMPLES)
    step = value[..., :-1] - value[..., 1:]  # bright paper outside, dark ink inside: positive
    # Noise beside the edge, and what begins behind the border, must not pull the centroid.
    step -= np.float32(FAINT) * step.max(axis=-1, keepdims=True)
    np.maximum(step, np.float32(0.0), out=step)
    sums = step @ _MOMENTS  # (m, 4, P, 3): total, first and second moment
    total = sums[..., 0].astype(float)
    divisor = np.maximum(total, 1e-9)
    offset = sums[..., 1] / divisor
    moment = (sums[..., 2] / divisor - offset * offset).mean(axis=-1) * half * half
    offset *= half[..., None]
    usable = (total > LEAST_STEP) & (total > 0.4 * total.max(axis=-1, keepdims=True))
    level, slope, enough, starts, ends = _lines(offset, usable)
    enough &= length > 6.0
    # Line through guess + along * s + inward * (level + slope * (s - 0.5)).
    inward = np.stack([nx, ny], axis=-1)
    first = guess + inward * (level - 0.5 * slope)[..., None]
    second = following + inward * (level + 0.5 * slope)[..., None]
    corner = _meet(first[:, _LAST], second[:, _LAST], first, second)
    corner[~(enough & starts & (enough & ends)[:, _LAST])] = np.nan
    moment[~enough] = np.nan
    return corner, 0.5 * (moment[:, 0] + moment[:, 1] + moment[:, 2] + moment[:, 3])


def _lines(
    offset: FloatArray, usable: BoolArray
) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray, BoolArray]:
    """Straight lines offset = level + slope * (s - 0.5) of (m, 4) edges, and whether each is good and near its ends.

    A corner is not extrapolated: some of the profiles next to it must count.
    """
    both = offset @ _LINE.T
    level, slope = both[..., 0].copy(), both[..., 1].copy()
    worst = np.abs(offset - both @ _LINE_BACK).max(axis=-1)
    plain = usable.all(axis=-1) & (worst <= 0.2)  # nothing to drop: the usual edge
    good, starts, ends = plain.copy(), plain.copy(), plain.copy()
    odd = np.nonzero(~plain)
    if len(odd[0]):
        level[odd], slope[odd], rms, weight = _robust_line(offset[odd], usable[odd].astype(float))
        good[odd] = (weight.sum(axis=-1) >= LEAST_PROFILES) & (rms < WORST_RMS)
        starts[odd] = weight[..., :3].sum(axis=-1) > 0
        ends[odd] = weight[..., -3:].sum(axis=-1) > 0
    return level, slope, good, starts, ends


def _robust_line(
    offset: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Weighted straight lines offset = level + slope * (s - 0.5), outliers dropped twice."""
    s = ALONG - 0.5
    for trial in range(3):
        w0 = np.maximum(weight.sum(-1), 1e-9)
        mean_s = weight @ s / w0
        mean_o = (weight * offset).sum(-1) / w0
        ds = s - mean_s[..., None]
        slope = (weight * ds * offset).sum(-1) / np.maximum((weight * ds * ds).sum(-1), 1e-6)
        level = mean_o - slope * mean_s
        rest = offset - level[..., None] - slope[..., None] * s
        rms = np.sqrt((weight * rest**2).sum(-1) / np.maximum(w0 - 2.0, 1.0))
        if trial == 2:
            break
        limit = np.maximum(2.5 * _median_size(rest, weight), 0.15)[..., None]
        kept = weight * (np.abs(rest) <= limit)
        if np.array_equal(kept, weight):
            break
        weight = kept
    return level, slope, rms, weight


def _median_size(rest: FloatArray, weight: FloatArray) -> FloatArray:
    """Robust standard deviation: 1.48 times the median size of the residuals that count."""
    size = np.sort(np.where(weight > 0, np.abs(rest), np.inf), axis=-1)
    middle = np.clip((weight.sum(-1) // 2).astype(int), 0, PROFILES - 1)
    found = np.take_along_axis(size, middle[..., None], axis=-1)[..., 0]
    result: FloatArray = np.where(np.isfinite(found), 1.48 * found, 0.0)
    return result


def _meet(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Where line a-b meets line c-d."""
    ab, cd, ac = b - a, d - c, c - a
    cross = ab[..., 0] * cd[..., 1] - ab[..., 1] * cd[..., 0]
    cross = np.where(np.abs(cross) < 1e-9, np.nan, cross)
    share = (ac[..., 0] * cd[..., 1] - ac[..., 1] * cd[..., 0]) / cross
    result: FloatArray = a + share[..., None] * ab
    return result
