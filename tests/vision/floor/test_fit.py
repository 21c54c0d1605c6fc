"""The floor fit against corners projected by OpenCV: pose, ink, lens, moved sheets, learned layouts."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.base.errors import InputError
from vision.base.types import Camera, FloorLayout, Marker
from vision.camera.model import intrinsics_of
from vision.floor.fit import fit_floor, guess_camera
from vision.floor.geometry import bent_edge_shift, first_camera_pose, ink_direction, marker_corners, plane_misfit
from vision.learning.floor_learn import learn_layout
from vision.markers.layouts import default_floor

SIZE = (1280, 720)
MATRIX = np.array([[1150.0, 0, 645], [0, 1150, 352], [0, 0, 1]])
LENS = np.array([-0.15, 0.0, 0.0, 0.0, 0.0])
PLACES = [(-0.30, -0.2), (0.10, -0.25), (0.42, -0.2), (-0.3, 0.25), (0.1, 0.3), (0.40, 0.25)]


def layout(**keys: object) -> FloorLayout:
    markers = tuple(Marker(id=k, size=0.07, x=x, y=y, turn=0.1 * k) for k, (x, y) in enumerate(PLACES))
    return FloorLayout(dictionary="DICT_APRILTAG_36h11", markers=markers, **keys)  # type: ignore[arg-type]


def looking(eye: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray]:
    ahead = np.array([0.08, 0.02, 0.0]) - eye
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    return rotation, -rotation @ np.array(eye)


def seen_by(
    eye: tuple[float, float, float],
    floor: FloorLayout,
    rng: np.random.Generator | None = None,
    noise: float = 0.03,
    ink: float = 0.0,
    height: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Corners as straight-line fits to lens-bent edges would find them: OpenCV projects the points of the edges.

    height: (m, 4) m of the corners over the plane; an edge runs straight between two of them.
    """
    rotation, place = looking(eye)
    flat = marker_corners(floor.markers)
    corner = np.concatenate([flat, np.broadcast_to(height, flat.shape[:2])[..., None]], axis=-1)
    vector = cv2.Rodrigues(rotation)[0]

    def through_lens(point: np.ndarray) -> np.ndarray:
        return cv2.projectPoints(point[:, None], vector, place, MATRIX, LENS)[0].reshape(-1, 2)

    result = np.empty_like(flat)
    share = np.linspace(0.1, 0.9, 12)[:, None]
    for k, quad in enumerate(corner):
        lines = []
        for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True):
            edge = through_lens(a + share * (b - a))
            direction = np.linalg.svd(edge - edge.mean(0))[2][0]
            normal = np.array([-direction[1], direction[0]])
            lines.append(np.append(normal, normal @ edge.mean(0)))
        for j in range(4):
            (a1, b1, c1), (a2, b2, c2) = lines[j - 1], lines[j]
            result[k, j] = np.linalg.solve([[a1, b1], [a2, b2]], [c1, c2])
    result = result + ink * ink_direction(result)
    return result + (rng.normal(0, noise, result.shape) if rng is not None else 0.0)


def camera(u: float = 0.0) -> Camera:
    return Camera(matrix=MATRIX, distortion=LENS, size=SIZE, u=np.full(9, u) * [1, 1, 1, 1, 0.01, 0, 0, 0, 0])


EYE = (0.1, -0.95, 1.0)


def test_without_noise_everything_comes_back() -> None:
    fit = fit_floor(seen_by(EYE, layout(), ink=0.3)[None], layout(), camera())
    rotation, place = looking(EYE)
    np.testing.assert_allclose(fit.rotation[0], rotation, rtol=0, atol=2e-5)
    np.testing.assert_allclose(fit.place[0], place, rtol=0, atol=3e-5)
    assert fit.ink == pytest.approx(0.3, abs=0.01)


