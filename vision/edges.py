"""Marker corners from straight-line fits to the marker's outer edges, and what the edges say about blur.

For every edge about a dozen brightness profiles are read across it. The middle of each profile's step (centroid
of its gradient) gives one edge point; a line through them, outliers dropped, gives the edge; two lines give a
corner. All markers of a frame are done in one call: the cost is in the number of array operations.
Corners run top-left, top-right, bottom-right, bottom-left of the printed marker, clockwise on the picture.
"""

from dataclasses import dataclass

import numpy as np

from vision.types import FloatArray, GreyImage

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


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeCorners:
    """What one frame says about m markers.

    corner: (m, 4, 2) px, nan where an edge could not be vouched for.
    spread: (m, 2, 2) px², second moment of the edge gradient as a tensor (focus and motion blur), nan if unknown.
    shift: (m,) px, the largest move from the corners given.
    likeness: (m,) correlation of the cells with the marker's pattern, -1..1.
    """

    corner: FloatArray
    spread: FloatArray
    shift: FloatArray
    likeness: FloatArray


def sample(grey: GreyImage, x: FloatArray, y: FloatArray, light: FloatArray | None = None) -> FloatArray:
    """Brightness at (x, y) px by bilinear interpolation; places outside the picture take its border's.

    light: (256,) what each grey level stands for, before interpolating.
    """
    height, width = grey.shape
    with np.errstate(invalid="ignore"):  # a hopeless guess may lead to infinity: any pixel will do for it
        x0 = np.clip(x.astype(np.int32), 0, width - 2)
        y0 = np.clip(y.astype(np.int32), 0, height - 2)
    u = np.clip(x - x0, 0.0, 1.0)
    v = np.clip(y - y0, 0.0, 1.0)
    flat = grey.reshape(-1)
    index = y0 * width + x0
    four = [flat[index], flat[index + 1], flat[index + width], flat[index + width + 1]]
    a, b, c, d = four if light is None else [light[value] for value in four]
    top = a * (1.0 - u) + b * u
    result: FloatArray = top + ((c * (1.0 - u) + d * u) - top) * v
    return result


def fit_corners(grey: GreyImage, guess: FloatArray, pattern: FloatArray, *, light: FloatArray | None = None,
                rounds: int = 2) -> EdgeCorners:
    """Corners of m markers near their guessed places.

    grey: (h, w).  guess: (m, 4, 2) px, within about half a cell.  pattern: (m, cells, cells) of 0 (ink) and 1,
    the border's cells included.  light: (256,) linear light of each grey level, `linear_light`; plain levels when
    left out.  rounds: at most this many fits; the second is skipped where nothing moved.
    """
    guess = np.asarray(guess, dtype=float)
    cells = pattern.shape[-1]
    corner, spread = _one_fit(grey, guess, cells, light)
    for _ in range(rounds - 1):
        moved = np.abs(corner - guess).max(axis=(1, 2)) > 0.5  # nan compares false: those stay lost
        if not moved.any():
            break
        start = corner[moved]
        corner[moved], spread[moved] = _one_fit(grey, start, cells, light)
        guess = np.where(moved[:, None, None], corner, guess)
    with np.errstate(invalid="ignore"):
        shift = np.nanmax(np.abs(corner - guess), axis=(1, 2), initial=0.0)
    return EdgeCorners(corner=corner, spread=spread, shift=shift,
                       likeness=likeness(grey, np.where(np.isnan(corner), guess, corner), pattern))


def linear_light(gamma: float = USUAL_GAMMA) -> FloatArray:
    """(256,) linear light, 0..255, of the levels of a picture stored with this gamma.

    A lens blurs light alike on both sides of an edge. Stored through a gamma, the step leans to one side, and the
    edge seems to lie inward by an amount that depends on blur and window; linear light removes that.
    """
    return 255.0 * (np.arange(256) / 255.0) ** gamma


@dataclass(frozen=True, slots=True, kw_only=True)
class _Profiles:
    """Steps across edges: step (m, 4, P, S - 1) from paper to ink, its total, offset of its middle (m, 4, P), in
    half-widths; half (m, 4) px, inward and along (m, 4, 2), length (m, 4) px."""

    step: FloatArray
    total: FloatArray
    offset: FloatArray
    half: FloatArray
    inward: FloatArray
    length: FloatArray


def _profiles(grey: GreyImage, guess: FloatArray, cells: int, light: FloatArray | None) -> _Profiles:
    following = guess[:, _NEXT]
    along = following - guess  # (m, 4, 2)
    length = np.hypot(along[..., 0], along[..., 1])
    area = 0.5 * np.abs(np.sum(guess[..., 0] * following[..., 1] - guess[..., 1] * following[..., 0], axis=1))
    safe = np.maximum(length, 1.0)
    inward = np.stack([-along[..., 1], along[..., 0]], axis=-1) / safe[..., None]
    # The black border is one cell wide: a wider window would see the pattern behind it.
    half = np.minimum(np.maximum(REACH * area[:, None] / (safe * cells), 1.5), WIDEST)
    start = guess[:, :, None, :] + ALONG[:, None] * along[:, :, None, :]  # (m, 4, P, 2)
    reach = (half[..., None] * inward)[:, :, None, None, :] * ACROSS[:, None]
    place = start[:, :, :, None, :] + reach  # (m, 4, P, S, 2)
    value = sample(grey, place[..., 0], place[..., 1], light)
    step = value[..., :-1] - value[..., 1:]  # bright paper outside, dark ink inside: positive
    # Noise beside the edge, and what begins behind the border, must not pull the centroid.
    step = np.maximum(step - FAINT * step.max(axis=-1, keepdims=True), 0.0)
    total = step.sum(axis=-1)
    return _Profiles(step=step, total=total, offset=(step @ MIDDLES) / np.maximum(total, 1e-9), half=half, inward=inward,
                     length=length)


