"""The bench page under load: live loads with a camera stream, many windows, buttons, phones, memory, first load.

Eight windows of one browser (a browser opens six connections to a host at the most) stay open throughout, and while
they draw, buttons are pressed in all of them in turn and thirty phones of a class answer through one address. A button
has answered when what it stands for is seen to have changed. A phone was served when it got its page with everything
in it, the news that something is asked, and the thanks for its answer. At the end a push is filmed (a clip that plays
at its own pace through the camera's opener) with all windows open and this process held to one core: the live push is
timed from the picture's arrival to the animation frame in which the page drew it with outline, trail and figure on it.

Measured in a headless Chromium on the same machine, so that its clock is the server's: latency is from the moment the
pads' line had been read to the animation frame in which the page drew it. The baseline is a page that asks again and
again in place of listening: a loop of fetch and setTimeout, meant to go round 18 times a second, that takes the newest
batch of loads, from the same running server, in the same run.

    python -m tests.benchmarks.page [--quick]

Last line: one JSON object.
"""

import argparse
import contextlib
import gc
import http.cookiejar
import json
import os
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as rig.main does, before numpy comes
import cv2
import numpy as np

from rig.camera.source import TimedPicture
from rig.jobs.pushing.live_push import LivePush, ready_to_speak
from rig.page.bench.bench import Bench
from rig.page.classroom.question import Asked
from rig.page.live.broadcast import Broadcast
from rig.page.live.camera_view import CameraView
from rig.page.server.phones import SEEN_BY_PHONES
from rig.page.server.serve import Serving
from rig.virtual.pads import VirtualPads
from tests.faults.played_camera import PlayedClip
from tests.page.browser import chromium, until

WINDOWS = 8
PHONES = 30
STATES = """() => {
  const box = document.getElementById('live-push'), seen = (window.benchStates = []);
  new MutationObserver(() => seen.push(box.dataset.state)).observe(box, {attributeFilter: ['data-state']});
}"""
PRESSED = """() => new Promise((done) => {
  const button = document.getElementById('place'), before = button.textContent, began = performance.now();
  const give = setTimeout(() => done(null), 10000);
  new MutationObserver((_, watching) => {
    if (button.textContent === before) return;
    watching.disconnect();
    clearTimeout(give);
    requestAnimationFrame(() => done(performance.now() - began));
  }).observe(button, {childList: true, characterData: true, subtree: true});
  button.click();
})"""
POLLING = """(ms) => new Promise((done) => {
  const times = [], end = performance.now() + ms;
  const ask = async () => {
    const over = new AbortController();
    const reader = (await fetch('/events', {signal: over.signal})).body.getReader();
    let text = '', at = null;
    while (at === null) {
      text += new TextDecoder().decode((await reader.read()).value);
      const found = text.match(/event: pads\\ndata: .*?"at_ms":([0-9.]+)/);
      if (found) at = Number(found[1]);
    }
    over.abort();
    requestAnimationFrame(() => {
      times.push(performance.timeOrigin + performance.now() - at);
      if (performance.now() < end) setTimeout(ask, 1000 / 18); else done(times);
    });
  };
  ask();
})"""


class Pictures:
    """A camera that shows a bench in soft light, with the grain of a sensor, at 30 pictures a second."""

    def __init__(self) -> None:
        rng = np.random.default_rng(0)
        light = np.linspace(60, 200, 1280)[None, :, None] + np.linspace(0, 40, 720)[:, None, None]
        self._pictures = [(light + rng.normal(0, 3, (720, 1280, 3))).clip(0, 255).astype(np.uint8) for _ in range(4)]
        self._number = 0
        self._due = time.monotonic()

    def isOpened(self) -> bool:  # noqa: N802
        """As cv2's."""
        return True

    def read(self) -> tuple[bool, Any]:
        """The next picture, when it is due."""
        self._due = max(self._due + 1 / 30, time.monotonic() - 0.1)
        time.sleep(max(0.0, self._due - time.monotonic()))
        self._number += 1
        return True, self._pictures[self._number % len(self._pictures)]

    def get(self, which: int) -> float:
        """Width, height, rate."""
        return {3: 1280.0, 4: 720.0, 5: 30.0}.get(which, 0.0)

    def set(self, *_: object) -> bool:
        """Takes everything."""
        return True

    def release(self) -> None:
        """Nothing to let go."""


