"""Class phones: a server of its own with one page and one thing to send, there only while the teacher wants it."""

import hmac
import socket
import threading
import time
from collections.abc import Callable
from typing import Annotated, Any

import msgspec
import uvicorn
from msgspec import Meta
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rig.base.errors import BenchError
from rig.base.failures import explain
from rig.page.classroom.classroom import Classroom, RateLimit, new_code
from rig.page.server.guard import Guard, no
from rig.page.server.static_files import Assets, send_asset

SEEN_BY_PHONES = ("phone.html", "phone.js", "phone.css", "car.js", "numbers.js", "words.js")


class PhoneGuess(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a phone may send: the code on the screen, and a place on the car (per cent, share of the width)."""

    code: Annotated[str, Meta(max_length=12)]
    station_pct: Annotated[float, Meta(ge=-300.0, le=400.0)]
    side_mm: Annotated[float, Meta(ge=-2000.0, le=2000.0)] = 0.0


class Phones:
    """Opens and closes the way in for phones."""

    def __init__(self, classroom: Classroom, assets: Assets, *, host: str = "0.0.0.0") -> None:
        self._classroom, self._assets, self._host = classroom, assets, host
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    def switch(self, on: bool) -> str:
        """Open or close. Raises BenchError when no port can be had."""
        with self._lock:
            self._close()
            if not on:
                self._classroom.phones_opened(None)
                return "Phones can no longer send guesses."
            code = new_code()
            here = own_address() if self._host == "0.0.0.0" else self._host
            try:
                listening = socket.create_server((self._host, 0), backlog=64)
            except OSError as error:
                raise BenchError(
                    f"phones cannot be let in ({error.strerror})",
                    where="phones",
                    remedy="Use the one screen or paper stickers instead",
                ) from error
            port = listening.getsockname()[1]
            app = phone_app(self._classroom, self._assets, code, lambda host: host == f"{here}:{port}")
            config = uvicorn.Config(app, log_level="critical", access_log=False, lifespan="off", ws="none")
            config.timeout_keep_alive, config.limit_concurrency = 2, 100
            self._server = uvicorn.Server(config)
            self._thread = threading.Thread(
                target=self._server.run, kwargs={"sockets": [listening]}, name="phones", daemon=True
            )
            self._thread.start()
            self._classroom.phones_opened({"address": f"http://{here}:{port}/", "code": code})
            return f"Phones may guess at http://{here}:{port}/ with the code {code}."

    def close(self) -> None:
        """End it with the page."""
        with self._lock:
            self._close()

    def _close(self) -> None:
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._thread.join(timeout=3.0)
        self._server = self._thread = None


def phone_app(
    classroom: Classroom,
    assets: Assets,
    code: str,
    hosts: Callable[[str], bool],
    clock: Callable[[], float] = time.monotonic,
) -> Any:
    """The phones' whole server: their page, and one guess at a time."""
    guesses = RateLimit(each=6, everybody=120, seconds=60.0)
    wrong = RateLimit(each=5, everybody=30, seconds=60.0)

    async def page(request: Request) -> Response:
        return send_asset(assets, "phone.html", request)

    async def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in SEEN_BY_PHONES:
            return no(404, "there is nothing here", "Open the address on the screen")
        return send_asset(assets, name, request)

    async def guess(request: Request) -> Response:
        who = request.client.host if request.client else "?"
        if not guesses.allows(who, clock()):
            return no(429, "that was often", "Wait a minute, then guess again")
        try:
            sent = msgspec.json.decode(await request.body(), type=PhoneGuess)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):  # the last: nested too deep
            return no(400, "this is not a guess", "Use the page that the screen names")
        if not hmac.compare_digest(sent.code.encode(), code.encode()):
            if not wrong.allows(who, clock()):
                return no(429, "that was often", "Read the code off the screen and try in a minute")
            return no(403, "this is not the code", "Read the six digits off the screen")
        try:
            return JSONResponse({"said": classroom.guess(sent.station_pct, sent.side_mm)})
        except Exception as error:
            return JSONResponse({"error": explain(error).text}, status_code=409)

    app = Starlette(
        routes=[
            Route("/", page, methods=["GET"]),
            Route("/static/{name}", asset, methods=["GET"]),
            Route("/guess", guess, methods=["POST"]),
        ]
    )
    return Guard(app, hosts=hosts, token=None, limits={}, limit=400)


def own_address() -> str:
    """This machine's address on the local network; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): only asks the routing table
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
