"""Marker corners from straight-line fits to the marker's outer edges, and what the edges say about blur.

For every edge about a dozen brightness profiles are read across it. The middle of each profile's step (centroid
of its gradient) gives one edge point; a line through them, outliers dropped, gives the edge; two lines give a
corner. All markers of a frame are done in one call: the cost is in the number of array operations.
Corners run top-left, top-right, bottom-right, bottom-left of the printed marker, clockwise on the picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from vision.base.types import BoolArray, FloatArray, GreyImage, IntArray

PROFILES = 12
SAMPLES = 11  # across an edge, ends included
ALONG = np.linspace(0.10, 0.90, PROFILES)  # the rounded corners themselves are left out
ACROSS = np.linspace(-1.0, 1.0, SAMPLES)  # from outside to inside, in half-widths
MIDDLES = 0.5 * (ACROSS[1:] + ACROSS[:-1])
LEAST_STEP = 18.0  # of 255, light between ink and well-lit paper
LEAST_CONTRAST = 0.18  # the same over the light of the paper, where this is dim
LEAST_LEVELS = 3  # of the picture below the paper's own: less is noise of a camera, or rounding
LEAST_PROFILES = 6
WORST_RMS = 0.45  # px about the line: more means something lies across the edge
WIDEST_EDGE = 5.0  # px
SETTLED = 0.5  # px between the start of a fit and its result; more wants another
IDENTIFIED = 0.6  # correlation with the pattern that identifies a marker
REACH = 0.65  # of a cell, half the window across an edge
FAINT = 0.2  # of a profile's steepest step; less is noise
_Kind = TypeVar("_Kind", np.float64, np.bool_)
USUAL_GAMMA = 2.2
"""Close to what video standards (BT.709, sRGB) prescribe. The step of an edge does not tell it: its lean under another
gamma is within the noise of one clip. What a camera does differently comes out as ink shift."""
_ACROSS = np.stack([np.ones(SAMPLES), ACROSS], axis=1).astype(np.float32)
_MOMENTS = np.stack([np.ones(SAMPLES - 1), MIDDLES, MIDDLES**2]).astype(np.float32)
_EVENLY = np.full(PROFILES, 1.0 / PROFILES)
_LINE_BACK = np.stack([np.ones(PROFILES), ALONG - 0.5])  # (2, P): offsets of a level and a slope
_LINE = np.linalg.pinv(_LINE_BACK.T)  # (2, P): level and slope of offsets


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeCorners:
    """What one frame says about m markers.

    corner: (m, 4, 2) px, nan where an edge could not be vouched for.
    spread: (m,) px², second moments of the edge steps, summed over the marker's two directions (focus and motion
    blur); nan where unknown.
    likeness: (m,) correlation of the cells with the marker's pattern, -1..1.
    step: (m,) px, the most that a corner moved in the last fit: more than half a pixel has not settled.
    """

    corner: FloatArray
    spread: FloatArray
    likeness: FloatArray
    step: FloatArray


def linear_light(gamma: float = USUAL_GAMMA) -> npt.NDArray[np.float32]:
    """(256,) linear light, 0..255, of the levels of a picture stored with this gamma.

    A lens blurs light alike on both sides of an edge. Stored through a gamma, the step leans to one side, and the
    edge seems to lie inward by an amount that depends on blur and window; linear light removes that.
    """
    return (255.0 * (np.arange(256) / 255.0) ** gamma).astype(np.float32)


PLAIN = linear_light(1.0)


@dataclass(frozen=True, slots=True)
class _Pictures:
    """Pictures of one size, as rows of samples, and which of them each of m markers is on (ascending)."""

    flat: tuple[GreyImage, ...]
    height: int
    width: int
    owner: IntArray

    @classmethod
    def of(cls, grey: GreyImage | Sequence[GreyImage], owner: IntArray) -> "_Pictures":
        every = (grey,) if isinstance(grey, np.ndarray) else tuple(grey)
        height, width = every[0].shape
        return cls(tuple(one.reshape(-1) for one in every), height, width, owner)

    def part(self, markers: IntArray) -> "_Pictures":
        return _Pictures(self.flat, self.height, self.width, self.owner[markers])

    def samples(self, index: IntArray, offsets: tuple[int, ...] = (0,)) -> GreyImage:
        """(len(offsets), m, ...) grey levels at index (m, ...) plus each offset, each marker's from its own picture."""
        result = np.empty((len(offsets), *index.shape), np.uint8)
        ends = np.searchsorted(self.owner, np.arange(len(self.flat) + 1)).tolist()
        for flat, first, last in zip(self.flat, ends[:-1], ends[1:], strict=True):
            if last > first:
                for out, offset in zip(result, offsets, strict=True):
                    # Places are in the picture already; the mode only spares a copy.
                    flat[offset:].take(index[first:last], out=out[first:last], mode="clip")
        return result


