"""Edge corners on warped markers: accuracy, a half-hidden marker, nothing there, and a second detector."""

import cv2
import numpy as np
import pytest

from tests.vision.markers.second_detector import DETECTOR
from vision.floor.geometry import ink_direction
from vision.markers.detection import cell_pattern
from vision.markers.edges import PLAIN, fit_corners, linear_light

FAMILY = "DICT_APRILTAG_36h11"
FINE = 8  # samples per pixel and direction of the test's own picture


def picture(
    quads: list[np.ndarray],
    ids: list[int],
    *,
    blur: float = 0.7,
    gamma: float = 2.2,
    noise: float = 1.5,
    size: int = 150,
    seed: int = 0,
) -> np.ndarray:
    """Markers warped onto quads in linear light, blurred, stored through a gamma: the test's own truth."""
    rng = np.random.default_rng(seed)
    light = np.full((size * FINE, size * FINE), 0.8, np.float32)
    for quad, marker_id in zip(quads, ids, strict=True):
        cells = np.kron(cell_pattern(FAMILY, marker_id), np.ones((40, 40))).astype(np.float32) * 0.75 + 0.05
        side = len(cells)
        sheet = cv2.copyMakeBorder(cells, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=0.8)
        source = np.array([[-0.5, -0.5], [side - 0.5, -0.5], [side - 0.5, side - 0.5], [-0.5, side - 0.5]]) + 40
        target = (quad + 0.5) * FINE - 0.5
        warp = cv2.getPerspectiveTransform(source.astype(np.float32), target.astype(np.float32))
        cv2.warpPerspective(sheet, warp, light.shape[::-1], dst=light, borderMode=cv2.BORDER_TRANSPARENT)
    light = cv2.GaussianBlur(light, (0, 0), blur * FINE)
    small = cv2.resize(light, (size, size), interpolation=cv2.INTER_AREA)
    return np.clip(np.round(255 * small ** (1 / gamma) + rng.normal(0, noise, small.shape)), 0, 255).astype(np.uint8)


def random_quad(rng: np.random.Generator, side: float, middle: float = 75.0) -> np.ndarray:
    angle = rng.uniform(0, 2 * np.pi)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * side / 2
    return (square @ turn.T) * [1.0, 0.7] + middle + rng.uniform(-0.5, 0.5, 2)


def one(marker_id: int) -> np.ndarray:
    return cell_pattern(FAMILY, marker_id)[None]


@pytest.mark.parametrize(("share", "limit"), [(0.40, 0.06), (0.20, 0.10), (0.10, 0.20)])
def test_corners_of_a_dim_picture_are_found(share: float, limit: float) -> None:
    """White paper at grey 92, 46 and 23 of 255, with one grey level of noise: as good as noise over contrast allows."""
    rng = np.random.default_rng(7)
    off = []
    for k in range(8):
        quad = random_quad(rng, 44.0)
        bright = picture([quad], [k], noise=0.0, seed=k).astype(float)
        dim = np.clip(np.round(share * bright + rng.normal(0, 1.0, bright.shape)), 0, 255).astype(np.uint8)
        fit = fit_corners(dim, quad[None] + rng.uniform(-1, 1, 2), one(k), light=linear_light())
        assert not np.isnan(fit.corner).any()
        off.append(fit.corner[0] - quad)
    away = np.array(off)
    assert float(np.sqrt(np.mean((away - away.mean(axis=(0, 1))) ** 2))) < limit


def test_a_plain_wall_in_the_dark_has_no_corners() -> None:
    wall = np.clip(np.random.default_rng(3).normal(20, 1.0, (150, 150)), 0, 255).astype(np.uint8)
    quad = np.array([[40.0, 40], [90, 42], [88, 95], [42, 90]])
    assert np.isnan(fit_corners(wall, quad[None], one(3), light=linear_light()).corner).all()


@pytest.mark.parametrize(("side", "limit"), [(32, 0.10), (44, 0.06), (70, 0.04)])
def test_corners_are_within_a_tenth_of_a_pixel(side: float, limit: float) -> None:
    """Limits in px after a common shift is removed: our own, no source; a small marker has fewer edge points."""
    rng = np.random.default_rng(side)
    rest = []
    for k in range(12):
        quad = random_quad(rng, side)
        fit = fit_corners(
            picture([quad], [k], seed=k),
            quad[None] + rng.uniform(-1.5, 1.5, (1, 4, 2)),
            one(k),
            light=linear_light(2.2),
        )
        error = fit.corner[0] - quad
        shrink = ink_direction(quad)
        rest.append(error - shrink * (error * shrink).sum() / (shrink**2).sum())
    assert np.sqrt(np.mean(np.square(rest))) < limit


