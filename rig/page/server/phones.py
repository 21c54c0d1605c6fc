"""Class phones: a server of its own with one page and one thing to send, there only while the teacher wants it."""

import hmac
import secrets
import threading
import time
from collections.abc import Callable
from typing import Annotated, Any

import msgspec
from msgspec import Meta
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from rig.base.failures import explain
from rig.base.plain_json import finite_json
from rig.page.classroom.classroom import Classroom
from rig.page.classroom.question import Vote
from rig.page.live.broadcast import encode, stream
from rig.page.server.door import ANYWHERE, CodeLock, Door
from rig.page.server.guard import Guard, no
from rig.page.server.limits import RateLimit, new_code
from rig.page.server.static_files import Assets, send_asset

SEEN_BY_PHONES = ("phone.html", "phone.js", "phone.css", "car.js", "numbers.js", "words.js")
USUAL_PHONE_PORT = 8378
"""The same every time, so that the address on the wall stays true; another one where it is taken."""
MOST_LISTENING = 150
DEVICE = "device"
"""The cookie by which a device is known until it closes its browser: letters drawn here, nothing about anybody."""
Letters = Annotated[str, Meta(max_length=80)]


class PhoneGuess(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a phone may send: the code on the screen, and an answer.

    A place on the car (per cent of the wheelbase, mm left of the middle), one of the choices, a reason; seen: it is
    what was seen of the push.  question: the number of the one that it answers; without it, the one asked now.
    """

    code: Annotated[str, Meta(max_length=12)]
    station_pct: Annotated[float, Meta(ge=-300.0, le=400.0)] | None = None
    side_mm: Annotated[float, Meta(ge=-2000.0, le=2000.0)] = 0.0
    answer: Letters = ""
    reason: Letters = ""
    seen: bool = False
    question: int | None = None


class PhoneTakesBack(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A phone wants its own answer to this question back."""

    code: Annotated[str, Meta(max_length=12)]
    question: int


class Phones:
    """Opens and closes the way in for phones."""

    def __init__(
        self, classroom: Classroom, assets: Assets, *, host: str = ANYWHERE, port: int = USUAL_PHONE_PORT
    ) -> None:
        self._classroom, self._assets = classroom, assets
        self._door = Door(name="phones", host=host, port=port, else_use="Use the one screen or paper stickers instead")
        self._lock = threading.Lock()

    def switch(self, on: bool) -> str:
        """Open or close. Raises BenchError when no port can be had, or when no phone could reach this machine."""
        with self._lock:
            self._door.close()
            self._classroom.phones_opened(None)
            if not on:
                return "Phones can no longer send guesses."
            code = new_code()
            opened = self._door.open(
                lambda hosts, is_open: phone_app(self._classroom, self._assets, code, hosts, is_open=is_open)
            )
            page = opened.told(code)
            self._classroom.phones_opened(page)
            return f"Phones may guess at {page['address']} with the code {code}."

    def close(self) -> None:
        """End it with the page."""
        with self._lock:
            self._door.close()


def phone_app(
    classroom: Classroom,
    assets: Assets,
    code: str,
    hosts: Callable[[str], bool],
    clock: Callable[[], float] = time.monotonic,
    is_open: Callable[[], bool] = lambda: True,
) -> Any:
    """The phones' whole server: their page, the question, and one answer a device.

    is_open: asked again when an answer is counted, which may be long after it began to come in.
    """
    guesses = RateLimit(each=6, everybody=600, seconds=60.0)
    lock = CodeLock(code, shown_on="the screen", clock=clock)
    seal = secrets.token_bytes(16)

    def sealed(letters: str) -> str:
        return f"{letters}.{hmac.digest(seal, letters.encode(), 'sha256').hex()[:24]}"

    def device(request: Request) -> str:
        """The letters given to a browser here; without them all of one address are one device."""
        cookie = request.cookies.get(DEVICE, "")
        letters = cookie.partition(".")[0]
        if cookie.isascii() and hmac.compare_digest(cookie, sealed(letters)):
            return letters
        return f"address {request.client.host if request.client else '?'}"

    async def page(request: Request) -> Response:
        answer = send_asset(assets, "phone.html", request)
        if device(request).startswith("address "):
            answer.set_cookie(DEVICE, sealed(secrets.token_hex(8)), httponly=True, samesite="strict")
        return answer

    async def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in SEEN_BY_PHONES:
            return no(404, "there is nothing here", "Open the address on the screen")
        return send_asset(assets, name, request)

    async def now(request: Request) -> Response:
        try:
            seen = await run_in_threadpool(classroom.for_phone, device(request))
        except Exception as error:
            return JSONResponse({"error": explain(error).text}, status_code=409)
        return JSONResponse(finite_json(seen))

    async def events(request: Request) -> Response:
        if classroom.news.listeners >= MOST_LISTENING:
            return no(503, "too many phones listen", "Close the page on phones that are not needed")
        response = stream(classroom.news, encode("hello", 0), lambda: not is_open(), encode("closed", 0))
        return StreamingResponse(response, media_type="text/event-stream")

    async def answered(request: Request, shape: type[Any], count: Callable[[Any, str], str]) -> Response:
        who = device(request)
        if not guesses.allows(who, clock()):
            return no(429, "that was often", "Wait a minute, then guess again")
        try:
            sent = msgspec.json.decode(await request.body(), type=shape)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):  # the last: nested too deep
            return no(400, "this is not a guess", "Use the page that the screen names")
        refusal = lock.refused(sent.code, request)
        if refusal is not None:
            return refusal
        try:
            return JSONResponse({"said": await run_in_threadpool(count, sent, who)})
        except Exception as error:
            return JSONResponse({"error": explain(error).text}, status_code=409)

    def counted(sent: PhoneGuess, who: str) -> str:
        place = None if sent.station_pct is None else (sent.station_pct, sent.side_mm)
        vote = Vote(who=who, answer=sent.answer, place=place, reason=" ".join(sent.reason.split()))
        return classroom.vote(vote, number=sent.question, allowed=is_open, seen=sent.seen)

    def returned(sent: PhoneTakesBack, who: str) -> str:
        return classroom.take_back(who, sent.question)

    async def guess(request: Request) -> Response:
        return await answered(request, PhoneGuess, counted)

    async def take_back(request: Request) -> Response:
        return await answered(request, PhoneTakesBack, returned)

    app = Starlette(
        routes=[
            Route("/", page, methods=["GET"]),
            Route("/static/{name}", asset, methods=["GET"]),
            Route("/news", events, methods=["GET"]),
            Route("/now", now, methods=["GET"]),
            Route("/guess", guess, methods=["POST"]),
            Route("/take-back", take_back, methods=["POST"]),
        ]
    )
    return Guard(app, hosts=hosts, token=None, limits={}, limit=480)