def fit_corners(
    grey: GreyImage | Sequence[GreyImage],
    guess: FloatArray,
    pattern: FloatArray,
    *,
    owner: IntArray | None = None,
    light: npt.NDArray[np.float32] = PLAIN,
    rounds: int = 2,
) -> EdgeCorners:
    """Corners of m markers near their guessed places.

    grey: (h, w), or several pictures of that size.  guess: (m, 4, 2) px, within about half a cell.  pattern:
    (m, cells, cells) of 0 (ink) and 1, the border's cells included.  owner: (m,) on which of several pictures each
    marker is, ascending.  light: (256,) linear light of each grey level, `linear_light`; plain levels when left out.
    rounds: at most this many fits; the second is skipped where nothing moved.
    """
    guess = np.asarray(guess, dtype=float)
    pictures = _Pictures.of(grey, np.zeros(len(guess), np.int64) if owner is None else owner)
    cells = pattern.shape[-1]
    corner, spread = _one_fit(pictures, guess, cells, light)
    start, step = guess, _step(corner, guess)
    for _ in range(rounds - 1):
        moved = np.flatnonzero(step > SETTLED)
        if not len(moved):
            break
        away = corner[moved] - start[moved]
        lost = np.isnan(away)
        count = np.maximum((~lost).sum(axis=1, keepdims=True), 1)
        # Lost corners move with the others.
        common = np.where(lost, 0.0, away).sum(axis=1, keepdims=True) / count
        again = np.where(lost, start[moved] + common, corner[moved])
        start = start.copy()
        start[moved] = again
        corner[moved], spread[moved] = _one_fit(pictures.part(moved), again, cells, light)
        step[moved] = _step(corner[moved], again)
    seen = np.where(np.isnan(corner), start, corner)
    return EdgeCorners(corner=corner, spread=spread, likeness=_likeness(pictures, seen, pattern), step=step)


def _step(corner: FloatArray, start: FloatArray) -> FloatArray:
    """(m,) px, the most by which a corner that was found left its start; 0 when none was."""
    away = np.abs(corner - start)
    return np.asarray(np.where(np.isnan(away), 0.0, away).max(axis=(1, 2)))


@cache
def _cell_weights(cells: int) -> FloatArray:
    """(cells², 4): bilinear weights that put the cells' middles between the corners. Perspective within one marker
    moves them by a small part of a cell."""
    s = (np.arange(cells) + 0.5) / cells
    x, y = (grid.ravel() for grid in np.meshgrid(s, s))
    return np.stack([(1 - x) * (1 - y), x * (1 - y), x * y, (1 - x) * y], axis=1)


def _likeness(pictures: _Pictures, corner: FloatArray, pattern: FloatArray) -> FloatArray:
    """Correlation between the brightness of the cells' middles and the marker's pattern: (m,), -1..1."""
    place = (_cell_weights(pattern.shape[-1]) @ corner + 0.5).astype(np.int64)  # (m, cells², 2)
    x = np.minimum(np.maximum(place[..., 0], 0), pictures.width - 1)
    y = np.minimum(np.maximum(place[..., 1], 0), pictures.height - 1)
    value = pictures.samples(y * pictures.width + x)[0].astype(float)
    wanted = pattern.reshape(len(pattern), -1)
    count = wanted.shape[1]
    total, ink = value.sum(axis=1), wanted.sum(axis=1)
    both = (value * wanted).sum(axis=1) - total * ink / count
    spread = ((value * value).sum(axis=1) - total * total / count) * (ink - ink * ink / count)
    result: FloatArray = both / np.sqrt(np.maximum(spread, 1e-9))
    return result


