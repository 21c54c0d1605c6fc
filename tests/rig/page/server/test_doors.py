"""Doors to the network: opening one says where and with which code, and tells the page the same; closing takes it back.

Truth: the address of a stand-in for the door; no port is opened.
"""

import asyncio
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from rig.base.plain_json import Json
from rig.page.classroom.qr import qr_rows
from rig.page.live.broadcast import Broadcast
from rig.page.server import door as doors
from rig.page.server.far_racer import FarRacer
from rig.page.server.guard import Guard
from rig.page.server.phones import Phones
from tests.rig.page.bench.test_parts import told

ADDRESS = "http://192.0.2.7:8444/"


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Callable[..., Any]]:
    """What is to be served behind a door that was opened; the door itself is a stand-in."""
    served: list[Callable[..., Any]] = []

    def open_(door: Any, app: Callable[..., Any]) -> Any:
        served.append(app)
        return SimpleNamespace(told=lambda code: {"address": ADDRESS, "code": code})

    monkeypatch.setattr(doors.Door, "open", open_)
    return served


def test_the_big_weights_are_shown_where_it_says_and_only_news_of_them(opened: list[Callable[..., Any]]) -> None:
    bench = Broadcast()
    assets: Any = None
    far = FarRacer(bench, assets, host="192.0.2.7")
    said = far.switch(True)
    page = told(bench.newest("far"))
    assert page["address"] == ADDRESS
    assert said == f"The weights are shown at {ADDRESS} with the code {page['code']}."
    assert len(opened) == 1
    assert bench.listeners == 1
    again = far.switch(True)  # another code, and who was let in before is out
    assert bench.listeners == 1
    assert again != said
    assert far.switch(False) == "Phones and tablets no longer see the weights."
    assert told(bench.newest("far")) == {}
    assert bench.listeners == 0


def test_phones_may_guess_where_it_says(opened: list[Callable[..., Any]]) -> None:
    pages: list[Json | None] = []
    room: Any = SimpleNamespace(phones_opened=pages.append)
    assets: Any = None
    phones = Phones(room, assets, host="192.0.2.7")
    said = phones.switch(True)
    assert pages[0] is None
    page = pages[1]
    assert page is not None
    assert page["address"] == ADDRESS
    assert said == f"Phones may guess at {ADDRESS} with the code {page['code']}."
    assert phones.switch(False) == "Phones can no longer send guesses."
    assert pages[2:] == [None]
    assert len(opened) == 1


def test_a_door_is_told_with_its_first_address_and_the_code_within_its_picture() -> None:
    told_ = doors.OpenDoor(addresses=(ADDRESS, "http://other:1/")).told("4711")
    assert (told_["address"], told_["code"], told_["others"]) == (ADDRESS, "4711", ["http://other:1/"])
    assert told_["qr"] == qr_rows(f"{ADDRESS}#4711") != qr_rows(ADDRESS)


@pytest.mark.parametrize(
    ("path", "parts", "status"),
    [("/small", 5, 200), ("/small", 6, 413), ("/big", 10, 200), ("/big", 11, 413), ("/small", 50, 413)],
)
def test_a_body_that_comes_in_parts_is_added_up(path: str, parts: int, status: int) -> None:
    """Parts of 1000 bytes, without a length; 5000 go in, and 10,000 at one address."""
    answers: list[Any] = []
    left = iter(range(parts))

    async def receive() -> dict[str, Any]:
        number = next(left)
        return {"type": "http.request", "body": b"1" * 1000, "more_body": number + 1 < parts}

    async def send(message: Any) -> None:
        answers.append(message)

    async def taking(scope: Any, receive: Any, send: Any) -> None:
        while (await receive())["more_body"]:
            pass
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    guard = Guard(taking, hosts=lambda host: True, token=None, limits={"/big": 10_000}, limit=5_000)
    scope = {"type": "http", "method": "POST", "path": path, "headers": [(b"host", b"here")]}
    asyncio.run(guard(scope, receive, send))
    assert answers[0]["status"] == status
