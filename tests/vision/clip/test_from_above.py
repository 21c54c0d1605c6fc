"""The film from above: markers and outlines where the rendered pose puts them, both films started together."""

from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from tests.vision.clip.filmed import CAR, OUTLINE, camera, film
from vision.base.errors import InputError
from vision.base.types import BgrImage, FloatArray
from vision.clip.from_above import (
    LEAD,
    PushFromAbove,
    Window,
    common_window,
    film_from_above,
    still_from_above,
)

pytestmark = pytest.mark.thorough

YELLOW, ORANGE, GREY = np.array([66, 228, 240]), np.array([0, 159, 230]), np.array([190, 190, 190])
START, END = np.array([-0.13, -0.03, 0.04]), np.array([-0.12, 0.03, -0.08])
OTHER_START, OTHER_END = np.array([-0.10, 0.03, -0.05]), np.array([-0.10, -0.02, 0.10])


@pytest.fixture(scope="module")
def pushes(tmp_path_factory: pytest.TempPathFactory) -> tuple[PushFromAbove, PushFromAbove]:
    """Two pushes, seen from two places, to the left and to the right, starting at different moments."""
    folder = tmp_path_factory.mktemp("from_above")
    return (
        film(folder / "a.avi", camera(-0.1, -0.95), 0.25, START, END),
        film(folder / "b.avi", camera(0.5, -0.7), 0.45, OTHER_START, OTHER_END),
    )


def by_hand(flat: FloatArray, pose: FloatArray, start: FloatArray, pushes: tuple[PushFromAbove, ...]) -> FloatArray:
    """(k, 2) px of car points at a pose, with complex numbers instead of the matrices of the code under test."""
    window = common_window(pushes, 800)
    z = (flat[:, 0] + 1j * flat[:, 1]) * np.exp(1j * pose[2]) + pose[0] + 1j * pose[1]
    z = (z - start[0] - 1j * start[1]) * np.exp(-1j * start[2])
    u = (window.high[1] - z.imag) * window.scale - 0.5
    v = (window.high[0] - z.real) * window.scale - 0.5
    return np.stack([u, v], axis=-1)


def still(pushes: tuple[PushFromAbove, ...], path: Path) -> tuple[BgrImage, BgrImage]:
    """The two panels of a still, without captions."""
    still_from_above(path, pushes, panel_height=800)
    picture = cv2.imread(str(path))
    assert picture is not None
    width, height = common_window(pushes, 800).size
    return picture[:height, :width], picture[:height, width + 6 : 2 * width + 6]  # type: ignore[return-value]


def test_the_car_lies_under_its_outline_within_a_pixel(
    pushes: tuple[PushFromAbove, PushFromAbove], tmp_path: Path
) -> None:
    # Markers printed by OpenCV are laid where the rendered pose has them; the turned picture must not be shifted.
    # A wider outline is drawn here, so that no line crosses a marker.
    plain = tuple(replace(push, outline=OUTLINE * [1.2, 2.4], balance=None) for push in pushes)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)
    for panel, start, end in zip(
        still(plain, tmp_path / "still.png"), (START, OTHER_START), (END, OTHER_END), strict=True
    ):
        grey = cv2.cvtColor(panel, cv2.COLOR_BGR2GRAY).astype(np.float32)
        for marker in CAR.markers:
            quad = by_hand(marker.corners(), end, start, plain).astype(np.float32)
            printed = np.full((360, 360), 255, np.uint8)
            printed[20:340, 20:340] = family.generateImageMarker(marker.id, 320)
            square = np.array([[19.5, 19.5], [339.5, 19.5], [339.5, 339.5], [19.5, 339.5]], np.float32)
            laid = cv2.warpPerspective(printed, cv2.getPerspectiveTransform(square, quad), panel.shape[1::-1])
            middle, half = quad.mean(axis=0), float(np.ptp(quad[:, 0])) * 0.42
            low, high = np.floor(middle - half).astype(int), np.ceil(middle + half).astype(int)
            pieces = [
                cv2.GaussianBlur(p.astype(np.float32), (0, 0), 1.5)[low[1] : high[1], low[0] : high[0]]
                for p in (grey, laid)
            ]
            window = cv2.createHanningWindow(pieces[0].shape[::-1], cv2.CV_32F)
            shift, response = cv2.phaseCorrelate(pieces[0], pieces[1], window)
            assert response > 0.3
            assert np.hypot(shift[0], shift[1]) < 1.0, (marker.id, shift)