class Phone(threading.Thread):
    """A phone of the class: it loads the page, listens for news, answers, and goes on listening."""

    def __init__(self, address: str, code: str, over: threading.Event) -> None:
        super().__init__(daemon=True)
        self._address, self._code, self._over = address, code, over
        self.served_ms: float | None = None
        self.trouble = ""

    def run(self) -> None:
        """Never raises: what went wrong is told."""
        cookies = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        ask = urllib.request.build_opener(cookies).open
        began = time.monotonic()
        try:
            for path in ("", *(f"static/{name}" for name in SEEN_BY_PHONES if name != "phone.html")):
                ask(self._address + path, timeout=20).read()
            news = ask(self._address + "news", timeout=20)
            while not news.readline().startswith(b"event: hello"):
                pass
            asked = json.loads(ask(self._address + "now", timeout=20).read())
            answer = {"code": self._code, "question": asked["number"], "station_pct": 40.0}
            told = json.loads(ask(self._address + "guess", json.dumps(answer).encode(), timeout=20).read())
            if "on the board" in told["said"]:
                self.served_ms = 1000 * (time.monotonic() - began)
            while not self._over.is_set() and news.readline():
                pass
        except (OSError, ValueError, KeyError) as error:
            self.trouble = str(error)


def live_push(bench: Bench, page: Any, folder: Path) -> dict[str, Any]:
    """Film a push that a clip plays, and time what the page draws of it, ms."""
    bench.work.stop()
    bench.work.wait(20.0)
    virtual = bench.virtual
    assert virtual is not None
    bench.save_card("test", {"push.position_pct": 50.0, "push.distance_mm": 60.0, "push.speed_mm_s": 30.0})
    bench.on_pads.weigh_typed([float(one) for one in virtual.truth().corner_g.round(1)], 0.1)
    clip = virtual.film(bench.cards(), folder / "rendered", lambda share: None)
    bench.camera_opener = lambda device: PlayedClip(clip)
    along = bench.pushes.along(bench.cards())  # as after a first push of the day: the second one waits for nothing
    while not along.ready:
        time.sleep(0.05)
    page.bring_to_front()
    page.evaluate("window.benchLive.splice(0)")
    cores = os.sched_getaffinity(0)
    page.evaluate(STATES)  # by the page itself: to ask for it again and again would take a share of the core
    with held_to({min(cores)}, cores):
        bench.pushes.film()
        end = time.monotonic() + 60.0
        while bench.work.busy and time.monotonic() < end:
            page.wait_for_timeout(300)
        states = page.evaluate("window.benchStates")
        times = page.evaluate("window.benchLive.splice(0)")
    return {
        "live_push_ms_median": float(np.median(times)),
        "live_push_ms_p95": float(np.quantile(times, 0.95)),
        "live_push_pictures": len(times),
        "live_push_spoke": "said" in states,
        "live_push_was_late": "late" in states,
        "live_push_work_ms_p95": live_work_ms(bench, clip),
        "live_push_cores": 1,
    }


def live_work_ms(bench: Bench, clip: Path) -> float:
    """Processor time, ms, p95, from a picture of this push to its packed drawing, whatever else the machine does."""
    cards, weighing, view = bench.cards(), bench.need_weights(), CameraView(Broadcast())
    live = LivePush(cards, weighing, ready_to_speak(cards, weighing), show=view.show)
    played, spent = cv2.VideoCapture(str(clip)), []
    while (read := played.read())[0]:
        began, stamp = time.thread_time(), float(played.get(cv2.CAP_PROP_POS_MSEC)) / 1000 + 1.0
        shot = TimedPicture(number=len(spent), time=time.monotonic(), device_time=stamp, picture=read[1])
        view.take(read[1])
        view.show(live.take(shot))
        view.picture()
        spent.append(1000 * (time.thread_time() - began))
    return float(np.quantile(spent[20:], 0.95))


@contextlib.contextmanager
def held_to(few: set[int], all_of_them: set[int]) -> Iterator[None]:
    """This process and all its threads on a few cores, while it lasts; those that start meanwhile come after them."""

    def put(cores: set[int]) -> None:
        for task in Path("/proc/self/task").iterdir():
            with contextlib.suppress(OSError):  # it has ended
                os.sched_setaffinity(int(task.name), cores)

    put(few)
    try:
        yield
    finally:
        put(all_of_them)


