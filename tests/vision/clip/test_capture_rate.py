"""The rate at which a clip was taken, from its file: written by another muxer, and by hand from the specification."""

import struct
from pathlib import Path

import av
import numpy as np
import pytest

from vision.clip.capture_rate import tagged_rate


def clip(path: Path, tags: dict[str, str]) -> Path:
    """Two grey pictures with these metadata, by FFmpeg's muxer."""
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as container:
        container.metadata.update(tags)
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for _ in range(2):
            frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), 90, np.uint8), "bgr24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def box(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", 8 + len(body)) + kind + body


def by_hand(value: bytes, kind: int, *, version: bytes = b"", large: bool = False) -> bytes:
    """A file with a movie box as the specification has it: two keys, the second one the capture rate."""
    keys = box(b"mdta", b"com.android.version") + box(b"mdta", b"com.android.capture.fps")
    items = [(1, b"14", 1), (2, value, kind)]
    values = b"".join(
        box(struct.pack(">I", number), box(b"data", struct.pack(">II", of, 0) + data)) for number, data, of in items
    )
    meta = box(
        b"meta",
        version
        + box(b"hdlr", b"\0" * 8 + b"mdta" + b"\0" * 13)
        + box(b"keys", struct.pack(">II", 0, 2) + keys)
        + box(b"ilst", values),
    )
    pictures = b"\0" * 100
    stored = struct.pack(">I", 1) + b"mdat" + struct.pack(">Q", 16 + len(pictures)) + pictures
    movie = box(b"moov", box(b"mvhd", b"\0" * 100) + meta)
    return box(b"ftyp", b"qt  \0\0\0\0") + (stored if large else box(b"mdat", pictures)) + movie


@pytest.mark.parametrize("name", ["a.mp4", "a.mov"])
def test_a_rate_written_as_text_by_another_muxer(tmp_path: Path, name: str) -> None:
    path = clip(tmp_path / name, {"comment": "120", "com.android.capture.fps": "239.760"})
    assert tagged_rate(path) == pytest.approx(239.76)
    assert tagged_rate(clip(tmp_path / f"plain-{name}", {"comment": "240"})) is None


@pytest.mark.parametrize(
    ("value", "kind", "rate"),
    [
        (struct.pack(">f", 240.0), 23, 240.0),  # big-endian float: as Android writes it
        (struct.pack(">d", 119.88), 24, 119.88),
        (b"960", 1, 960.0),
        (struct.pack(">H", 480), 22, 480.0),
        (struct.pack(">i", -30), 21, None),
        (struct.pack(">f", float("nan")), 23, None),
        (b"fast", 1, None),
        (b"\0\0", 23, None),
        (b"\xff\xd8", 13, None),  # a picture
    ],
)
@pytest.mark.parametrize("version", [b"", b"\0\0\0\0"])  # QuickTime has none there, ISO base media has
def test_values_of_every_type(tmp_path: Path, value: bytes, kind: int, rate: float | None, version: bytes) -> None:
    path = tmp_path / "a.mov"
    path.write_bytes(by_hand(value, kind, version=version, large=version == b""))
    assert tagged_rate(path) == (None if rate is None else pytest.approx(rate))


def test_files_that_say_nothing_or_nonsense(tmp_path: Path) -> None:
    whole = by_hand(struct.pack(">f", 240.0), 23)
    path = tmp_path / "a.mov"
    for cut in range(0, len(whole), 7):
        path.write_bytes(whole[:cut])
        assert tagged_rate(path) is None
    path.write_bytes(b"RIFF" + whole[4:])
    assert tagged_rate(path) is None
    rng = np.random.default_rng(2)
    for _ in range(200):
        spoilt = bytearray(whole)
        for place in rng.integers(0, len(whole), 3):
            spoilt[place] ^= int(rng.integers(1, 256))
        path.write_bytes(bytes(spoilt))
        found = tagged_rate(path)
        assert found is None or 0 < found <= 10_000
