"""The newest push shown again on the page: its clip's pictures beside the car from above, both at one moment."""

import threading

import numpy as np

from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.jobs.series.replay import ReplayedPush, replayed
from rig.page.bench.state import BenchState
from rig.page.bench.views import MM_PER_M


class ReplayView:
    """The pictures of the newest push, made when somebody looks at it and kept until the next one is looked at."""

    def __init__(self, bench: BenchState) -> None:
        self._bench = bench
        self._lock = threading.Lock()
        self._made: tuple[int, ReplayedPush] | None = None

    def told(self, record: int) -> Json:
        """Times, poses and lines of a push, mm and rad. record: its verdict's number. Raises InputError without one."""
        made = self._of(record)
        push, shown = made.push, made.shown
        seen = np.isfinite(shown.pose[:, 2])
        poses = shown.pose * np.array([MM_PER_M, MM_PER_M, 1.0])
        return {
            "record": record,
            "time_s": shown.time.round(4),
            "end_s": push.end - push.onset,
            "pose": [pose.round(5) if good else None for pose, good in zip(poses, seen, strict=True)],
            "nose_mm": (MM_PER_M * shown.nose).round(1),
            "tail_mm": (MM_PER_M * shown.tail).round(1),
            "outline": push.outline * MM_PER_M,
            "wheelbase": push.wheelbase * MM_PER_M,
            "balance": None if push.balance is None else push.balance * MM_PER_M,
            "forecast": None if push.forecast is None else push.forecast * MM_PER_M,
            "picture": f"/api/replay.jpg?record={record}&picture=",
        }

    def picture(self, record: int, number: int) -> bytes:
        """One picture, JPEG. number: from 0. Raises InputError where there is none."""
        jpeg = self._of(record).shown.jpeg
        if not 0 <= number < len(jpeg):
            raise InputError("there is no such picture", where="replay", remedy="Reload the page")
        return jpeg[number]

    def _of(self, record: int) -> ReplayedPush:
        with self._lock:
            if self._made is not None and self._made[0] == record:
                return self._made[1]
            verdict = self._bench.verdict
            if verdict is None or verdict.record.number != record:
                raise InputError("this is not the newest push", where="replay", remedy="Reload the page")
            with self._bench.log() as log:
                made = replayed(verdict, log)
            self._made = (record, made)
            return made
