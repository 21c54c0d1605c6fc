"""Serve the page on the loopback address until Ctrl-C."""

import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from rig.base.errors import BenchError
from rig.page.bench.bench import Bench
from rig.page.server.addresses import listening
from rig.page.server.app import Page
from rig.page.server.bounded import Bounds, bounded

HOST = "127.0.0.1"
USUAL_PORT = 8377
TURN_S = 0.001
"""s for which one thread may keep the others waiting. Python's own 5 ms add up: a picture of a push goes through four
threads on its way to the page, beside those of pads and recording.
"""


class Serving:
    """The page behind a port. Use `run` in the main thread, or `start` and `stop` around something else."""

    def __init__(
        self,
        folder: Path,
        *,
        port: int | None = None,
        time_factor: float = 6.0,
        seed: int = 0,
        phone_host: str = "0.0.0.0",
    ) -> None:
        self._socket = listen(port)
        self.port = int(self._socket.getsockname()[1])
        self.url = f"http://{HOST}:{self.port}/"
        self.bench = Bench(folder, time_factor=time_factor, seed=seed)
        self.page = Page(self.bench, port=self.port, phone_host=phone_host)
        config = uvicorn.Config(
            self.page.app,
            http=bounded(Bounds(patience=20.0, upload=True)),
            log_level="critical",
            access_log=False,
            lifespan="off",
            ws="none",
            server_header=False,
        )
        config.timeout_keep_alive = 5
        config.timeout_graceful_shutdown = 2
        self._server = uvicorn.Server(config)
        self.page.should_end = lambda: self._server.should_exit
        self._thread: threading.Thread | None = None
        sys.setswitchinterval(min(sys.getswitchinterval(), TURN_S))

    def run(self, ready: Callable[[], None]) -> None:
        """Serve until Ctrl-C. ready: called once, just before."""
        ready()
        try:
            self._server.run(sockets=[self._socket])
        except KeyboardInterrupt:
            pass  # uvicorn raises it again after a clean end
        finally:
            self.page.close()

    def start(self) -> None:
        """Serve in a thread."""
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self._socket]}, name="page", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """End it; returns when the port is free."""
        self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(timeout=10.0)
        self.page.close()
        self._socket.close()


def listen(port: int | None) -> socket.socket:
    """A listening socket on the loopback address. port: None takes the usual one or, if taken, a free one."""
    for wanted in [USUAL_PORT, 0] if port is None else [port]:
        try:
            return listening(HOST, wanted)
        except OSError as error:
            if port is not None:
                raise BenchError(
                    f"the port {port} cannot be used ({error.strerror})",
                    where="bench page",
                    remedy="Leave --port out, or name another one",
                ) from error
    raise BenchError("no port is free", where="bench page", remedy="Close other programs")


def open_browser(url: str) -> None:
    """Show the page, without waiting for the browser."""
    threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