@pytest.mark.thorough
def test_squeezed_pictures_are_measured_where_the_file_says_so_and_else_refused() -> None:
    """By hand: a picture turned by 20 degrees about its lens's middle and made three quarters as wide, the picture's
    corner at -0.5 staying. An upright camera's is taken for a nearer one that looks down steeper, which does no harm:
    the floor's own plane stays as it is."""
    sheets, c, s = default_floor(), np.cos(np.radians(20)), np.sin(np.radians(20))
    plain = seen_by(EYE, sheets, np.random.default_rng(3))
    turned = (plain - MATRIX[:2, 2]) @ np.array([[c, s], [-s, c]]) + MATRIX[:2, 2]
    turned[..., 0] = (turned[..., 0] + 0.5) * 0.75 - 0.5
    fit = fit_floor(turned[None], sheets, guess_camera((960, 720), 4 / 3))
    assert fit.intrinsics[0] / fit.intrinsics[1] == pytest.approx(0.75, rel=1e-9)
    assert abs(fit.intrinsics[1] - 1150) < 3 * np.sqrt(fit.covariance[0, 0]) / 0.75
    np.testing.assert_allclose(-fit.rotation[0].T @ fit.place[0], EYE, rtol=0, atol=0.03)
    with pytest.raises(InputError, match="are squeezed in width: their pixels are not square"):
        fit_floor(turned[None], sheets, guess_camera((960, 720)))


@pytest.mark.thorough
def test_no_lens_is_so_short_as_to_explain_squeezed_pictures_of_an_upright_camera() -> None:
    """At 17 px, 2 % of the picture, a focal length would: the fit then fell down that valley, and measured."""
    sheets = default_floor(place_u=3e-4, scale_u=5e-4)
    seen = seen_by((-0.5, -0.6, 0.95), sheets, np.random.default_rng(3))
    seen[..., 0] = (seen[..., 0] + 0.5) * 0.75 - 0.5
    with pytest.raises(InputError, match="are squeezed in width"):
        fit_floor(seen[None], sheets, guess_camera((960, 720)))


def test_first_pose_is_exact_for_exact_points() -> None:
    rotation, place = looking(EYE)
    flat = marker_corners(layout().markers).reshape(-1, 2)
    point = flat @ rotation[:, :2].T + place
    got = first_camera_pose((point[:, :2] / point[:, 2:])[None], flat, np.ones((1, len(flat))))
    np.testing.assert_allclose(got[0][0], rotation, rtol=0, atol=1e-9)
    np.testing.assert_allclose(got[1][0], place, rtol=0, atol=1e-9)


def test_no_lens_and_no_shape_of_pixels_explains_markers_in_other_places() -> None:
    """Seen through OpenCV's lens and squeezed afterwards, markers in their places leave next to nothing; one that lies
    40 mm aside, about 40 px on the picture, leaves several pixels of the mean of six."""
    seen = seen_by(EYE, layout()).reshape(-1, 2) * [0.7, 1.0]
    place = marker_corners(layout().markers)
    centre, half = np.array([0.7 * 639.5, 359.5]), 0.7 * 640
    assert plane_misfit(seen, place.reshape(-1, 2), centre, half) < 0.5
    covered = seen.copy()
    covered[4:8] = np.nan
    assert plane_misfit(covered, place.reshape(-1, 2), centre, half) < 0.5
    place[1, :, 1] += 0.04
    assert 4.0 < plane_misfit(seen, place.reshape(-1, 2), centre, half) < 16.0


def test_markers_that_lie_nowhere_near_the_card_are_refused() -> None:
    sheets = default_floor()
    aside = np.random.default_rng(4).normal(0, 0.02, (6, 2))
    moved = tuple(replace(m, x=m.x + dx, y=m.y + dy) for m, (dx, dy) in zip(sheets.markers, aside, strict=True))
    with pytest.raises(InputError, match="do not lie as the bench card says"):
        fit_floor(seen_by(EYE, sheets)[None], replace(sheets, markers=moved), camera())


def test_bent_edges_vanish_without_a_lens() -> None:
    rotation, place = looking(EYE)
    point = np.concatenate([marker_corners(layout().markers), np.zeros((6, 4, 1))], axis=-1) @ rotation.T + place
    straight = intrinsics_of(Camera(matrix=MATRIX, distortion=np.zeros(5), size=SIZE))
    assert np.abs(bent_edge_shift(point, straight)).max() < 1e-9


