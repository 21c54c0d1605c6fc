"""Several windows of one browser, numbers as people type them, and readings that have stopped."""

import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.page.browser import idle, served, until, until_bench, watched


@pytest.mark.thorough
def test_eight_windows_of_one_browser_share_a_stream_and_stay_alive(browser: Any, tmp_path: Path) -> None:
    """A browser opens six connections to a host at the most: with a stream in each window the buttons would be dead."""
    with served(tmp_path) as serving:
        context = browser.new_context()
        windows = [context.new_page() for _ in range(8)]
        wrong = watched(windows[7])
        for number, window in enumerate(windows):
            window.goto(serving.url + ("class" if number == 3 else ""))
        for window in windows:
            until(window, "document.getElementById('link').textContent.startsWith('Connected')", 30)
        assert serving.bench.broadcast.listeners == 1
        last = windows[7]
        until(last, "window.benchReady")
        last.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")

        # boxes: nothing typed is no nought, a comma is a decimal comma, and three digits after it are asked about
        for typed, said in (("", "Nothing is typed"), ("1,234", "decimal one"), ("7x", "no number")):
            for box, grams in zip("0123", (typed, "401", "399", "402"), strict=True):
                last.fill(f"#w{box}", grams)
            last.click("#weigh-typed")
            until(last, f"document.getElementById('trouble').textContent.includes('{said}')")
        assert serving.bench.weighing is None
        last.fill("#w0", "400,5")
        last.click("#weigh-typed")
        until_bench(last, lambda: serving.bench.weighing is not None)
        assert serving.bench.weighing is not None
        assert serving.bench.weighing.weights.load_g.tolist() == [400.5, 401.0, 399.0, 402.0]
        for window in (windows[0], windows[6]):  # also those without a stream of their own
            until(window, "document.getElementById('total').textContent.startsWith('1602')")

        windows[0].close()  # the one that held the stream
        until_bench(last, lambda: serving.bench.broadcast.listeners == 1, 20)
        serving.bench.save_card("car", {"name": "Dunlin after closing"})
        until(last, "document.getElementById('carname').textContent === 'Dunlin after closing'", 20)
        last.fill("#f-push-height_mm", "7,5")
        last.click("#save-card")
        until_bench(last, lambda: serving.bench.cards().test.push.height_mm == 7.5, 20)
        assert wrong == []

        # readings: alive while they come, and called old within a few seconds of their end
        last.click("#virtual")
        idle(last, serving)
        last.click("#zero")
        idle(last, serving)
        until(last, "document.getElementById('live-words').textContent.startsWith('Live:')", 20)
        assert not last.evaluate("document.getElementById('live-words').classList.contains('stale')")
        virtual = serving.bench.virtual
        assert virtual is not None
        virtual.pads.unplug()
        until(last, "document.getElementById('live-words').textContent.startsWith('No reading for')", 20)
        assert last.evaluate("document.querySelector('.loads').classList.contains('stale')")
        virtual.pads.plug_in()
        until(last, "document.getElementById('live-words').textContent.startsWith('Live:')", 30)
        until(last, "!document.querySelector('.loads').classList.contains('stale')", 5)


class Board:
    """A camera that sees a plain board; has what is asked of a capture."""

    def isOpened(self) -> bool:  # noqa: N802
        """As cv2's."""
        return True

    def read(self) -> tuple[bool, Any]:
        """A new picture every 40 ms."""
        time.sleep(0.04)
        return True, np.full((480, 640, 3), 128, dtype=np.uint8)

    def get(self, which: int) -> float:
        """Width, height, rate."""
        return {3: 640.0, 4: 480.0, 5: 25.0}.get(which, 0.0)

    def set(self, *_: object) -> bool:
        """Takes everything."""
        return True

    def release(self) -> None:
        """Nothing to let go."""


@pytest.mark.thorough
def test_stop_answers_while_eight_windows_show_the_camera(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        bench = serving.bench
        bench.camera_opener = lambda device: Board()
        bench.on_pads.weigh_typed([400.0] * 4, 1.0)
        context = browser.new_context()
        windows = [context.new_page() for _ in range(8)]
        for window in windows:
            window.goto(serving.url)
        for window in windows:
            until(window, "window.benchReady && document.getElementById('link').textContent === 'Connected'", 30)
        bench.pushes.film()
        for window in windows:
            window.bring_to_front()
            until(window, "document.getElementById('camera-picture').width > 0", 30)
        last = windows[-1]
        until(last, "!document.getElementById('job-stop').hidden", 20)
        began = time.monotonic()
        last.click("#job-stop", timeout=5000)
        until_bench(last, lambda: not bench.work.busy, 10)
        assert time.monotonic() - began < 5.0
