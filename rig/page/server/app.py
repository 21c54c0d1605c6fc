"""The page's addresses: read the request, call one use case, answer."""

import io
import json
import secrets
import tempfile
import zipfile
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import msgspec
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from rig.archive.export import export_tables
from rig.base.failures import explain
from rig.base.plain_json import finite_json
from rig.base.version import SOFTWARE
from rig.jobs.moving.reach import Tried
from rig.jobs.pushing.what_if import WhatIf, what_if
from rig.page.bench.bench import Bench
from rig.page.bench.changes import Changes
from rig.page.bench.freezing import frozen_told
from rig.page.bench.views import pushed_png, what_if_json
from rig.page.classroom.classroom import Classroom, lesson_json
from rig.page.classroom.hidden_change import HiddenGame
from rig.page.classroom.one_sheet import change_sheet, push_sheet, region_sheet, weights_sheet
from rig.page.classroom.prints import keys_html, pack_html, ring_html
from rig.page.live.broadcast import encode, stream
from rig.page.server import routes
from rig.page.server.actions import Action, SetupTried, actions
from rig.page.server.clips import LARGEST, receive_clip, sweep_clips
from rig.page.server.far_racer import FarRacer
from rig.page.server.guard import Guard, TooLargeError, loopback_hosts, no
from rig.page.server.openapi import document
from rig.page.server.phones import Phones
from rig.page.server.record import compared, past, report_text
from rig.page.server.routes import PageRoute
from rig.page.server.static_files import load_assets, send_asset

REPORT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"

Handler = Callable[[Request], Awaitable[Response]]


class Page:
    """The whole page of one bench. app: to be served.  token: needed for every change."""

    def __init__(self, bench: Bench, *, port: int, phone_host: str = "0.0.0.0") -> None:
        self.bench = bench
        self.token = secrets.token_urlsafe(24)
        self.start = secrets.token_hex(4)
        self.should_end: Callable[[], bool] = lambda: False
        self.assets = load_assets()
        sweep_clips(bench.folder / "page" / "clips")
        self.classroom = Classroom(bench)
        self.hidden = HiddenGame(bench)
        self.phones = Phones(self.classroom, self.assets, host=phone_host)
        self.far = FarRacer(bench.broadcast, self.assets, host=phone_host)
        self.changes = Changes(bench)
        self.actions = actions(bench, self.classroom, self.hidden, self.phones, self.changes, self.far)
        self.document = document(self.actions)
        self.app: ASGIApp = Guard(
            Starlette(routes=self.routes()),
            hosts=loopback_hosts(port),
            token=self.token,
            limits={routes.CLIP.path: LARGEST},
        )

    def close(self) -> None:
        """Let go of pads, phones and jobs."""
        self.phones.close()
        self.far.close()
        self.bench.close()

    def routes(self) -> list[Route]:
        """Every address with its handler."""
        handlers: dict[PageRoute, Handler] = {
            routes.BENCH: self._asset("index.html"),
            routes.CLASS: self._asset("class.html"),
            routes.RACER: self._asset("racer.html"),
            routes.STATIC: self._static,
            routes.EVENTS: self._events,
            routes.CAMERA_NOW: self._camera_now,
            routes.DOCUMENT: self._answering(lambda request: self.document),
            routes.LESSON: self._answering(lambda request: lesson_json()),
            routes.CARDS: self._answering(lambda request: self.bench.editor()),
            routes.RECORD: self._answering(lambda request: past(self.bench)),
            routes.COMPARED: self._answering(lambda request: compared(self.bench)),
            routes.WHAT_IF: self._answering(self._what_if),
            routes.REGION: self._answering(self._region),
            routes.FREEZE: self._answering(self._freeze),
            routes.EXPORT: self._export,
            routes.FROM_ABOVE: self._from_above,
            routes.REPLAY: self._answering(lambda request: self.bench.replay.told(asked_number(request, "record"))),
            routes.REPLAY_PICTURE: self._replayed,
            routes.CHANGE_PICTURE: self._changed(".png"),
            routes.CHANGE_FILM: self._changed(".webm"),
            routes.REPORT: self._report,
            routes.PACK: self._printed(lambda request: pack_html(self.bench.cards())),
            routes.RING: self._printed(lambda request: ring_html(self.bench)),
            routes.KEYS: self._printed(lambda request: keys_html()),
            routes.PUSH_SHEET: self._printed(lambda request: push_sheet(self.bench)),
            routes.WEIGHTS_SHEET: self._printed(lambda request: weights_sheet(self.bench)),
            routes.CHANGE_SHEET: self._printed(lambda request: change_sheet(self.changes)),
            routes.REGION_SHEET: self._printed(lambda request: region_sheet(self.bench, setup_tried(request))),
            routes.CLIP: self._clip,
        }
        return [
            *(
                Route(route.path, answering_failures(handlers[route]), methods=["POST" if route.changes else "GET"])
                for route in routes.ROUTES
            ),
            *(
                Route(routes.action_path(name), answering_failures(self._doing(action)), methods=["POST"])
                for name, action in self.actions.items()
            ),
        ]

    def _asset(self, name: str) -> Handler:
        async def send(request: Request) -> Response:
            return send_asset(self.assets, name, request)

        return send

    async def _static(self, request: Request) -> Response:
        return send_asset(self.assets, request.path_params["name"], request)

    async def _events(self, request: Request) -> Response:
        hello = encode("hello", {"token": self.token, "start": self.start, "software": SOFTWARE})
        return StreamingResponse(stream(self.bench.broadcast, hello, self.should_end), media_type="text/event-stream")

    async def _camera_now(self, request: Request) -> Response:
        after = asked_number(request, "after") if "after" in request.query_params else -1
        shown = await self.bench.view.next(after)
        if shown is None:
            return no(409, "nothing is being filmed", "Start filming first")
        # what is said goes with its own picture
        news = json.dumps({"at_ms": 1e3 * shown.at, "live": shown.live, "number": shown.number})
        return Response(shown.jpeg, media_type=routes.JPEG, headers={"x-picture": news})

    def _answering(self, ask: Callable[[Request], Any]) -> Handler:
        async def answer(request: Request) -> Response:
            return JSONResponse(finite_json(await run_in_threadpool(ask, request)))

        return answer

    def _printed(self, write: Callable[[Request], str]) -> Handler:
        async def answer(request: Request) -> Response:
            return Response(await run_in_threadpool(write, request), media_type="text/html")

        return answer

    def _what_if(self, request: Request) -> Any:
        given = {name: limited(request.query_params.get(name, "")) for name in routes.WHAT_IF.numbers}
        whole = request.query_params.get("whole", "") == "1"
        asked = WhatIf(**given)
        return what_if_json(what_if(self.bench.cards(), self.bench.weighing, asked, whole=whole), asked, whole=whole)

    def _region(self, request: Request) -> Any:
        return self.bench.region.ask(setup_tried(request))

    def _freeze(self, request: Request) -> Any:
        given = request.query_params
        at = limited(given["at_mm"]) if given.get("at_mm") else None
        return frozen_told(self.bench.region, limited(given.get("ballast_g", "")), at)

    async def _export(self, request: Request) -> Response:
        data = await run_in_threadpool(export_zip, self.bench)
        headers = {"content-disposition": 'attachment; filename="pivotbench-export.zip"'}
        return Response(data, media_type="application/zip", headers=headers)

    async def _from_above(self, request: Request) -> Response:
        verdict = self.bench.verdict
        if verdict is None or verdict.answer is None:
            return no(409, "no push was measured yet", "Push the car first")
        return Response(await run_in_threadpool(pushed_png, verdict.cards, verdict.answer), media_type="image/png")

    async def _replayed(self, request: Request) -> Response:
        record, number = (asked_number(request, name) for name in routes.REPLAY_PICTURE.numbers)
        jpeg = await run_in_threadpool(self.bench.replay.picture, record, number)
        return Response(jpeg, media_type=routes.JPEG)

    def _changed(self, ending: str) -> Handler:
        async def answer(request: Request) -> Response:
            path = self.changes.file(ending)
            if path is None:
                return no(409, "nothing of the kind was compared yet", "Choose two set-ups first")
            return FileResponse(path, media_type=routes.PNG if ending == ".png" else routes.WEBM)

        return answer

    async def _report(self, request: Request) -> Response:
        text = await run_in_threadpool(report_text, self.bench)
        headers = {
            "content-disposition": 'attachment; filename="pivotbench-report.html"',
            "content-security-policy": REPORT_POLICY,
        }
        return Response(text, media_type="text/html", headers=headers)

    async def _clip(self, request: Request) -> Response:
        self.bench.need_weights()
        clip = await receive_clip(request, self.bench.folder / "page" / "clips")
        return JSONResponse({"job": self.bench.pushes.measure(clip)}, status_code=202)

    def _doing(self, action: Action) -> Handler:
        async def do(request: Request) -> Response:
            body = await request.body()
            sent = msgspec.json.decode(body or b"{}", type=action.shape)
            came = await run_in_threadpool(action.do, sent)
            if isinstance(came, int):
                return JSONResponse({"job": came}, status_code=202)
            return JSONResponse({"said": came} if isinstance(came, str) else finite_json(came))

        return do


