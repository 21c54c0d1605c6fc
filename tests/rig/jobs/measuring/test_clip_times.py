"""A file's tagged rate against the pictures it holds: slow motion, or a camera that took fewer than it aimed at.

Clips written by another muxer (FFmpeg, by PyAV), with the moments dictated here; factors by hand.
"""

import json
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import av
import numpy as np
import pytest

from rig.base.errors import InputError
from rig.cards.keys.test import TestCard
from rig.jobs.measuring import clip_times as module
from rig.jobs.measuring.clip_times import ClipTimes, clip_times, first_picture, hardly_by_hand, with_noted_times

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


def read(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, *, stored: float, tag: float | None, typed: float | None
) -> ClipTimes:
    """Of a clip that plays `stored` pictures a second, tagged so, with a card that says so."""
    monkeypatch.setattr(module, "stored_rate", lambda clip: stored)
    monkeypatch.setattr(module, "tagged_rate", lambda clip: tag)
    (tmp_path / "clip.mp4").write_bytes(b"")
    return clip_times(tmp_path / "clip.mp4", card(typed))


def test_what_is_told_of_a_clips_rate(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Each sentence with its own figures: 240 stored as 29.97 is 8.008 times slower; 60 as 29.97 twice, perhaps."""

    def told(stored: float, tag: float | None, typed: float | None) -> ClipTimes:
        return read(monkeypatch, tmp_path, stored=stored, tag=tag, typed=typed)

    for tag, typed, source in ((240.0, None, "the clip's file"), (None, 240.0, "the test card")):
        assert told(29.97, tag, typed) == ClipTimes(
            slower=pytest.approx(240 / 29.97),
            known=True,
            note=f"Taken at 240 pictures a second and stored to be played at 29.97, by {source}: all times are 8.01 "
            "times shorter than the player shows.",
        )
    named = "The clip's file names 60 pictures a second and holds 29.97"
    doubtful = told(29.97, 60.0, None)
    assert doubtful == ClipTimes(
        slower=1.0,
        known=False,
        note=f"{named}, as cameras do in dim light: times are the file's own.",
        doubt=f"{named}: dim light, or slow motion? Speeds hang on it by a factor of 2. Write captured_frames_per_s on "
        "the test card: 60 for slow motion, 29.97 for a clip that plays as it happened",
    )
    assert hardly_by_hand(500.0, doubtful) == doubtful.doubt
    assert told(24.0, 30.0, None).doubt == ""
    unknown = told(25.0, None, None)
    assert (unknown.known, unknown.note[:55]) == (False, "Times are the file's own (25 pictures a second). Was it")
    assert "never moved faster than 9.9 mm/s" in hardly_by_hand(9.9, unknown)
    assert hardly_by_hand(10.0, unknown) == ""
    assert hardly_by_hand(9.9, told(30.0, None, 30.0)) == ""
    with pytest.raises(InputError, match=r"the card says 120 pictures a second, .* was taken at 240"):
        told(30.0, 240.0, 120.0)
    with pytest.raises(InputError, match="25 pictures a second, but the file plays 30: too near"):
        told(30.0, None, 25.0)


def test_a_time_lapse_is_one_where_a_clip_can_be_one(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """5 pictures a second stored as 25: by hand, what the player shows in one second took five."""

    def told(stored: float, tag: float | None, typed: float | None) -> ClipTimes:
        return read(monkeypatch, tmp_path, stored=stored, tag=tag, typed=typed)

    lapse = told(25.0, None, 5.0)
    assert (lapse.slower, lapse.known) == (pytest.approx(0.2), True)
    assert lapse.note.endswith("by the test card: a time lapse, all times are 5 times longer than the player shows.")
    assert told(30.0, 10.0, None).note.endswith(
        "file: a time lapse, all times are 3 times longer than the player shows."
    )
    assert "captured_frames_per_s on the test card the rate" in hardly_by_hand(9.9, lapse)
    assert hardly_by_hand(10.0, lapse) == ""
    for stored, typed, why in ((30.0, 24.0, "too near"), (58.0, 30.0, None), (56.0, 30.0, "near"), (240.0, 30.0, "60")):
        if why is None:
            assert told(stored, None, typed).slower == pytest.approx(typed / stored)
            continue
        with pytest.raises(InputError, match=f"{typed:g} pictures a second, but the file plays {stored:g}: .*{why}"):
            told(stored, None, typed)


def test_a_clip_that_shows_pictures_twice_is_no_time_lapse() -> None:
    """Seven steps of a moving car and, among them, copies: three are a fifth of what moved and more, two are not."""
    lapse, played = (ClipTimes(slower=slower, known=True, note="") for slower in (0.5, 1.0))
    way = np.cumsum([0.0, 0, 0, 1, 2, 2, 2, 2, 2, 1, 0, 0])

    def checked(times: ClipTimes, typed: float | None, twice: int, frozen: int) -> None:
        left_out = {"the picture was sent twice": twice, "the picture was frozen, it shows an earlier moment": frozen}
        track: Any = SimpleNamespace(pose=np.outer(way, [1e-3, 0.0, 0.0]), left_out=left_out)
        module.check_copies(times, card(typed), track)

    with pytest.raises(InputError, match=r"15 pictures a second, a time lapse, but the clip shows 3 pictures"):
        checked(lapse, 15.0, 1, 2)
    checked(lapse, 15.0, 1, 1)
    checked(played, 30.0, 5, 5)
    checked(lapse, None, 5, 5)
    # radians are no way: a car at rest whose heading trembles for 13 pictures has gone nowhere in them
    rested = np.r_[np.zeros(12), way]
    turned = SimpleNamespace(
        pose=np.outer(rested, [1e-3, 0.0, 0.0]) + np.outer(np.arange(24) % 2, [0, 0, 0.05]),
        left_out={"the picture was sent twice": 3},
    )
    with pytest.raises(InputError, match="shows 3 pictures"):
        module.check_copies(lapse, card(15.0), turned)  # type: ignore[arg-type]
    way = np.cumsum(np.r_[0.0, np.full(13, 2.0)])  # thirteen steps: three copies are less than a fifth
    checked(lapse, 15.0, 1, 2)


@pytest.mark.parametrize("device", [True, False])
def test_times_that_the_recorder_noted(device: bool, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Stored as if 20 a second; the device's own clock, where it says all moments, goes before the machine's."""
    came, own = [50.0, 50.11, 50.18, 50.3], [7.0, 7.1, 7.21, 7.29]
    pictures = [
        {"time_s": moment, "device_time_s": one if device or place else None}
        for place, (moment, one) in enumerate(zip(came, own, strict=True))
    ]
    (tmp_path / "clip.times.json").write_text(json.dumps({"pictures": pictures}))
    monkeypatch.setattr(module, "stored_rate", lambda clip: 20.0)
    monkeypatch.setattr(module, "replace", lambda found, **new: SimpleNamespace(**(vars(found) | new)))
    view = SimpleNamespace(time=np.array([0.0, 0.1]))
    track: Any = SimpleNamespace(time=np.array([0.05, 0.125]), view=view, frames_read=4, picture_time=None)
    found = with_noted_times(tmp_path / "clip.avi", track)
    true = np.array(own if device else came) - (own if device else came)[0]
    np.testing.assert_allclose(found.picture_time, true)
    np.testing.assert_allclose(found.time, [true[1], (true[2] + true[3]) / 2])
    np.testing.assert_allclose(found.view.time, [0.0, true[2]])
    assert first_picture(tmp_path / "clip.avi") == 50.0
    assert first_picture(tmp_path / "other.avi") is None
    with pytest.raises(InputError, match="4 times for 5 pictures"):
        with_noted_times(tmp_path / "clip.avi", SimpleNamespace(frames_read=5))  # type: ignore[arg-type]