def test_linear_light_takes_most_of_the_ink_shift_away() -> None:
    quad = random_quad(np.random.default_rng(1), 70)
    grey = picture([quad], [5])
    shift = []
    for light in (PLAIN, linear_light(2.2)):
        error = fit_corners(grey, quad[None], one(5), light=light).corner[0] - quad
        shrink = ink_direction(quad)
        shift.append((error * shrink).sum() / (shrink**2).sum())
    assert shift[0] > 0.2  # black looks smaller when a gamma-stored picture is taken as it is
    assert abs(shift[1]) < 0.06


def test_a_half_hidden_marker_gives_only_the_corners_that_are_seen() -> None:
    quad = np.array([[40.0, 40.0], [110.0, 41.0], [111.0, 110.0], [41.0, 109.0]])
    grey = picture([quad], [7])
    grey[35:120, 95:] = 90  # a finger over the right-hand side
    fit = fit_corners(grey, quad[None] + 0.5, one(7), light=linear_light(2.2))
    assert np.isnan(fit.corner[0, [1, 2]]).all()
    assert np.abs(fit.corner[0, [0, 3]] - quad[[0, 3]]).max() < 0.15


@pytest.mark.parametrize("scene", ["grey", "noise", "other marker"])
def test_what_is_not_the_marker_is_not_taken_for_it(scene: str) -> None:
    quad = np.array([[40.0, 40.0], [110.0, 41.0], [111.0, 110.0], [41.0, 109.0]])
    rng = np.random.default_rng(3)
    grey = {
        "grey": np.full((150, 150), 128, np.uint8),
        "noise": rng.integers(0, 255, (150, 150)).astype(np.uint8),
        "other marker": picture([quad], [8]),
    }[scene]
    fit = fit_corners(grey, quad[None], one(7))
    assert np.isnan(fit.corner).any() or fit.likeness[0] < 0.6


def test_motion_blur_widens_the_edges_across_it() -> None:
    """A box of b px adds b²/12 to the second moment of an edge across it (variance of the uniform distribution)."""
    quad = np.array([[40.0, 40.0], [120.0, 40.0], [120.0, 120.0], [40.0, 120.0]])
    still = picture([quad], [2], size=160, gamma=1.0, noise=0.0)
    moved = cv2.filter2D(still, -1, np.full((1, 5), 0.2))
    spread = [fit_corners(g, quad[None], one(2)).spread[0] for g in (still, moved)]
    assert spread[1] - spread[0] == pytest.approx(25 / 12, rel=0.35)  # the window cuts the tails a little


def test_a_second_detector_agrees() -> None:
    """pupil-apriltags on the same pictures: middles and, after a common ink shift, corners within 0.12 px rms.

    Its pixel centres are at +0.5 and its corners run from another corner the other way round, so corners are
    compared with the nearest of its four. It takes levels as they are, hence the ink shift.
    The limit is our own, no source: what both together left on such pictures, with room.
    """
    rng = np.random.default_rng(9)
    rest, middle = [], []
    for k in range(8):
        quad = random_quad(rng, 60)
        grey = picture([quad], [k], seed=k)
        guess = quad[None] + rng.uniform(-1, 1, (1, 4, 2))
        ours = fit_corners(grey, guess, one(k), light=linear_light()).corner[0]
        seen = DETECTOR.detect(grey)
        assert [tag.tag_id for tag in seen] == [k]
        theirs = np.asarray(seen[0].corners) - 0.5
        order = np.linalg.norm(theirs[None] - ours[:, None], axis=-1).argmin(axis=1)
        assert sorted(order.tolist()) == [0, 1, 2, 3]
        error = theirs[order] - ours
        middle.append(error.mean(0))
        shrink = ink_direction(ours)
        rest.append(error - shrink * (error * shrink).sum() / (shrink**2).sum())
    assert np.sqrt(np.mean(np.square(middle))) < 0.12
    assert np.sqrt(np.mean(np.square(rest))) < 0.12