def answering_failures(handler: Handler) -> Handler:
    """Failures in the one shape that the page shows: 400 wrong input, 409 it cannot be done now, 500 our fault."""

    async def answer(request: Request) -> Response:
        try:
            return await handler(request)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:  # the last: nested too deep
            return no(400, f"this request is not understood ({str(error)[:200]})", "Reload the page")
        except TooLargeError:
            return no(413, "this is larger than allowed", "Send less")
        except Exception as error:
            failure = explain(error)
            status = 500 if failure.own_fault else 400 if failure.exit_code == 2 else 409
            return JSONResponse({"error": failure.text}, status_code=status)

    return answer


def setup_tried(request: Request) -> Tried:
    """What a query says is tried; as on the cards where it says nothing. Raises DecodeError."""
    given = request.query_params
    sent = {name: limited(given[name]) for name in routes.REGION.numbers if name in given}
    return msgspec.convert(sent, type=SetupTried).meant()


def limited(text: str) -> float:
    """A slider's number, or DecodeError."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not -100_000.0 <= value <= 100_000.0:
        raise msgspec.ValidationError("a slider has no number")
    return value


def asked_number(request: Request, name: str) -> int:
    """A whole number of the query, or DecodeError."""
    text = request.query_params.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise msgspec.ValidationError(f"{name} is no number")
    return int(text)


def export_zip(bench: Bench) -> bytes:
    """Everything in the log as JSON and CSV."""
    with bench.log() as log, tempfile.TemporaryDirectory() as place:
        files = export_tables(list(log.records()), Path(place))
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as packed:
            for file in files:
                packed.write(file, file.name)
    return buffer.getvalue()
