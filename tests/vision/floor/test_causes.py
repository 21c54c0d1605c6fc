"""Floors that contradict their card: what is found to be the cause, against corners projected by OpenCV."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tests.vision.floor.test_fit import SIZE, camera, looking, seen_by
from vision.base.errors import InputError
from vision.base.types import FloorLayout, Marker
from vision.floor.cause_words import floor_sentences
from vision.floor.causes import FloorCauseKind
from vision.floor.fit import FloorFit, fit_floor, guess_camera
from vision.floor.geometry import marker_corners
from vision.markers.layouts import default_floor

CARD = default_floor(place_u=3e-4, scale_u=5e-4)
EYE = (0.35, -0.95, 0.85)


def laid(change: Callable[[Marker], Marker]) -> FloorLayout:
    return replace(CARD, markers=tuple(change(marker) for marker in CARD.markers))


def stretched(marker: Marker, factor: float) -> Marker:
    middle = 0.3 if marker.sheet == "front" else -0.3  # m, of the page
    return replace(marker, x=middle + factor * (marker.x - middle), y=factor * marker.y, size=factor * marker.size)


def found(floor: FloorLayout, *, known: bool = True, height: np.ndarray | float = 0.0) -> FloorFit:
    seen = seen_by(EYE, floor, np.random.default_rng(8), height=height)
    return fit_floor(seen[None], CARD, camera() if known else guess_camera(SIZE))


def pose_error(fit: FloorFit) -> tuple[float, float]:
    """rad and m, of the camera against the floor that it looks at."""
    rotation, place = looking(EYE)
    turned = float(np.arccos(np.clip((np.trace(rotation @ fit.rotation[0].T) - 1) / 2, -1, 1)))
    eye = -fit.rotation[0].T @ fit.place[0]
    return turned, float(np.linalg.norm(eye + rotation.T @ place))


@pytest.mark.parametrize("known", [True, False])
def test_right_cards_are_not_contradicted(known: bool) -> None:
    fit = found(CARD, known=known)
    assert fit.causes == ()
    assert floor_sentences(fit, CARD) == []


def test_sheets_printed_small_are_found_as_such_and_do_not_move_the_camera() -> None:
    fit = found(laid(lambda marker: stretched(marker, 0.97)))
    assert fit.causes[0].kind is FloorCauseKind.ALL_PRINTED
    np.testing.assert_allclose(fit.floor.stretches(fit.laid)[:, 0], -0.03, rtol=0, atol=0.002)
    assert pose_error(fit)[1] < 0.004  # taken for a nearer camera it would be 3 % of 1.3 m, 40 mm
    said = floor_sentences(fit, CARD)[0]
    assert "printed at 97.0 %" in said
    assert "bar_mm" in said


def test_one_sheet_printed_small_is_named() -> None:
    fit = found(laid(lambda marker: stretched(marker, 0.96) if marker.sheet == "rear" else marker))
    assert "floor sheet rear is printed at 96." in floor_sentences(fit, CARD)[0]


def test_a_sheet_laid_aside_is_named_with_how_far() -> None:
    def aside(marker: Marker) -> Marker:
        return replace(marker, y=marker.y + 0.006, x=marker.x + 0.001) if marker.sheet == "front" else marker

    fit = found(laid(aside))
    cause = fit.causes[0]
    assert cause.kind is FloorCauseKind.SHEET_MOVED
    # either sheet may be the one: together they are as far from each other as they were laid
    apart = fit.sheet[0, :2] - fit.sheet[1, :2]
    assert np.hypot(*apart) == pytest.approx(np.hypot(0.006, 0.001), abs=0.0015)
    assert "from its place against the other" in floor_sentences(fit, CARD)[0]


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("dome", [0.003, -0.003])
def test_a_bowed_floor_is_named_and_its_shape_found(dome: float, known: bool) -> None:
    corner = marker_corners(CARD.markers)
    height = dome * (corner**2).sum(-1) / 0.3**2  # m, by hand: a dome of 3 mm at 300 mm
    fit = found(CARD, known=known, height=height)
    assert fit.causes[0].kind is FloorCauseKind.BOWED
    at_page = fit.floor.bow_shapes(np.array([0.3, 0.0])) @ fit.laid[fit.floor.bow_part]
    assert at_page == pytest.approx(dome, rel=0.3)
    assert not known or pose_error(fit)[0] < 0.004  # an unknown lens may hide a turn in its middle
    assert "the floor is not flat here" in floor_sentences(fit, CARD)[0]


@pytest.mark.parametrize("factor", [0.88, 1.12])
def test_a_lens_calibrated_on_another_phone_is_named_and_its_own_found(factor: float) -> None:
    other = camera()
    matrix, u = other.matrix.copy(), np.array([3.5, 3.5, 3.0, 3.0, 0.01, 0, 5e-4, 5e-4, 0])
    matrix[:2, :2] *= factor
    fit = fit_floor(seen_by(EYE, CARD, np.random.default_rng(8))[None], CARD, replace(other, matrix=matrix, u=u))
    assert [cause.kind for cause in fit.causes] == [FloorCauseKind.LENS]
    np.testing.assert_allclose(fit.intrinsics[:2] / other.matrix[[0, 1], [0, 1]], 1.0, rtol=0, atol=0.012)
    said = floor_sentences(fit, CARD, calibrated=True)[0]
    assert "not filmed through the lens that was calibrated" in said
    assert f"{fit.intrinsics[0]:.0f} px" in said
    assert "bends the picture" in floor_sentences(fit, CARD)[0]


@pytest.mark.thorough
def test_paper_in_waves_is_told_and_counted_once_over_many_views() -> None:
    """Six views of the same wavy paper: the focal length found has the doubt of one paper, not of six."""
    away = []
    for draw in range(8):
        rng = np.random.default_rng([31, draw])
        height = rng.normal(0.0, 4e-4, (6, 4))
        eyes = [(0.35 + 0.05 * np.sin(k), -0.95, 0.85 + 0.05 * np.cos(2 * k)) for k in range(6)]
        views = np.stack([seen_by(eye, CARD, rng, height=height) for eye in eyes])
        fit = fit_floor(views, CARD, guess_camera(SIZE))
        away.append((fit.intrinsics[0] - 1150.0) / np.sqrt(fit.covariance[0, 0]))
        assert fit.wave == pytest.approx(4e-4, rel=0.5)
    # 8 draws of a standard normal: a root mean square beyond 1.8 comes by chance once in 2000
    assert np.sqrt(np.mean(np.square(away))) < 1.8


def test_sheets_in_each_other_s_places_and_a_sheet_turned_round_are_named() -> None:
    other = {"front": -0.6, "rear": 0.6}
    with pytest.raises(InputError) as refused:
        found(laid(lambda marker: replace(marker, x=marker.x + other[marker.sheet])))
    assert "front and rear lie in each other's places" in str(refused.value)

    def round_about(marker: Marker) -> Marker:
        if marker.sheet == "front":
            return marker
        return replace(marker, x=-0.6 - marker.x, y=-marker.y, turn=marker.turn + np.pi)

    with pytest.raises(InputError) as refused:
        found(laid(round_about))
    assert "floor sheet rear lies turned by 180°" in str(refused.value)
