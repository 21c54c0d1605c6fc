"""The one reader of the pads: it writes the raw log first; the pages and a running job listen to it."""

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from analysis.base.errors import AnalysisError
from rig.base.errors import BenchError
from rig.base.failures import explain
from rig.cards.schema import BenchCard
from rig.jobs.weighing.live import LiveLoads
from rig.jobs.weighing.pads import OpenPads, bench_pads
from rig.jobs.weighing.scale import scale_of
from rig.log.store import BenchLog
from rig.pads.frames import Gap, PadFrame, PortState, Status, Tally
from rig.pads.listeners import LONGEST_QUEUE, PadListener, PadSource
from rig.page.bench.broadcast import Broadcast

BATCH_S = 1.0 / 18.0
RETRY_S = 1.0
UNZEROED = "The empty pads have not been zeroed since their calibration: take everything off and zero them."


class LentPads:
    """The one reader's pads for a running job. A `PadSource`.

    check: called while waiting, so that a stopped job does not wait on.
    """

    def __init__(self, source: PadSource, check: Callable[[], None]) -> None:
        self._source, self._check = source, check

    def listen(self, *, length: int = LONGEST_QUEUE, tell: Callable[[], None] | None = None) -> PadListener:
        """As the reader's."""
        return self._source.listen(length=length, tell=tell)

    def catch_up(self, timeout: float) -> None:
        """As the reader's."""
        self._check()
        self._source.catch_up(timeout)

    def wait_newer(self, than: PadFrame | None, timeout: float) -> PadFrame | None:
        """As the reader's."""
        self._check()
        return self._source.wait_newer(than, timeout)

    @property
    def status(self) -> Status:
        """The port in words."""
        return self._source.status

    @property
    def tally(self) -> Tally:
        """What became of the lines."""
        return self._source.tally

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without a port."""
        return self._source.gaps

    @property
    def latest(self) -> PadFrame | None:
        """The newest frame."""
        return self._source.latest


class PadHub:
    """Reads the pads of one bench card on a thread of its own until `stop`."""

    def __init__(self, folder: Path, broadcast: Broadcast) -> None:
        self._folder, self._broadcast = folder, broadcast
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._pads: OpenPads | None = None
        self._scale_again = threading.Event()
        self._told: dict[str, Any] = {}
        self._say(PortState.NO_PADS)

    def start(self, bench: BenchCard, port: str) -> None:
        """Read this port from now on, instead of the one before."""
        self.stop()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(bench, port, self._stop), name="pad hub", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Let go of the port."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5.0)
        self._thread = self._pads = None
        self._say(PortState.NO_PADS)

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
        yield OpenPads(source=LentPads(pads.source, check), raw_file=pads.raw_file, names=pads.names)

    # from here on: in the thread

    def _say(self, state: PortState, sentence: str = "", remedy: str = "", trouble: str = "") -> None:
        told = {
            "state": str(state),
            "sentence": sentence or state.words,
            "remedy": remedy or state.remedy,
            "trouble": trouble,
        }
        if told != self._told:
            self._told = told
            self._broadcast.publish("port", told)

    def _run(self, bench: BenchCard, port: str, stop: threading.Event) -> None:
        while not stop.is_set():
            try:
                with BenchLog(self._folder) as log, bench_pads(bench, log, port=port) as pads:
                    self._pads = pads
                    self._read(bench, pads, log, stop)
            except Exception as error:  # shown in words, tried again: the page must outlive every fault of a port
                self._pads = None
                self._say(PortState.CLOSED, explain(error).text)
                stop.wait(RETRY_S)
        self._pads = None

    def _read(self, bench: BenchCard, pads: OpenPads, log: BenchLog, stop: threading.Event) -> None:
        heard, for_view = pads.source.listen(), PadListener()
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
                self._broadcast.publish("pads", self._batch(view, order, frames, missing))
            stop.wait(max(0.0, BATCH_S - (time.monotonic() - began)))

    def _view(
        self, bench: BenchCard, pads: OpenPads, heard: PadListener, log: BenchLog
    ) -> tuple[LiveLoads | None, Any, str]:
        try:
            scale = scale_of(bench, log)
        except (BenchError, AnalysisError) as error:
            calibrated = log.latest("calibration", bench.name) is not None
            return None, None, UNZEROED if calibrated else str(error)
        return LiveLoads(pads, scale, heard=heard), scale.order, ""

    def _batch(self, view: LiveLoads | None, order: Any, frames: list[PadFrame], missing: str) -> dict[str, Any]:
        """One batch: every sample since the last, and the view of the newest. Wall time in ms, for the page's clock."""
        wall = time.time() - time.monotonic()
        told: dict[str, Any] = {"at_ms": 1000.0 * (frames[-1].host_time + wall), "samples": len(frames)}
        if view is None:
            return told | {"missing": missing}
        state = view.state()
        trace = [
            [round(1000.0 * (one.host_time + wall), 1), *np.round(view.load_g(np.array(one.counts))[order], 1).tolist()]
            for one in frames
        ]
        return told | {
            "trace": trace,
            "load_g": state.load_g,
            "noise_g": state.noise_g,
            "share_pct": state.share_pct,
            "settled": all(state.settled),
            "total_g": state.total_g,
            "front_pct": state.front_pct,
            "left_pct": state.left_pct,
            "diagonal_fr_rl_pct": state.cross_pct,
            "diagonal_fl_rr_pct": None if state.cross_pct is None else 100.0 - state.cross_pct,
            "faults": state.faults,
            "counts": state.counts,
        }