def _one_fit(grey: GreyImage, guess: FloatArray, cells: int, light: FloatArray | None) -> tuple[FloatArray, FloatArray]:
    profile = _profiles(grey, guess, cells, light)
    total, half, inward = profile.total, profile.half, profile.inward
    moment = (profile.step @ MIDDLES**2) / np.maximum(total, 1e-9) - profile.offset**2
    offset = profile.offset * half[..., None]
    contrast = total.max(axis=-1, keepdims=True)
    weight = ((total > LEAST_STEP) & (total > 0.4 * contrast)).astype(float)
    level, slope, rms, weight = _line(offset, weight)
    good = (weight.sum(axis=-1) >= LEAST_PROFILES) & (rms < WORST_RMS) & (profile.length > 6.0)
    # Line through guess + along * s + inward * (level + slope * (s - 0.5)).
    first = guess + inward * (level - 0.5 * slope)[..., None]
    second = guess[:, _NEXT] + inward * (level + 0.5 * slope)[..., None]
    corner = _meet(first[:, _LAST], second[:, _LAST], first, second)
    # A corner is not extrapolated: some of the profiles next to it must count, on both of its edges.
    starts = good & (weight[..., :3].sum(axis=-1) > 0)
    ends = good & (weight[..., -3:].sum(axis=-1) > 0)
    corner[~(starts & ends[:, _LAST])] = np.nan
    return corner, _spread(moment * half[..., None] ** 2, weight, inward, good)


def _line(offset: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
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
        limit = np.maximum(2.5 * _median_size(rest, weight), 0.12)[..., None]
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


def _spread(moment: FloatArray, weight: FloatArray, inward: FloatArray, good: FloatArray) -> FloatArray:
    """Blur tensor of each marker: edges across x and edges across y see its two directions.

    The second moment along an edge normal n is n' B n; opposite edges are averaged and the cross term is left
    out of the fit when the edges cannot separate it (they are nearly at right angles, which gives two of three).
    """
    count = np.maximum(weight.sum(-1), 1.0)
    across = np.where(good, (weight * moment).sum(-1) / count, np.nan)  # (m, 4)
    pair = np.stack([across[:, [0, 2]], across[:, [1, 3]]], axis=1)  # (m, 2, 2)
    seen = ~np.isnan(pair)
    size = np.where(seen, pair, 0.0).sum(-1) / np.maximum(seen.sum(-1), 1)
    size = np.where(seen.any(-1), size, np.nan)
    axis = np.stack([inward[:, 0] - inward[:, 2], inward[:, 1] - inward[:, 3]], axis=1) * 0.5
    result: FloatArray = np.einsum("mk,mki,mkj->mij", size, axis, axis)
    return result


def likeness(grey: GreyImage, corner: FloatArray, pattern: FloatArray) -> FloatArray:
    """Correlation between the brightness of the cells and the marker's pattern: (m,), -1..1."""
    cells = pattern.shape[-1]
    s = (np.arange(cells) + 0.5) / cells
    matrix = square_to_quad(corner)
    across, down = np.meshgrid(s, s)
    flat = np.stack([across.ravel(), down.ravel(), np.ones(cells * cells)])
    place = matrix @ flat
    value = sample(grey, place[:, 0] / place[:, 2], place[:, 1] / place[:, 2])
    value = value - value.mean(axis=-1, keepdims=True)
    wanted = pattern.reshape(len(pattern), -1)
    wanted = wanted - wanted.mean(axis=-1, keepdims=True)
    size = np.linalg.norm(value, axis=-1) * np.linalg.norm(wanted, axis=-1)
    result: FloatArray = (value * wanted).sum(-1) / np.maximum(size, 1e-9)
    return result


def square_to_quad(corner: FloatArray) -> FloatArray:
    """(..., 4, 2) -> (..., 3, 3) homographies of the unit square (0,0) (1,0) (1,1) (0,1) onto the corners.

    Source: Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989 (closed form).
    """
    p0, p1, p2, p3 = np.moveaxis(corner, -2, 0)
    total = p0 - p1 + p2 - p3
    e1, e2 = p1 - p2, p3 - p2
    cross = e1[..., 0] * e2[..., 1] - e1[..., 1] * e2[..., 0]
    cross = np.where(np.abs(cross) < 1e-9, 1e-9, cross)
    g = (total[..., 0] * e2[..., 1] - total[..., 1] * e2[..., 0]) / cross
    h = (e1[..., 0] * total[..., 1] - e1[..., 1] * total[..., 0]) / cross
    matrix = np.empty((*corner.shape[:-2], 3, 3))
    matrix[..., :2, 0] = p1 - p0 + g[..., None] * p1
    matrix[..., :2, 1] = p3 - p0 + h[..., None] * p3
    matrix[..., :2, 2] = p0
    matrix[..., 2, 0], matrix[..., 2, 1], matrix[..., 2, 2] = g, h, 1.0
    return matrix
