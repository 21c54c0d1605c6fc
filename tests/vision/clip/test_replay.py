"""A push shown again: each picture belongs to the pose that is given with it, whatever codec the clip has.

Truth: markers found in the packed pictures by OpenCV's detector, and where a rendered car has them by complex numbers
and the lens formula (Brown, OpenCV's handbook); times as another program wrote them into the file.
"""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from tests.vision.clip.filmed import CAR, OUTLINE, SIZE, camera, film
from vision.base.errors import InputError
from vision.base.types import FloatArray
from vision.clip.from_above import PushFromAbove
from vision.clip.replay import replay
from vision.render.camera import RenderCamera

START, END = np.array([-0.13, -0.03, 0.04]), np.array([-0.12, 0.03, -0.08])
EYE = camera(-0.1, -0.95)
MOVES_AT, RATE = 0.25, 20


def stated_ms(picture: int) -> int:
    """Uneven, as a phone writes them."""
    return 50 * picture + 12 * (picture % 3)


def written_again(clip: Path, out: Path, codec: str, form: str) -> None:
    """The same pictures in another codec, at uneven times."""
    with av.open(str(clip)) as source, av.open(str(out), "w") as container:
        stream = container.add_stream(codec, rate=RATE)
        stream.width, stream.height, stream.pix_fmt = *SIZE, form  # type: ignore[attr-defined]
        stream.time_base = Fraction(1, 1000)
        stream.codec_context.time_base = Fraction(1, 1000)
        stream.options = {"x265-params": "log-level=none"} if codec == "libx265" else {}
        for number, frame in enumerate(source.decode(video=0)):
            picture = av.VideoFrame.from_ndarray(frame.to_ndarray(format="bgr24"), format="bgr24")
            picture.pts, picture.time_base = stated_ms(number), Fraction(1, 1000)
            container.mux(stream.encode(picture))  # type: ignore[attr-defined]
        container.mux(stream.encode(None))  # type: ignore[attr-defined]


def seen_by(eye: RenderCamera, flat: complex, height: float) -> FloatArray:
    """(2,) px of a place on the floor at a height, m."""
    x, y, z = eye.rotation @ (np.array([flat.real, flat.imag, height]) - eye.position)
    a, b = x / z, y / z
    k1, k2 = eye.distortion[:2]
    r2 = a * a + b * b
    bent = 1 + k1 * r2 + k2 * r2 * r2
    (fx, _, cx), (_, fy, cy), _ = eye.matrix
    return np.array([fx * a * bent + cx, fy * b * bent + cy])


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> PushFromAbove:
    """A rendered push and its truth."""
    return film(tmp_path_factory.mktemp("replay") / "plain.avi", EYE, MOVES_AT, START, END)


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("ending", "codec", "form"), [(".mp4", "libx265", "yuv420p"), (".mov", "prores_ks", "yuv422p10le")]
)
def test_pictures_and_poses_belong_together_in_codecs_that_browsers_lack(
    filmed: PushFromAbove, tmp_path: Path, ending: str, codec: str, form: str
) -> None:
    pushed, clip = filmed, tmp_path / f"clip{ending}"
    written_again(filmed.clip, clip, codec, form)
    times = np.array([stated_ms(k) / 1000 for k in range(len(pushed.time))])
    # picture 8 was left out of the track; the outline is drawn wider, so that no line crosses a marker
    kept = np.arange(len(times)) != 8
    push = replace(
        pushed,
        clip=clip,
        time=times[kept],
        pose=pushed.pose[kept],
        nose=pushed.nose[kept],
        tail=pushed.tail[kept],
        outline=OUTLINE * [1.2, 2.4],
        balance=None,
    )
    shown = replay(push, widest=480, room=9.0)

    whole = [k for k in range(len(times)) if times[k] <= push.end + 0.6]
    assert shown.time == pytest.approx(times[whole] - push.onset, abs=1e-3)
    assert np.flatnonzero(np.isnan(shown.pose[:, 2])).tolist() == [8]
    finder = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11))
    looked = 0
    for number, packed in enumerate(shown.jpeg):
        picture = cv2.imdecode(np.frombuffer(packed, np.uint8), cv2.IMREAD_GRAYSCALE)
        assert picture is not None
        assert picture.shape == (270, 480)
        if number % 2:  # every other one will do
            continue
        corners, ids, _ = finder.detectMarkers(cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC))
        if number == 8 or ids is None:
            continue
        at = shown.pose[number]
        start = complex(*START[:2]), np.exp(1j * START[2])
        for marker in CAR.markers:
            for quad in (c for c, i in zip(corners, ids.ravel(), strict=True) if i == marker.id):
                in_start = complex(at[0], at[1]) + np.exp(1j * at[2]) * complex(marker.x, marker.y)
                told = seen_by(EYE, start[0] + start[1] * in_start, CAR.height)
                # the picture is half as large, twice enlarged: pixel middles stay where they were
                assert np.hypot(*(quad[0].mean(axis=0) - told)) < 2.0, (number, marker.id)
                looked += 1
    assert looked > 15
    moving = shown.pose[np.isfinite(shown.pose[:, 2])]
    assert np.ptp(moving[:, 1]) * 1050 > 30  # px: a picture too early or too late is ten of them off
    assert moving[-1, 2] == pytest.approx(-0.12)


def test_what_is_shown_of_a_quick_cameras_clip_is_bounded_and_even(filmed: PushFromAbove) -> None:
    shown = replay(filmed, widest=200, most=6)
    assert len(shown.jpeg) == len(shown.time) <= 6
    assert np.diff(shown.time).min() >= 0.1
    # who stands around stays out: of each picture less is shown than of the whole one, at the same scale
    sizes = []
    for room in (0.3, 9.0):
        packed = replay(filmed, widest=2000, most=2, room=room).jpeg[0]
        sizes.append(cv2.imdecode(np.frombuffer(packed, np.uint8), cv2.IMREAD_GRAYSCALE).shape)
    assert sizes[1] == (540, 960)
    assert sizes[0][0] * sizes[0][1] < 0.8 * 540 * 960, sizes
    later = replace(filmed, onset=7.0, end=7.3)
    with pytest.raises(InputError, match="no picture of the push"):
        replay(later)
