"""A file's tagged rate against the pictures it holds: slow motion, or a camera that took fewer than it aimed at.

Clips written by another muxer (FFmpeg, by PyAV), with the moments dictated here; factors by hand.
"""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from rig.base.errors import InputError
from rig.cards.keys.test import TestCard
from rig.jobs.measuring.clip_times import clip_times, hardly_by_hand

EVEN_30 = np.arange(40) * 1000 / 30
EVEN_100 = np.arange(40) * 1000 / 100
EVEN_24 = np.arange(40) * 1000 / 24
HALF_30_HALF_15 = np.concatenate([np.arange(30) * 1000 / 30, 1000 + np.arange(15) * 1000 / 15])


def clip(path: Path, moments_ms: np.ndarray, tag: str) -> Path:
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as container:
        container.metadata["com.android.capture.fps"] = tag
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 1000)
        for moment in moments_ms:
            frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), 90, np.uint8), "bgr24")
            frame.pts, frame.time_base = round(moment), Fraction(1, 1000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def card(rate: float | None = None) -> TestCard:
    return TestCard(card="test", name="Dunlin", captured_frames_per_s=rate)


@pytest.mark.parametrize(
    ("moments", "tag", "slower", "known", "doubtful"),
    [
        (EVEN_30, "30.000000", 1.0, True, False),
        (EVEN_24, "30.000000", 1.0, False, False),  # dim light: the file's times are the true ones
        (HALF_30_HALF_15, "30.000000", 1.0, False, False),
        (EVEN_30, "60.000000", 1.0, False, True),  # half of 60: dim light or slow motion, nobody can tell
        (EVEN_100, "120.000000", 1.0, False, False),
        (EVEN_30, "120.000000", 4.0, True, False),
        (EVEN_30, "240.000000", 8.0, True, False),
    ],
)
def test_a_tag_is_slow_motion_only_where_it_can_be_nothing_else(
    tmp_path: Path, moments: np.ndarray, tag: str, slower: float, known: bool, doubtful: bool
) -> None:
    times = clip_times(clip(tmp_path / "a.mp4", moments, tag), card())
    assert times.slower == pytest.approx(slower, rel=0.03)  # the muxer's own rounding of the last picture
    assert times.known == known
    assert ("dim light" in times.note) == (not known)
    assert ("slow motion?" in hardly_by_hand(100.0, times)) == doubtful


def test_the_card_settles_a_doubtful_tag_either_way_and_contradicts_no_clear_one(tmp_path: Path) -> None:
    doubtful = clip(tmp_path / "a.mp4", EVEN_30, "60.0")
    for rate, slower in ((30.0, 1.0), (60.0, 2.0)):
        times = clip_times(doubtful, card(rate))
        assert times.slower == pytest.approx(slower, rel=0.03)
        assert times.known
        assert not hardly_by_hand(100.0, times)
    with pytest.raises(InputError, match="the clip's file says that it was taken at 60"):
        clip_times(doubtful, card(90.0))
    with pytest.raises(InputError, match="the clip's file says that it was taken at 240"):
        clip_times(clip(tmp_path / "b.mp4", EVEN_30, "240.0"), card(30.0))
