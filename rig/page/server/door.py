"""A way in from the network that is there only while somebody wants it: a server of its own, on a thread."""

import hmac
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import uvicorn
from starlette.requests import Request
from starlette.responses import Response

from rig.base.errors import BenchError
from rig.base.plain_json import Json
from rig.page.classroom.qr import qr_rows
from rig.page.server.addresses import listening, own_addresses
from rig.page.server.bounded import Bounds, bounded
from rig.page.server.guard import no
from rig.page.server.limits import RateLimit

ANYWHERE = "0.0.0.0"
REQUEST_S = 10.0
"""For a whole request; what dribbles in more slowly is cut."""
MakeApp = Callable[[Callable[[str], bool], Callable[[], bool]], Any]
"""Host names that are this server, and whether the door is still open -> the app behind it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenDoor:
    """addresses: where it is found, likeliest first."""

    addresses: tuple[str, ...]

    def told(self, code: str) -> Json:
        """What a screen shows: the address as text and as a QR code with the code in it, and other addresses."""
        first, *others = self.addresses
        return {"address": first, "code": code, "others": others, "qr": qr_rows(f"{first}#{code}")}


class CodeLock:
    """Lets in who knows the code, and keeps others from trying all of them. shown_on: where the code is to be read."""

    def __init__(self, code: str, *, shown_on: str, clock: Callable[[], float] = time.monotonic) -> None:
        self._code, self._shown_on, self._clock = code.encode(), shown_on, clock
        self._wrong = RateLimit(each=5, everybody=30, seconds=60.0)

    def refused(self, given: str, request: Request) -> Response | None:
        """The refusal of a wrong code, one that was tried too often among them; None for the right one."""
        if hmac.compare_digest(given.encode(), self._code):
            return None
        if not self._wrong.allows(request.client.host if request.client else "?", self._clock()):
            return no(429, "that was often", f"Read the code off {self._shown_on} and try in a minute")
        return no(403, "this is not the code", f"Read the six digits off {self._shown_on}")


class Door:
    """Opens and closes. name: of its thread, and in refusals.  port: the usual one, another where it is taken."""

    def __init__(self, *, name: str, host: str, port: int, else_use: str) -> None:
        self._name, self._host, self._port, self._else = name, host, port, else_use
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._open = threading.Event()

    def open(self, make_app: MakeApp) -> OpenDoor:
        """Close what was open, and open anew.

        Raises BenchError when no port can be had, or when nobody could reach this machine.
        """
        self.close()
        here = own_addresses() if self._host == ANYWHERE else [self._host]
        if not here:
            raise BenchError(
                "this machine is on no network that a phone could share",
                where=self._name,
                remedy="Join the school's network or open a hotspot here, then try again",
            )
        listening = self._listen()
        port = listening.getsockname()[1]
        names = {f"{address}:{port}" for address in here}
        opened = self._open = threading.Event()
        opened.set()
        config = uvicorn.Config(
            make_app(names.__contains__, opened.is_set),
            http=bounded(Bounds(patience=REQUEST_S)),
            log_level="critical",
            access_log=False,
            lifespan="off",
            ws="none",
            server_header=False,
        )
        config.timeout_keep_alive, config.timeout_graceful_shutdown = 5, 2
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [listening]}, name=self._name, daemon=True
        )
        self._thread.start()
        return OpenDoor(addresses=tuple(f"http://{address}:{port}/" for address in here))

    def close(self) -> None:
        """End it; returns when nobody is let in any more."""
        self._open.clear()  # what is still on its way is not counted any more
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._thread.join(timeout=5.0)
        self._server = self._thread = None

    def _listen(self) -> socket.socket:
        for port in (self._port, 0):
            try:
                return listening(self._host, port)
            except OSError as error:
                if port == 0:
                    raise BenchError(
                        f"nobody can be let in ({error.strerror})", where=self._name, remedy=self._else
                    ) from error
        raise AssertionError("a port is had or refused")