@pytest.mark.thorough
def test_stated_uncertainty_of_a_calibrated_view_covers_the_truth() -> None:
    """chi² of the pose error over 60 noisy views: mean 6 with sd 0.45, so 4.5 to 8.5 (cards believed exact).

    The floor is an ordinary one: a dome or a hollow (0.1 % of the markers' reach), paper taped down (0.1 mm).
    """
    rng = np.random.default_rng(4)
    rotation, place = looking(EYE)
    sure = layout(place_u=1e-7)
    sizes = []
    for _ in range(60):
        corner = marker_corners(sure.markers)
        x, y = np.moveaxis((corner - [0.06, 0.025]) / 0.52, -1, 0)
        dome, saddle, across = rng.normal(0, 0.00052, 3)
        height = dome * (x**2 + y**2) + saddle * (x**2 - y**2) + 2 * across * x * y + rng.normal(0, 1e-4, x.shape)
        fit = fit_floor(seen_by(EYE, sure, rng, height=height)[None], sure, camera(), robust=False)
        turn = cv2.Rodrigues(rotation @ fit.rotation[0].T)[0][:, 0]
        error = np.concatenate([turn, place - fit.place[0]])
        sizes.append(error @ np.linalg.solve(fit.covariance[-6:, -6:], error))
    assert 4.5 < np.mean(sizes) < 8.5


def test_an_unknown_lens_is_found_within_its_stated_doubt() -> None:
    rng = np.random.default_rng(5)
    for eye in (EYE, (0.6, -0.7, 0.9), (-0.4, -0.8, 0.8)):
        fit = fit_floor(seen_by(eye, layout(place_u=1e-6), rng)[None], layout(place_u=1e-6), guess_camera(SIZE))
        u = np.sqrt(np.diag(fit.covariance))
        assert abs(fit.intrinsics[0] - 1150) < 4 * u[0] < 100
        assert abs(fit.intrinsics[4] + 0.15) < 4 * u[3] < 0.15


def test_a_moved_sheet_is_found_and_does_not_pull_the_floor() -> None:
    true = layout()
    markers = list(true.markers)
    markers[2] = Marker(id=2, size=0.07, x=markers[2].x + 0.004, y=markers[2].y, turn=markers[2].turn)
    moved = FloorLayout(dictionary=true.dictionary, markers=tuple(markers))
    fit = fit_floor(seen_by(EYE, moved, np.random.default_rng(6))[None], true, camera())
    assert np.hypot(*fit.sheet[2, :2]) == pytest.approx(0.004, abs=0.0006)
    assert np.hypot(*fit.sheet[[0, 1, 3, 4, 5], :2].T).max() < 0.0008


@pytest.mark.thorough
def test_a_layout_is_learned_from_views_around_it() -> None:
    """Sheets put down anywhere: places within four stated standard uncertainties of where the test put them."""
    rng = np.random.default_rng(7)
    true = layout()
    first = true.markers[0]
    unknown = FloorLayout(
        dictionary=true.dictionary,
        markers=tuple(first if k == 0 else Marker(id=k, size=0.07, x=0.0, y=0.0) for k in range(6)),
    )
    eyes = [(0.9 * np.cos(a) + 0.05, 0.9 * np.sin(a), 0.85 + 0.1 * np.sin(3 * a)) for a in np.linspace(0, 5.5, 12)]
    views = np.stack([seen_by(eye, true, rng) for eye in eyes])
    views[::2, 4] = np.nan  # a marker not always seen
    for given in (camera(), None):
        learned = learn_layout(views, unknown, camera=given, size=SIZE)
        error = marker_corners(learned.floor.markers).mean(1) - marker_corners(true.markers).mean(1)
        assert (np.hypot(*error.T) < 4 * np.sqrt(2) * learned.place_u + 1e-6).all()
        assert np.hypot(*error.T).max() < 0.0005
        turn = [a.turn - b.turn for a, b in zip(learned.floor.markers, true.markers, strict=True)]
        assert np.abs(np.angle(np.exp(1j * np.array(turn)))).max() < 0.002


def test_sheets_that_never_meet_in_a_picture_cannot_be_learned() -> None:
    views = np.stack([seen_by(EYE, layout())] * 2)
    views[0, 3:] = views[1, :3] = np.nan
    with pytest.raises(InputError, match="never in one picture"):
        learn_layout(views, layout(), camera=camera())
    with pytest.raises(InputError, match="never seen"):
        learn_layout(views[:1], layout(), camera=camera())