def _sampled(
    pictures: _Pictures,
    x: npt.NDArray[np.float32],
    y: npt.NDArray[np.float32],
    light: npt.NDArray[np.float32],
) -> npt.NDArray[np.float32]:
    """Light at (x, y) px, (m, k), by bilinear interpolation; places outside the picture take its border's."""
    import cv2

    height, width = pictures.height, pictures.width
    if not (x.min() >= 0.0 and x.max() < width - 1 and y.min() >= 0.0 and y.max() < height - 1):  # nan goes here too
        x = np.nan_to_num(x).clip(0.0, width - 1.001)
        y = np.nan_to_num(y).clip(0.0, height - 1.001)
    left, top = x.astype(np.int32), y.astype(np.int32)
    # In single precision throughout: the usual types would be wider, and half as fast.
    u, v = x - left.astype(np.float32), y - top.astype(np.float32)
    top *= np.int32(width)
    # Whole indices of the machine's own width are taken without another conversion.
    index = np.add(top, left, dtype=np.int64)
    level = pictures.samples(index, (0, 1, width, width + 1))
    value = np.asarray(cv2.LUT(level.reshape(-1, x.shape[1]), light), np.float32).reshape(level.shape)
    upper: npt.NDArray[np.float32] = value[0]
    lower = value[2]
    upper += (value[1] - upper) * u
    lower += (value[3] - lower) * u
    lower -= upper
    lower *= v
    upper += lower
    return upper


def _one_fit(
    pictures: _Pictures, guess: FloatArray, cells: int, light: npt.NDArray[np.float32]
) -> tuple[FloatArray, FloatArray]:
    """Corners (m, 4, 2) and spread (m,) from one look at the edges of the guessed quads."""
    following = np.concatenate([guess[:, 1:], guess[:, :1]], axis=1)
    along = following - guess  # (m, 4, 2)
    ax, ay = along[..., 0], along[..., 1]
    length = np.sqrt(ax * ax + ay * ay)
    area = 0.5 * np.abs((guess[..., 0] * following[..., 1] - guess[..., 1] * following[..., 0]).sum(axis=1))
    safe = np.maximum(length, 1.0)
    inward = np.stack([-ay / safe, ax / safe], axis=1)  # (m, 2, 4)
    # The black border is one cell wide: a wider window would see the pattern behind it.
    half = np.minimum(np.maximum(REACH * area[:, None] / (safe * cells), 1.5), WIDEST_EDGE)
    # Places across the edges, along each of them: (m, 2, S, 4 P) from a middle and a half-width for each profile.
    middle_half = np.empty((len(guess), 2, 2, 4, PROFILES), np.float32)
    np.multiply(along.transpose(0, 2, 1)[..., None], ALONG, out=middle_half[:, :, 0], casting="same_kind")
    middle_half[:, :, 0] += guess.transpose(0, 2, 1)[..., None]
    middle_half[:, :, 1] = (half[:, None] * inward)[..., None]
    place = _ACROSS @ middle_half.reshape(len(guess), 2, 2, -1)
    value = _sampled(pictures, place[:, 0].reshape(len(guess), -1), place[:, 1].reshape(len(guess), -1), light)
    value = value.reshape(len(guess), SAMPLES, -1)
    step = value[:, :-1] - value[:, 1:]  # bright paper outside, dark ink inside: positive
    # Noise beside the edge, and what begins behind the border, must not pull the centroid.
    step -= np.float32(FAINT) * step.max(axis=1, keepdims=True)
    np.maximum(step, np.float32(0.0), out=step)
    moments = (_MOMENTS @ step).astype(float).reshape(len(guess), 3, 4, PROFILES)
    total = moments[:, 0]
    moments[:, 1:] /= np.maximum(total, 1e-9)[:, None]
    offset = moments[:, 1]
    moment = (moments[:, 2] - offset * offset) @ _EVENLY * half * half
    offset *= half[..., None]
    # The upper median of the paper's samples: sorting in part is half the work of numpy's median.
    paper = np.partition(value[:, 0], 2 * PROFILES, axis=-1)[:, 2 * PROFILES]
    least = _least_step(paper, light)[:, None, None]
    usable = total > np.maximum(least, 0.4 * total.max(axis=-1, keepdims=True))
    level, slope, enough, starts, ends = _lines(offset, usable)
    enough &= length > 6.0
    # Line through guess + along * s + inward * (level + slope * (s - 0.5)).
    inward = inward.transpose(0, 2, 1)
    here = guess + inward * (level - 0.5 * slope)[..., None]
    there = following + inward * (level + 0.5 * slope)[..., None]
    corner = _meet(_before(here), _before(there), here, there)
    corner[~(enough & starts & _before(enough & ends))] = np.nan
    moment[~enough] = np.nan
    return corner, 0.5 * (moment[:, 0] + moment[:, 1] + moment[:, 2] + moment[:, 3])


