"""Frames against an independent demuxer (PyAV), and every kind of file that is no clip."""

import struct
import threading
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from vision.base.errors import InputError
from vision.clip.frames import FrameReader, container_cut

WIDTH, HEIGHT = 160, 90


def picture(k: int) -> np.ndarray:
    image = np.full((HEIGHT, WIDTH, 3), 40, np.uint8)
    image[70:] = np.random.default_rng(k).integers(0, 255, (HEIGHT - 70, WIDTH, 3))  # something to code in every frame
    image[20:60, 10 + 2 * k : 40 + 2 * k] = 200
    return image


def write(
    path: Path,
    pts: list[int],
    *,
    codec: str = "libx264",
    rate: int = 1000,
    shown: list[int] | None = None,
    options: dict[str, str] | None = None,
    pixel: Fraction | None = None,
) -> Path:
    """A clip whose frame k is presented at pts[k] / rate seconds and shows picture shown[k]. pixel: its shape."""
    with av.open(str(path), "w", options=options or {}) as container:
        stream = container.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        stream.codec_context.time_base = Fraction(1, rate)
        if pixel is not None:
            stream.codec_context.sample_aspect_ratio = pixel
        for k, at in enumerate(pts):
            frame = av.VideoFrame.from_ndarray(picture(k if shown is None else shown[k]), "bgr24")
            frame.pts = at
            for packet in stream.encode(frame):
                container.mux(packet)
        for packet in stream.encode(None):
            container.mux(packet)
    return path


def times_of(path: Path) -> list[float]:
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        start = stream.start_time or 0
        return [float((frame.pts - start) * stream.time_base) for frame in container.decode(stream)]


VARYING = np.cumsum([0, 33, 34, 33, 21, 60, 33, 12, 90, 33, 33, 34, 200, 33, 34, 33, 17, 17, 33, 40]).tolist()


@pytest.mark.parametrize("name", ["a.mp4", "a.mkv"])
@pytest.mark.parametrize("threads", [1, 2])
def test_times_of_a_variable_rate_clip_agree_with_another_demuxer(tmp_path: Path, name: str, threads: int) -> None:
    path = write(tmp_path / name, VARYING)
    with FrameReader(path, threads=threads) as reader:
        frames = list(reader)
    theirs = times_of(path)
    assert len(frames) == len(theirs) == len(VARYING)
    np.testing.assert_allclose([frame.time for frame in frames], theirs, rtol=0, atol=0.0006)  # the container's ms
    assert reader.report.cut == ""
    assert reader.report.longest_gap == pytest.approx(0.2, abs=0.001)
    assert reader.report.dropped >= 5  # 200 ms in a clip of 33 ms


def test_the_grey_picture_is_the_luma_plane(tmp_path: Path) -> None:
    """Against PyAV's own luma of the same file: equal samples, whatever the reader converts."""
    path = write(tmp_path / "a.mp4", [0, 33, 67])
    with FrameReader(path) as reader:
        ours = [frame.grey for frame in reader]
    with av.open(str(path)) as container:
        theirs = [frame.to_ndarray(format="yuv420p")[:HEIGHT] for frame in container.decode(video=0)]
    for a, b in zip(ours, theirs, strict=True):
        np.testing.assert_array_equal(a, b)


@pytest.mark.parametrize(
    ("name", "codec", "pixels"),
    [
        ("a.mp4", "libx265", "yuv420p10le"),  # HEVC Main 10, as phones record HDR
        ("a.mp4", "libx264", "yuv420p10le"),  # H.264 High 10
        ("a.mov", "prores_ks", "yuv422p10le"),
        ("a.mkv", "ffv1", "bgr0"),
        ("a.mkv", "ffv1", "gray16le"),
        ("a.mp4", "libx264", "yuvj420p"),
    ],
)
def test_pictures_of_any_depth_and_order_come_as_eight_bit_grey(
    tmp_path: Path, name: str, codec: str, pixels: str
) -> None:
    """Against the picture that was coded: luma of BT.601 grey, within what codecs and ranges do to flat areas."""
    path = tmp_path / name
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=30)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, pixels
        stream.options = {"x265-params": "log-level=none"} if codec == "libx265" else {}
        for k in range(4):
            frame = av.VideoFrame.from_ndarray(picture(k), "bgr24").reformat(format=pixels)
            for packet in [*stream.encode(frame), *(stream.encode() if k == 3 else [])]:
                container.mux(packet)
    with FrameReader(path) as reader:
        greys = [frame.grey for frame in reader]
    assert len(greys) == 4
    assert all(grey.dtype == np.uint8 and grey.shape == (HEIGHT, WIDTH) for grey in greys)
    for k, grey in enumerate(greys):  # limited range stays as the file has it: 16 to 235
        bright, dark = grey[30:50, 15 + 2 * k : 35 + 2 * k].astype(float), grey[4:16].astype(float)
        assert np.median(bright) == pytest.approx(200, abs=14)
        assert np.median(dark) == pytest.approx(40, abs=14)
        assert bright.std() < 6
        assert dark.std() < 6


def test_the_shape_of_pixels_comes_from_the_files_tag(tmp_path: Path) -> None:
    for pixel, shape in ((None, 1.0), (Fraction(4, 3), 4 / 3)):
        with FrameReader(write(tmp_path / f"{shape:.2f}.mkv", [0, 33, 66], pixel=pixel)) as reader:
            assert sum(1 for _ in reader) == 3
            assert reader.report.pixel_shape == pytest.approx(shape)


