"""One long job at a time, on a thread of its own: progress to every page, stopped from any of them."""

import threading
from collections.abc import Callable
from typing import Any

from rig.base.errors import InputError
from rig.base.failures import explain
from rig.pads.steps import Step
from rig.page.live.broadcast import Broadcast

Publish = Callable[[str, Any], None]


class Job:
    """What a running job is given: ways to tell, to ask, and to notice that it should stop."""

    def __init__(self, name: str, number: int, publish: Publish, *, asks: bool) -> None:
        self.name, self.number = name, number
        self._publish, self._asks = publish, asks
        self._stop, self._done = threading.Event(), threading.Event()
        self._text, self._share, self._step = "", 0.0, ""

    def check(self) -> None:
        """Raise KeyboardInterrupt when somebody pressed stop, as Ctrl-C does on the command line."""
        if self._stop.is_set():
            raise KeyboardInterrupt

    def progress(self, share: float) -> None:
        """0..1; raises KeyboardInterrupt when stopped."""
        self.check()
        if share == 0.0 or abs(share - self._share) >= 0.01:
            self._share = share
            self._tell()

    def say(self, text: str) -> None:
        """What is being done now."""
        self._text, self._share = text, 0.0
        self._tell()
        self.check()

    def ask(self, step: Step, shown: Callable[[Step], bool] = lambda step: False) -> None:
        """Ask a person for a step and wait for the page's answer. shown: or until something else shows it done."""
        self._step = step.text
        self._done.clear()
        self._tell()
        while not self._done.wait(0.2) and not shown(step):
            self.check()
        self._step = ""
        self._tell()

    def answer(self) -> None:
        """The person has done the step."""
        self._done.set()

    def stop(self) -> None:
        """Ask it to end."""
        self._stop.set()

    def _tell(self) -> None:
        self._publish(
            "job",
            {
                "number": self.number,
                "name": self.name,
                "running": True,
                "text": self._text,
                "share": self._share,
                "step": self._step,
            },
        )


class Work:
    """Runs jobs for the page."""

    def __init__(self, broadcast: Broadcast) -> None:
        self.broadcast = broadcast
        self._lock = threading.Lock()
        self._job: Job | None = None
        self._thread: threading.Thread | None = None
        self._number = 0
        broadcast.publish("job", {"running": False, "number": 0, "name": "", "text": "", "error": ""})

    @property
    def busy(self) -> bool:
        """Whether something runs."""
        return self._job is not None

    def start(self, name: str, do: Callable[[Job], str], *, asks: bool = False) -> int:
        """Start a job; returns its number. `do` returns one sentence on what came of it.

        Raises InputError while another one runs.
        """
        with self._lock:
            if self._job is not None:
                raise InputError(
                    f"“{self._job.name}” is still running", where="bench", remedy="Wait for it, or stop it first"
                )
            self._number += 1
            job = self._job = Job(name, self._number, self.broadcast.publish, asks=asks)
        self._thread = threading.Thread(target=self._run, args=(job, do), name=f"job {name}", daemon=True)
        self._thread.start()
        return job.number

    def answer(self) -> None:
        """Pass on that the asked step was done."""
        if (job := self._job) is not None:
            job.answer()

    def stop(self) -> None:
        """Ask the running job to end."""
        if (job := self._job) is not None:
            job.stop()

    def close(self) -> None:
        """Stop and wait a moment; the thread is a daemon and holds nothing that is not written."""
        self.stop()
        self.wait(3.0)

    def wait(self, timeout: float) -> None:
        """Wait for the end of what runs, at most `timeout` s."""
        if self._thread is not None:
            self._thread.join(timeout=timeout)

    def _run(self, job: Job, do: Callable[[Job], str]) -> None:
        text = error = ""
        try:
            job.say("")
            text = do(job)
        except BaseException as failure:  # told in words; a job must never take the page down
            error = explain(failure).text
        with self._lock:
            self._job = None
        self.broadcast.publish(
            "job",
            {"running": False, "number": job.number, "name": job.name, "text": text, "error": error},
        )