def _least_step(paper: npt.NDArray[np.float32], light: npt.NDArray[np.float32]) -> FloatArray:
    """(m,) smallest step that counts as one from paper to ink, by the light of each marker's paper (m,).

    A dim picture has small steps everywhere; a fixed bar would call all of them nothing.
    """
    level = np.clip(np.searchsorted(light, paper), 0, 255)
    coarse = light[level] - light[np.maximum(level - LEAST_LEVELS, 0)]
    return np.asarray(np.minimum(LEAST_STEP, np.maximum(LEAST_CONTRAST * paper, coarse)), float)


def _lines(offset: FloatArray, usable: BoolArray) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray, BoolArray]:
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


def _robust_line(offset: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Weighted straight lines offset = level + slope * (s - 0.5), outliers dropped twice."""
    s = ALONG - 0.5
    for trial in range(3):
        w0 = np.maximum(weight.sum(-1), 1e-9)
        mean_s = weight @ s / w0
        mean_o = (weight * offset).sum(-1) / w0
        ds = s - mean_s[..., None]
        slope = (weight * ds * offset).sum(-1) / np.maximum((weight * ds * ds).sum(-1), 1e-6)
        level = mean_o - slope * mean_s
        residual = offset - level[..., None] - slope[..., None] * s
        rms = np.sqrt((weight * residual**2).sum(-1) / np.maximum(w0 - 2.0, 1.0))
        if trial == 2:
            break
        limit = np.maximum(2.5 * _median_size(residual, weight), 0.15)[..., None]
        kept = weight * (np.abs(residual) <= limit)
        if np.array_equal(kept, weight):
            break
        weight = kept
    return level, slope, rms, weight


def _median_size(residual: FloatArray, weight: FloatArray) -> FloatArray:
    """Robust standard deviation: 1.48 times the median size of the residuals (k, P) that count."""
    size = np.sort(np.where(weight > 0, np.abs(residual), np.inf), axis=-1)
    middle = np.clip((weight.sum(-1) // 2).astype(int), 0, PROFILES - 1)
    found = size[np.arange(len(size)), middle]
    result: FloatArray = np.where(np.isfinite(found), 1.48 * found, 0.0)
    return result


def _before(edge: npt.NDArray[_Kind]) -> npt.NDArray[_Kind]:
    """Of every edge (m, 4, ...) the one before it."""
    return np.concatenate([edge[:, 3:], edge[:, :3]], axis=1)


def _meet(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Where line a-b meets line c-d."""
    ab, cd, ac = b - a, d - c, c - a
    cross = ab[..., 0] * cd[..., 1] - ab[..., 1] * cd[..., 0]
    cross = np.where(np.abs(cross) < 1e-9, np.nan, cross)
    share = (ac[..., 0] * cd[..., 1] - ac[..., 1] * cd[..., 0]) / cross
    result: FloatArray = a + share[..., None] * ab
    return result
