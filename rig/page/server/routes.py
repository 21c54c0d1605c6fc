"""The page's addresses, each named once: handlers, the interface's document and tests of security read them here."""

from dataclasses import dataclass

HTML, JSON, ZIP, PNG, WEBM = "text/html", "application/json", "application/zip", "image/png", "video/webm"
JPEG = "image/jpeg"


@dataclass(frozen=True, slots=True, kw_only=True)
class PageRoute:
    """One address. path: as Starlette writes it.  summary: for people.  answers: media type of the answer.

    changes: asked with POST and the token, otherwise read with GET.  listed: stands in the interface's document;
    the others are for the page's own files and endless streams.  numbers: that the query must give.
    """

    path: str
    summary: str
    answers: str = JSON
    changes: bool = False
    listed: bool = True
    numbers: tuple[str, ...] = ()


BENCH = PageRoute(path="/", summary="The bench", answers=HTML)
CLASS = PageRoute(path="/class", summary="The class", answers=HTML)
RACER = PageRoute(path="/racer", summary="Corner weights to be read from afar", answers=HTML)
STATIC = PageRoute(path="/static/{name}", summary="A file of the page", listed=False)
EVENTS = PageRoute(path="/events", summary="News of the bench, without end", listed=False)
CAMERA_NOW = PageRoute(path="/camera.jpg", summary="The newest picture of the camera", answers=JPEG)
DOCUMENT = PageRoute(path="/openapi.json", summary="The interface's document", listed=False)
LESSON = PageRoute(path="/api/lesson", summary="The lesson's experiments")
CARDS = PageRoute(path="/api/cards", summary="The cards with units, ranges and meaning of each key")
RECORD = PageRoute(path="/api/record", summary="The newest records")
COMPARED = PageRoute(path="/api/compared", summary="Measured against forecast across set-ups")
WHAT_IF = PageRoute(
    path="/api/what-if",
    summary="The forecast for other numbers",
    numbers=("front", "rear", "ballast_g", "ballast_pct", "push_pct"),
)
REGION = PageRoute(
    path="/api/region",
    summary="Where the balance can go on the move, as it is and as it is tried",
    numbers=("spring_front", "spring_rear", "bar_front", "bar_rear", "ballast_g", "ballast_pct", "height_mm"),
)
FREEZE = PageRoute(
    path="/api/freeze",
    summary="A moment frozen at rest: where ballast goes, and what a push should find",
    numbers=("ballast_g",),
)
EXPORT = PageRoute(path="/api/export.zip", summary="The whole log as tables", answers=ZIP)
FROM_ABOVE = PageRoute(path="/api/push.png", summary="The car of the newest push from above", answers=PNG)
REPLAY = PageRoute(path="/api/replay", summary="The newest push again: times, poses and lines", numbers=("record",))
REPLAY_PICTURE = PageRoute(
    path="/api/replay.jpg", summary="A picture of the newest push", answers=JPEG, numbers=("record", "picture")
)
CHANGE_PICTURE = PageRoute(path="/api/change.png", summary="Both cars of the newest change from above", answers=PNG)
CHANGE_FILM = PageRoute(path="/api/change.webm", summary="Both pushes of the newest change, filmed", answers=WEBM)
REPORT = PageRoute(path="/api/report.html", summary="The report", answers=HTML)
PACK = PageRoute(path="/print/pack", summary="The teacher's pack", answers=HTML)
RING = PageRoute(path="/print/ring", summary="The ring of the standing pencil", answers=HTML)
PUSH_SHEET = PageRoute(path="/print/push", summary="The newest push on one sheet", answers=HTML)
WEIGHTS_SHEET = PageRoute(path="/print/weights", summary="The newest weighing on one sheet", answers=HTML)
CHANGE_SHEET = PageRoute(path="/print/change", summary="The newest change on one sheet", answers=HTML)
REGION_SHEET = PageRoute(
    path="/print/region", summary="Where the balance can go, on one sheet", answers=HTML, numbers=REGION.numbers
)
KEYS = PageRoute(path="/print/keys", summary="Every key of the cards: unit, meaning, default", answers=HTML)
CLIP = PageRoute(path="/api/clip", summary="Measure a clip", changes=True)

ROUTES = tuple(route for route in list(globals().values()) if isinstance(route, PageRoute))
"""Every address but those of the actions."""


def action_path(name: str) -> str:
    """Where an action is asked for."""
    return f"/api/do/{name}"
