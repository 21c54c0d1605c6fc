"""The one reader of the pads: it writes the raw log first; the pages and a running job listen to it."""

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.base.errors import AnalysisError
from analysis.weighing.collar_loop import over_target
from rig.base.errors import BenchError
from rig.base.failures import explain
from rig.base.plain_json import Json
from rig.cards.keys.bench import BenchCard
from rig.jobs.weighing.live import LiveLoads
from rig.jobs.weighing.pads import OpenPads, bench_pads
from rig.jobs.weighing.scale import scale_of
from rig.log.store import BenchLog
from rig.pads.frames import PadFrame, PortState
from rig.pads.listeners import PadListener
from rig.page.live.broadcast import Broadcast
from rig.records.weighing import CALIBRATION

BATCH_S = 1.0 / 18.0
RETRY_S = 1.0
UNZEROED = "The empty pads have not been zeroed since their calibration: take everything off and zero them."


class PadHub:
    """Reads the pads of one bench card on a thread of its own until `stop`."""

    def __init__(self, folder: Path, broadcast: Broadcast) -> None:
        self._folder, self._broadcast = folder, broadcast
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._pads: OpenPads | None = None
        self._scale_again = threading.Event()
        self.cross_target_pct = 50.0
        self.newest: Json | None = None
        self._told: Json = {}
        self._say(PortState.NO_PADS)

    def start(self, bench: BenchCard, port: str) -> None:
        """Read this port from now on, instead of the one before."""
        self.stop()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(bench, port, self._stop), name="pad hub", daemon=True)
        self._thread.start()

    def stop(self, why: str = "") -> None:
        """Let go of the port. why: a sentence for people, where there are pads all the same."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5.0)
        self._thread = self._pads = self.newest = None
        self._say(PortState.NO_PADS, why, remedy="Wait for its end" if why else "")

    def scale_changed(self) -> None:
        """There is a new calibration or zero in the log."""
        self._scale_again.set()

    @contextlib.contextmanager
    def lend(self, check: Callable[[], None]) -> Iterator[OpenPads]:
        """The pads for one job. Raises BenchError when they are not open."""
        deadline = time.monotonic() + 3.0
        while (pads := self._pads) is None and time.monotonic() < deadline:
            check()
            time.sleep(0.05)
        if pads is None:
            raise BenchError(
                "the pads are not open", where="pads", remedy="Plug them in, or switch the virtual bench on"
            )
        yield replace(pads, check=check)

    # from here on: in the thread

    def _say(self, state: PortState, sentence: str = "", remedy: str = "", trouble: str = "") -> None:
        news = {
            "state": str(state),
            "sentence": sentence or state.words,
            "remedy": remedy or state.remedy,
            "trouble": trouble,
        }
        if news != self._told:
            self._told = news
            self._broadcast.publish("port", news)

    def _run(self, bench: BenchCard, port: str, stop: threading.Event) -> None:
        while not stop.is_set():
            try:
                heard = PadListener()
                with (
                    BenchLog(self._folder) as log,
                    bench_pads(bench, log, port=port, listener=heard) as pads,
                ):
                    self._pads = pads
                    self._read(bench, pads, heard, log, stop)
            except Exception as error:  # shown in words, tried again: the page must outlive every fault of a port
                self._pads = None
                self._say(PortState.CLOSED, explain(error).text)
                stop.wait(RETRY_S)
        self._pads = None

    def _read(self, bench: BenchCard, pads: OpenPads, heard: PadListener, log: BenchLog, stop: threading.Event) -> None:
        for_view = PadListener()
        view, order, missing = self._view(bench, pads, for_view, log)
        newest: PadFrame | None = None
        while not stop.is_set():
            began = time.monotonic()
            newest = pads.source.wait_newer(newest, 0.3) or newest
            frames = heard.drain()
            for_view.add(frames)
            if self._scale_again.is_set():
                self._scale_again.clear()
                view, order, missing = self._view(bench, pads, for_view, log)
            status, recording = pads.source.status, getattr(pads.source, "recording_error", None)
            trouble = str(recording) if recording is not None else ""
            self._say(status.state, status.sentence, status.remedy, trouble)
            if frames:
                self.newest = self._batch(view, order, frames, missing)
                self._broadcast.publish("pads", self.newest)
            stop.wait(max(0.0, BATCH_S - (time.monotonic() - began)))

    def _view(
        self, bench: BenchCard, pads: OpenPads, heard: PadListener, log: BenchLog
    ) -> tuple[LiveLoads | None, Any, str]:
        try:
            scale = scale_of(bench, log, pads=pads)
        except (BenchError, AnalysisError) as error:
            calibrated = log.latest(CALIBRATION, bench.name) is not None
            return None, None, UNZEROED if calibrated else str(error)
        return LiveLoads(pads, scale, heard=heard), scale.order, ""

    def _batch(self, view: LiveLoads | None, order: Any, frames: list[PadFrame], missing: str) -> Json:
        """One batch: every sample since the last, and the view of the newest. Wall time in ms, for the page's clock."""
        wall = time.time() - time.monotonic()
        news: Json = {"at_ms": 1000.0 * (frames[-1].host_time + wall), "samples": len(frames)}
        if view is None:
            return news | {"missing": missing}
        state = view.state()
        trace = [
            [round(1000.0 * (one.host_time + wall), 1), *np.round(view.load_g(np.array(one.counts))[order], 1).tolist()]
            for one in frames
        ]
        return news | {
            "trace": trace,
            "load_g": state.load_g,
            "noise_g": state.noise_g,
            "share_pct": state.share_pct,
            "settled": all(state.settled),
            "total_g": state.total_g,
            "front_pct": state.front_pct,
            "left_pct": state.left_pct,
            "diagonal_fr_rl_pct": state.cross_pct,
            "cross_over_g": None
            if state.cross_pct is None or state.total_g is None
            else over_target(state.cross_pct, state.total_g, self.cross_target_pct),
            "diagonal_fl_rr_pct": None if state.cross_pct is None else 100.0 - state.cross_pct,
            "faults": state.faults,
            "counts": state.counts,
        }
