"""The big weights on a phone or tablet: read only, a server of its own, there only while the racer wants it."""

import json
import time
from collections.abc import Callable
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from rig.base.plain_json import Json
from rig.page.live.broadcast import Broadcast, encode, stream
from rig.page.server.door import CodeLock, Door
from rig.page.server.guard import Guard, no
from rig.page.server.limits import new_code
from rig.page.server.static_files import Assets, send_asset

SEEN_FAR = (
    "racer.html",
    "racer.js",
    "racer.css",
    "style.css",
    "bench.js",
    "numbers.js",
    "shared.js",
    "words.js",
    "qr.js",
)
USUAL_FAR_PORT = 8379
MOST_WATCHING = 20
SENT: dict[str, tuple[str, ...]] = {
    "pads": (
        "at_ms",
        "load_g",
        "total_g",
        "front_pct",
        "left_pct",
        "diagonal_fr_rl_pct",
        "cross_over_g",
        "settled",
        "missing",
        "faults",
    ),
    "car": ("name", "weights", "racer"),
    "port": ("state", "sentence", "remedy"),
}
"""What leaves the bench, kind by kind: what stands on the racer's screen, and nothing else."""


class Relay:
    """Hears the bench and passes on what a far screen shows."""

    def __init__(self, news: Broadcast) -> None:
        self._news = news

    def put(self, kind: str, event: bytes) -> None:
        """One event of the bench, any thread."""
        wanted = SENT.get(kind)
        if wanted is None:
            return
        news: Json = json.loads(event.split(b"data: ", 1)[1])
        self._news.publish(kind, {key: news[key] for key in wanted if key in news})


class FarRacer:
    """Opens and closes the big weights for phones and tablets."""

    def __init__(self, broadcast: Broadcast, assets: Assets, *, host: str, port: int = USUAL_FAR_PORT) -> None:
        self._broadcast, self._assets = broadcast, assets
        self._door = Door(
            name="big weights", host=host, port=port, else_use="Turn this machine's own screen to where you work"
        )
        self._relay: Relay | None = None
        broadcast.publish("far", {})

    def switch(self, on: bool) -> str:
        """Open or close. Raises BenchError when no port can be had, or when nobody could reach this machine."""
        self.close()
        if not on:
            return "Phones and tablets no longer see the weights."
        code, news = new_code(), Broadcast()
        opened = self._door.open(lambda hosts, is_open: far_app(news, self._assets, code, hosts, is_open=is_open))
        self._relay = Relay(news)
        self._broadcast.admit(self._relay)
        page = opened.told(code)
        self._broadcast.publish("far", page)
        return f"The weights are shown at {page['address']} with the code {code}."

    def close(self) -> None:
        """Nobody sees them any more."""
        if self._relay is not None:
            self._broadcast.leave(self._relay)
        self._relay = None
        self._door.close()
        self._broadcast.publish("far", {})


def far_app(
    news: Broadcast,
    assets: Assets,
    code: str,
    hosts: Callable[[str], bool],
    clock: Callable[[], float] = time.monotonic,
    is_open: Callable[[], bool] = lambda: True,
) -> Any:
    """The whole server: one page, its files, and the news that stand on it. Nothing can be sent."""
    lock = CodeLock(code, shown_on="the bench's screen", clock=clock)

    async def page(request: Request) -> Response:
        return send_asset(assets, "racer.html", request)

    async def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in SEEN_FAR:
            return no(404, "there is nothing here", "Open the address on the bench's screen")
        return send_asset(assets, name, request)

    def refused(request: Request) -> Response | None:
        return lock.refused(request.query_params.get("code", ""), request)

    async def allowed(request: Request) -> Response:
        return refused(request) or JSONResponse({"said": "Welcome."})

    async def events(request: Request) -> Response:
        answer = refused(request)
        if answer is not None:
            return answer
        if news.listeners >= MOST_WATCHING:
            return no(503, "too many screens watch", "Close the page on those that are not needed")
        response = stream(news, encode("hello", {"start": "far"}), lambda: not is_open())
        return StreamingResponse(response, media_type="text/event-stream")

    app = Starlette(
        routes=[
            Route("/", page, methods=["GET"]),
            Route("/static/{name}", asset, methods=["GET"]),
            Route("/allowed", allowed, methods=["GET"]),
            Route("/news", events, methods=["GET"]),
        ]
    )
    return Guard(app, hosts=hosts, token=None, limits={}, limit=0)