def test_pictures_sent_twice_are_marked(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mkv", [33 * k for k in range(8)], codec="ffv1", shown=[0, 1, 1, 2, 3, 4, 4, 5])
    with FrameReader(path) as reader:
        assert [frame.repeated for frame in reader] == [False, False, True, False, False, False, True, False]
    assert reader.report.repeated == 2


@pytest.mark.parametrize("name", ["a.mp4", "a.avi"])
def test_a_clip_cut_in_the_middle_is_noticed(tmp_path: Path, name: str) -> None:
    """The reader itself ends as if all were well."""
    codec = "mjpeg" if name.endswith("avi") else "libx264"
    if codec == "mjpeg":
        writer = cv2.VideoWriter(str(tmp_path / name), cv2.VideoWriter.fourcc(*"MJPG"), 30, (WIDTH, HEIGHT))
        for k in range(40):
            writer.write(picture(k))
        writer.release()
        whole = tmp_path / name
    else:
        whole = write(tmp_path / name, [33 * k for k in range(40)], options={"movflags": "faststart"})
    assert container_cut(whole) == ""
    cut = tmp_path / f"cut_{name}"
    cut.write_bytes(whole.read_bytes()[: int(0.6 * whole.stat().st_size)])
    with FrameReader(cut) as reader:
        count = sum(1 for _ in reader)
    assert 0 < count < 40
    assert reader.report.cut


def test_a_clip_without_its_index_says_so(tmp_path: Path) -> None:
    whole = write(tmp_path / "a.mp4", [33 * k for k in range(40)])  # the index comes last
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    with pytest.raises(InputError, match="does not open: the file ends"):
        FrameReader(cut)


def test_a_phone_clip_on_its_side_comes_upright(tmp_path: Path) -> None:
    """The track header's matrix (ISO/IEC 14496-12) written for a quarter turn clockwise."""
    path = write(tmp_path / "a.mp4", [0, 33, 67])
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4 + 40  # version 0: 40 bytes of flags, times, ids, layer, volume
    assert struct.unpack(">9i", data[at : at + 36]) == (65536, 0, 0, 0, 65536, 0, 0, 0, 1 << 30)
    data[at : at + 36] = struct.pack(">9i", 0, 65536, 0, -65536, 0, 0, HEIGHT << 16, 0, 1 << 30)
    turned = tmp_path / "turned.mp4"
    turned.write_bytes(data)
    with FrameReader(path) as reader:
        upright = next(iter(reader)).grey
    with FrameReader(turned) as reader:
        frames = list(reader)
    assert reader.report.size == (HEIGHT, WIDTH)
    np.testing.assert_array_equal(frames[0].grey, np.rot90(upright, -1))


def no_file(folder: Path) -> Path:
    return folder / "absent.mp4"


def a_folder(folder: Path) -> Path:
    return folder


def nothing(folder: Path) -> Path:
    (folder / "empty.mp4").write_bytes(b"")
    return folder / "empty.mp4"


def some_text(folder: Path) -> Path:
    (folder / "notes.mp4").write_text("push 3: rear wheels blocked\n" * 50)
    return folder / "notes.mp4"


def a_picture(folder: Path) -> Path:
    cv2.imwrite(str(folder / "still.png"), picture(1))
    return folder / "still.png"


def a_photo_with_a_clips_name(folder: Path) -> Path:
    cv2.imwrite(str(folder / "still.jpg"), picture(1))
    return (folder / "still.jpg").rename(folder / "still.mp4")


def only_sound(folder: Path) -> Path:
    path = folder / "sound.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=44100)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        frame.sample_rate, frame.pts = 44100, 0
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)
    return path


def unknown_codec(folder: Path) -> Path:
    path = write(folder / "odd.mp4", [0, 33, 67])
    odd = folder / "odd2.mp4"
    odd.write_bytes(path.read_bytes().replace(b"avc1", b"zzz9").replace(b"avcC", b"zzzC"))
    return odd


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (no_file, "no such file"),
        (a_folder, "folder, not a clip"),
        (nothing, "empty"),
        (some_text, "does not open"),
        (a_picture, "picture, not a clip"),
        (a_photo_with_a_clips_name, "picture, not a clip"),
        (only_sound, "does not open"),
        (unknown_codec, "codec|decoded"),
    ],
)
def test_what_is_no_clip_is_refused_in_words(tmp_path: Path, make: object, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught, FrameReader(make(tmp_path)) as reader:  # type: ignore[operator]
        list(reader)
    assert caught.value.remedy
    assert caught.value.exit_code == 2


def test_stopping_early_leaves_no_thread(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4", [33 * k for k in range(60)])
    before = threading.active_count()
    with FrameReader(path, threads=2) as reader:
        next(iter(reader))
    assert threading.active_count() == before


def test_the_library_speaks_again_after_reading(tmp_path: Path) -> None:
    level = cv2.utils.logging.getLogLevel()
    with FrameReader(write(tmp_path / "a.mp4", [0, 33])) as reader:
        list(reader)
    assert cv2.utils.logging.getLogLevel() == level


def test_the_length_in_the_header_tells_cut_files_from_unfinished_ones(tmp_path: Path) -> None:
    """RIFF (Multimedia Programming Interface 1.0): bytes 4 to 7 hold the length of all that follows them."""
    for length, size, words in ((1000, 1008, ""), (1000, 908, "100 bytes early"), (0xFFFFFFFF, 908, "never finished")):
        clip = tmp_path / f"{length}-{size}.avi"
        clip.write_bytes((b"RIFF" + length.to_bytes(4, "little") + b"AVI ").ljust(size, b"\0"))
        assert words in container_cut(clip)
        assert bool(container_cut(clip)) == bool(words)