def memory_mb() -> float:
    """Resident memory of this process, MB."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="20 s in place of 10 minutes")
    seconds = 20.0 if parser.parse_args().quick else 600.0
    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        serving = Serving(Path(place), port=0, time_factor=1.0, phone_host="127.0.0.1")
        serving.start()
        bench = serving.bench
        bench.camera_opener = lambda device: Pictures()
        bench.switch_virtual(True)
        while bench.work.busy:
            time.sleep(0.1)
        bench.on_pads.zero()
        while bench.work.busy:
            time.sleep(0.1)
        bench.on_pads.weigh_typed([400.0] * 4, 1.0)
        context = browser.new_context()
        pages = [context.new_page() for _ in range(WINDOWS)]
        for page in pages:
            page.goto(serving.url)
            until(page, "window.benchReady")
        first = pages[0]
        first_load = first.evaluate(
            "performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation'))"
            ".filter((one) => !/events|camera/.test(one.name)).reduce((sum, one) => sum + one.encodedBodySize, 0)"
        )
        ready_ms = float(first.evaluate("window.benchReady"))
        bench.pushes.film()
        time.sleep(3.0)
        reader = bench.hub._pads.source  # type: ignore[union-attr]
        before, began, memory = reader.tally, time.monotonic(), memory_mb()
        heaps = [page.evaluate("performance.memory.usedJSHeapSize") for page in pages]
        latencies: list[float] = []
        others: list[float] = []
        buttons: list[float | None] = []
        draws, looked_s = 0, 0.0
        over, phones = threading.Event(), list[Phone]()
        while time.monotonic() - began < seconds:
            if not phones:
                serving.page.phones.switch(True)
                opened = serving.page.classroom.phones
                assert opened is not None
                phones = [Phone(opened["address"], opened["code"], over) for _ in range(PHONES)]
                for phone in phones:
                    phone.start()
            for page in pages:  # a browser draws in the window that is looked at
                page.bring_to_front()
                page.wait_for_timeout(200)
                page.evaluate("window.benchTimes.splice(0)")
                drawn, looked = page.evaluate("window.benchDrawn"), time.monotonic()
                buttons.append(page.evaluate(PRESSED))
                page.wait_for_timeout(1000)
                draws += page.evaluate("window.benchDrawn") - drawn
                looked_s += time.monotonic() - looked
                (latencies if page is first else others).extend(page.evaluate("window.benchTimes.splice(0)"))
            print(f"{time.monotonic() - began:6.0f} s  median {np.median(latencies):.1f} ms", file=sys.stderr)
        spent = time.monotonic() - began
        after = reader.tally
        updates = draws / looked_s
        growth = memory_mb() - memory
        heap_growth = max(
            (page.evaluate("performance.memory.usedJSHeapSize") - heap) / 1e6
            for page, heap in zip(pages, heaps, strict=True)
        )
        assert isinstance(bench.virtual.pads, VirtualPads)  # type: ignore[union-attr]
        streams = bench.broadcast.listeners
        answered = serving.page.classroom.question.hands(Asked.FIRST)
        over.set()
        live = live_push(bench, first, Path(place))
        first.bring_to_front()
        polled = first.evaluate(POLLING, 5000)
        result = {
            "latency_ms_median": float(np.median(latencies)),
            "latency_ms_p95": float(np.quantile(latencies, 0.95)),
            "other_windows_latency_ms_p95": float(np.quantile(others, 0.95)),
            "streams": streams,
            "buttons": len(buttons),
            "buttons_without_answer": buttons.count(None),
            "button_ms_p95": float(np.quantile([one for one in buttons if one is not None], 0.95)),
            **live,
            "phones": PHONES,
            "phones_served": sum(phone.served_ms is not None for phone in phones),
            "phones_answers_counted": answered,
            "phone_served_ms_slowest": max((p.served_ms for p in phones if p.served_ms is not None), default=None),
            "updates_per_s": updates,
            "first_load_kb": first_load / 1000,
            "ready_ms": ready_ms,
            "memory_growth_mb": growth,
            "browser_heap_growth_mb": heap_growth,
            "readings": after.intact - before.intact,
            "readings_lost": after.lost + after.overflowed - before.lost - before.overflowed,
            "windows": WINDOWS,
            "seconds": spent,
            "load_average": os.getloadavg()[0],
            "baseline": {
                "name": "asking again and again",
                "latency_ms_median": float(np.median(polled)),
                "updates_per_s": len(polled) / 5.0,
            },
        }
        bench.work.stop()
        serving.stop()
    print(json.dumps(result))


if __name__ == "__main__":
    main()