def middle_of(colour: FloatArray, panel: BgrImage, where: FloatArray, across: FloatArray) -> float:
    """How far, px, the middle of a line of a colour lies from a point, along the direction `across`."""
    steps = np.arange(-8.0, 8.01, 0.25)
    at = where + steps[:, None] * across
    sampled = cv2.remap(panel, at[None, :, 0].astype(np.float32), at[None, :, 1].astype(np.float32), cv2.INTER_LINEAR)
    weight = np.clip(60.0 - np.abs(sampled[0].astype(float) - colour).max(axis=-1), 0.0, None)
    assert weight.sum() > 0
    return float((weight * steps).sum() / weight.sum())


def test_outlines_and_balance_line_are_drawn_within_a_pixel_of_the_truth(
    pushes: tuple[PushFromAbove, PushFromAbove], tmp_path: Path
) -> None:
    for panel, start, end in zip(
        still(pushes, tmp_path / "still.png"), (START, OTHER_START), (END, OTHER_END), strict=True
    ):
        for colour, a, b, pose in (
            (YELLOW, OUTLINE[0], OUTLINE[1], end),  # the nose
            (YELLOW, OUTLINE[1], OUTLINE[2], end),  # the right side
            (GREY, OUTLINE[3], OUTLINE[0], start),
            (ORANGE, np.array([0.14, 0.095]), np.array([0.14, -0.095]), end),
        ):
            ends = by_hand(np.array([a, b]), pose, start, pushes)
            along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
            across = np.array([-along[1], along[0]])
            off = [middle_of(colour, panel, ends[0] + s * (ends[1] - ends[0]), across) for s in (0.12, 0.86)]
            assert np.abs(off).max() < 1.0, (colour, off)


def test_both_films_start_together_at_the_onset(pushes: tuple[PushFromAbove, PushFromAbove], tmp_path: Path) -> None:
    # The cars start 0.20 s apart in their clips; in the film both must leave their place in the same picture.
    path = tmp_path / "film.webm"
    shares: list[float] = []
    film_from_above(path, pushes, title="Dunlin", rate=20.0, progress=shares.append)
    with av.open(str(path)) as box:  # an independent demuxer
        assert [stream.type for stream in box.streams] == ["video"]
        assert box.streams.video[0].codec_context.name == "vp8"
        shown = [frame.to_ndarray(format="bgr24").astype(float) for frame in box.decode(video=0)]
    assert shares[-1] == 1.0
    window = common_window(pushes, 360)
    width, height = window.size
    moments = np.arange(-LEAD, 0.3 + 0.8, 0.05)
    assert len(shown) == len(moments)
    for left in (0, width + 6):
        panels = np.array([frame[:height, left : left + width] for frame in shown])
        changed = np.abs(panels - panels[0]).mean(axis=(1, 2, 3))
        first = moments[int(np.argmax(changed > 0.15 * changed.max()))]
        assert 0.0 <= first <= 0.101, (left, first)  # moving at 0.2 m/s: seen in the first or second frame
        settled = np.abs(panels - panels[-1]).mean(axis=(1, 2, 3)) > 0.15 * changed.max()
        assert 0.15 <= moments[len(settled) - int(np.argmax(settled[::-1]))] <= 0.36


def test_a_pixel_shows_the_place_at_its_middle() -> None:
    # By hand: 200 px a metre, so a pixel is 5 mm wide and the middle of the first lies 2.5 mm inside the corner.
    window = Window(low=np.array([-0.02, -0.05]), high=np.array([0.08, 0.01]), scale=200.0)
    shown = window.grid()
    assert shown.shape == (20, 12, 2)
    assert shown[0, 0] == pytest.approx([0.0775, 0.0075])
    assert shown[-1, 3] == pytest.approx([-0.0175, -0.0075])
    assert window.pixel(shown)[7, 4] == pytest.approx([4.0, 7.0])


def test_what_cannot_be_filmed_is_refused(pushes: tuple[PushFromAbove, PushFromAbove], tmp_path: Path) -> None:
    with pytest.raises(InputError, match="webm"):
        film_from_above(tmp_path / "film.mp4", pushes)
    with pytest.raises(InputError, match="no push"):
        film_from_above(tmp_path / "film.webm", ())
    text = tmp_path / "no.avi"
    text.write_text("no clip")
    with pytest.raises(InputError, match="not a clip"):
        film_from_above(tmp_path / "film.webm", [replace(pushes[0], clip=text)])


@pytest.mark.parametrize("longer", [0, 1])
def test_the_film_goes_on_until_the_longer_push_has_ended(
    pushes: tuple[PushFromAbove, PushFromAbove], tmp_path: Path, longer: int
) -> None:
    both = [replace(push, end=push.onset + (0.45 if k == longer else 0.2)) for k, push in enumerate(pushes)]
    film_from_above(tmp_path / "film.webm", both, rate=20.0, panel_height=120)
    with av.open(str(tmp_path / "film.webm")) as box:
        assert len(list(box.decode(video=0))) == len(np.arange(-LEAD, 0.45 + 0.8, 0.05))
