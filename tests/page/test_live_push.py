"""A push on the live picture: silent, then the balance so far, then the recorded push says the same.

Truth: the recorded push, measured by another path; a clip plays at its own pace through the camera's opener.
"""

import re
import time
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

from rig.jobs.pushing.live_push import LivePicture
from rig.page.bench.replay import ReplayView
from tests.faults.played_camera import PlayedClip
from tests.page.browser import idle, picture, served, until, until_bench, watched
from tests.page.replayed import in_step

SHORT = {"push.distance_mm": 40.0, "push.speed_mm_s": 45.0, "push.position_pct": 50.0}
WORDS = "document.getElementById('live-push').textContent"


class Slowly(PlayedClip):
    """The same push, three times as slow, and no quicker than its pictures are looked at: a busy machine follows, too.

    shown: numbers of the live pictures so far.
    """

    def __init__(self, clip: Path, shown: list[int]) -> None:
        super().__init__(clip)
        self._shown = shown

    def read(self) -> tuple[bool, np.ndarray | None]:
        """The next picture, when it is due."""
        time.sleep(max(self._start + self._number / 10.0 - time.monotonic(), 0.0))
        given_up = time.monotonic() + 5.0
        while self._shown and len(self._shown) < self._number - self._begun and time.monotonic() < given_up:
            time.sleep(0.01)
        if not self._shown:
            self._begun = self._number
        good, picture = self._clip.read()
        self._number += 1
        self._stamp = self._number * 100.0
        return good, picture

    def get(self, what: int) -> float:
        """Its own rate; the rest is the clip's."""
        return 10.0 if what == cv2.CAP_PROP_FPS else super().get(what)


def in_hevc(clip: Path, out: Path) -> None:
    """The same pictures at the same times in another codec."""
    with av.open(str(clip)) as source, av.open(str(out), "w") as container:
        shown = source.streams.video[0]
        stream = container.add_stream("libx265", rate=shown.average_rate)
        stream.width, stream.height, stream.pix_fmt = shown.width, shown.height, "yuv420p"
        stream.options = {"x265-params": "log-level=none", "crf": "20"}
        for frame in source.decode(shown):
            container.mux(stream.encode(frame.reformat(format="yuv420p")))
        container.mux(stream.encode(None))


@pytest.mark.thorough
def test_a_push_is_spoken_along_and_the_recorded_one_says_the_same(
    browser: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # how late is too late is tried elsewhere, with a clock of its own: this machine may be as busy as it likes
    monkeypatch.setattr("rig.jobs.pushing.live_push.LATE_S", 20.0)
    monkeypatch.setattr("rig.page.live.camera_view.LATE_S", 20.0)
    with served(tmp_path) as serving:
        bench = serving.bench
        page = browser.new_page()
        wrong = watched(page)
        page.goto(serving.url)
        page.click("#virtual")
        idle(page, serving)
        virtual = bench.virtual
        assert virtual is not None
        bench.save_card("test", dict(SHORT))
        bench.on_pads.weigh_typed([float(one) for one in virtual.truth().corner_g.round(1)], 0.1)
        clip = virtual.film(bench.cards(), tmp_path / "rendered", lambda share: None)
        shown, usual = list[int](), bench.view.show

        def show(live: LivePicture) -> None:
            usual(live)
            shown.append(live.number)

        monkeypatch.setattr(bench.view, "show", show)
        bench.camera_opener = lambda device: Slowly(clip, shown)
        along = bench.pushes.along(bench.cards())
        until_bench(page, lambda: along.ready)
        page.evaluate(
            "window.heard = []; const box = document.getElementById('live-push');"
            "new MutationObserver(() => heard.push(box.textContent))"
            ".observe(box, {childList: true, characterData: true, subtree: true})"
        )
        until(page, "!document.getElementById('film').disabled")
        page.click("#film")
        until(page, f"/balance by this push so far: [0-9]/i.test({WORDS})", 60)
        picture(page, "live-push")
        idle(page, serving)
        until_bench(page, lambda: bench.verdict is not None)
        heard = [one for one in page.evaluate("heard") if one]
        assert any("Keep pushing" in one for one in heard)
        figures = [re.search(r"so far: ([\d.]+) ± ([\d.]+) %", one) for one in heard]
        said = [(float(one[1]), float(one[2])) for one in figures if one]
        first = next(k for k, one in enumerate(figures) if one)
        assert all("%" not in one for one in heard[:first])  # silent until something can be said
        answer = bench.verdict.answer
        assert answer is not None
        assert answer.balance is not None
        assert answer.balance.pct is not None
        assert abs(said[-1][0] - answer.balance.pct) < 0.35
        until(page, f"{WORDS} === ''")  # nothing is filmed any more

        # the clip that was filmed plays by itself once it is looked at, beside the car from above
        page.locator("#replay").scroll_into_view_if_needed()
        until(page, "document.getElementById('replay-play').textContent === 'Pause'", 60)
        until(page, "document.getElementById('replay-play').textContent === 'Play'", 60)
        assert page.evaluate("document.getElementById('replay').dataset.picture") == page.get_attribute(
            "#replay-at", "max"
        )
        in_step(page)
        picture(page, "replay-filmed")

        # one that is handed over in a codec that browsers need not play, too
        handed = tmp_path / "handed.mp4"
        in_hevc(clip, handed)
        filmed = bench.verdict.record.number
        page.set_input_files("#clip", handed)
        idle(page, serving)
        until_bench(page, lambda: bench.verdict is not None and bench.verdict.record.number != filmed)
        page.locator("#replay").scroll_into_view_if_needed()
        until(
            page, "document.getElementById('replay').dataset.picture === document.getElementById('replay-at').max", 60
        )
        in_step(page)

        # its pictures are gone: said, and nothing old stands in for them
        known = bench.verdict.record.number
        for kept in (tmp_path / "page" / "clips").glob("upload-*"):
            kept.unlink()
        bench.replay = ReplayView(bench)
        page.reload()
        page.locator("#replay").scroll_into_view_if_needed()
        until(page, "document.getElementById('replay-words').textContent.includes('the clip is no longer there')", 30)
        assert bench.verdict.record.number == known
        wrong = [one for one in wrong if "409" not in one and "400" not in one]
        assert wrong == []
