"""The parts behind the page: one reader for all, jobs that stop, cards with undo, sliders that obey statics."""

import asyncio
import json
import re
import threading
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from starlette.responses import Response

from rig.base.errors import BenchError, InputError
from rig.cards.identity import car_changes
from rig.cards.keys.car import CarCard
from rig.cards.read import CardSet, parse_card
from rig.jobs.pushing.what_if import WhatIf, what_if
from rig.jobs.weighing.pads import settle
from rig.log.store import BenchLog
from rig.page.bench import card_files
from rig.page.bench.bench import Bench
from rig.page.bench.card_files import Deck, changed
from rig.page.bench.jobs import Job, Work
from rig.page.bench.lesson_steps import STEPS
from rig.page.bench.virtual import step_cards, true_car
from rig.page.classroom.hidden_change import HiddenGame
from rig.page.classroom.prints import pack_html, rail
from rig.page.live.broadcast import LONGEST_LIVE, Broadcast, Listener, stream
from rig.page.live.pad_listeners import PadHub
from rig.page.server.app import answering_failures as answering
from rig.records.weighing import WEIGHING
from rig.virtual.pads import VirtualPads


def told(event: bytes) -> dict[str, object]:
    """The content of one event."""
    content: dict[str, object] = json.loads(event.split(b"data: ", 1)[1])
    return content


def events(waiting: bytes, kind: str) -> list[dict[str, object]]:
    """All events of a kind in what a listener got."""
    parts = [part for part in waiting.split(b"\n\n") if part.startswith(f"event: {kind}\n".encode())]
    return [told(part) for part in parts]


# the bridge


def test_a_page_gets_the_newest_of_each_kind_and_a_slow_one_stays_small() -> None:
    async def act() -> tuple[bytes, int]:
        broadcast = Broadcast()
        broadcast.publish("car", {"n": 1})
        listener = broadcast.join(asyncio.get_running_loop())
        for n in range(2, 500):
            broadcast.publish("car", {"n": n})
            broadcast.publish("pads", {"n": n})
        return await listener.take(1.0), listener.dropped

    waiting, dropped = asyncio.run(act())
    assert events(waiting, "car") == [{"n": 499}]
    assert [one["n"] for one in events(waiting, "pads")] == list(range(500 - LONGEST_LIVE, 500))
    assert dropped == 498 - LONGEST_LIVE


def test_news_of_different_kinds_reach_a_page_in_the_order_of_the_newest() -> None:
    async def act() -> bytes:
        broadcast = Broadcast()
        listener = broadcast.join(asyncio.get_running_loop())
        for kind in ("work", "car", "port", "work"):  # the work was told of again after car and port
            broadcast.publish(kind, {})
        return await listener.take(1.0)

    assert [line for line in asyncio.run(act()).decode().splitlines() if line.startswith("event")] == [
        "event: car",
        "event: port",
        "event: work",
    ]


def test_the_endless_stream_ends_when_the_server_does() -> None:
    async def act() -> tuple[list[bytes], int]:
        broadcast, over = Broadcast(), threading.Event()
        got = []
        async for part in stream(broadcast, b"hello", over.is_set):
            got.append(part)
            over.set()
        return got, broadcast.listeners

    began = time.monotonic()
    got, left = asyncio.run(act())
    assert got == [b"retry: 1000\nhello"]
    assert left == 0
    assert time.monotonic() - began < 2.0


# the hub


@pytest.mark.thorough
def test_many_slow_pages_lose_no_reading(tmp_path: Path) -> None:
    class Counting(Listener):
        """A page that counts samples as they are handed over, and never fetches them."""

        samples = 0

        def put(self, kind: str, event: bytes) -> None:
            super().put(kind, event)
            if kind == "pads":
                self.samples += int(told(event)["samples"])  # type: ignore[call-overload]

    loop = asyncio.new_event_loop()
    bench = Bench(tmp_path)
    broadcast = Broadcast()
    pages = [Counting(loop) for _ in range(8)]
    for page in pages:
        broadcast.admit(page)
    with VirtualPads([400.0] * 4, rate=80, time_factor=6.0) as pads:
        hub = PadHub(tmp_path, broadcast)
        hub.start(bench.cards().bench, pads.url)
        with hub.lend(lambda: None) as lent:
            seen, heard = 0, lent.source.listen()
            for _ in range(20):
                time.sleep(0.1)
                seen += len(heard.drain())
            source = lent.source
        pads.mute()
        time.sleep(0.4)
        tally = source.tally
        raw = lent.raw_file.read_bytes()
        hub.stop()
    bench.close()
    assert tally.intact > 500
    assert tally.overflowed == tally.lost == 0
    assert {page.samples for page in pages} == {tally.intact}
    assert 0.8 * tally.intact < seen <= tally.intact
    assert raw.count(b"PB1 ") >= tally.intact  # the log has every line


def test_a_stopped_job_does_not_wait_on_for_silent_pads(tmp_path: Path) -> None:
    stopped = threading.Event()

    def check() -> None:
        if stopped.is_set():
            raise InterruptedError("stopped")

    bench = Bench(tmp_path)
    with VirtualPads([400.0] * 4) as pads:
        hub = PadHub(tmp_path, Broadcast())
        hub.start(bench.cards().bench, pads.url)
        with hub.lend(check) as lent:
            pads.mute()
            threading.Timer(0.5, stopped.set).start()
            began = time.monotonic()
            with pytest.raises(InterruptedError):
                settle(lent, patience=30.0)
            assert time.monotonic() - began < 10.0
        hub.stop()
    bench.close()


def test_a_port_that_is_not_there_is_said_and_tried_again(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.save_card("bench", {"pads.port": "/dev/no-such-pads"})
    time.sleep(0.3)
    port = told(bench.broadcast.newest("port"))
    assert "/dev/no-such-pads" in str(port["sentence"])
    with pytest.raises(BenchError, match="Plug them in"), bench.hub.lend(lambda: None):
        pass
    bench.close()


# jobs


def wait(work: Work) -> dict[str, object]:
    """The end of the running job."""
    work.wait(300.0)  # a film of a push takes a busy machine more than a minute
    assert not work.busy
    return told(work.broadcast.newest("job"))


def test_a_job_can_be_stopped_and_another_waits() -> None:
    work = Work(Broadcast())

    def endless(job: Job) -> str:
        while True:
            job.progress(0.5)
            time.sleep(0.01)

    work.start("one", endless)
    with pytest.raises(InputError, match="still running"):
        work.start("two", endless)
    work.stop()
    assert "Stopped" in str(wait(work)["error"])
    work.start("three", lambda job: "fine")
    assert wait(work)["text"] == "fine"


def test_a_job_asks_and_goes_on_when_the_step_is_done() -> None:
    from rig.pads.steps import Step

    broadcast = Broadcast()
    work = Work(broadcast)

    def asking(job: Job) -> str:
        job.ask(Step(text="Set the car on the pads", action="car"))
        return "went on"

    work.start("weigh", asking)
    end = time.monotonic() + 5
    while told(broadcast.newest("job")).get("step") != "Set the car on the pads" and time.monotonic() < end:
        time.sleep(0.01)
    assert work.busy
    work.answer()
    assert wait(work)["text"] == "went on"


# cards


@pytest.mark.parametrize("name", ["other-car.toml", "../../secret.toml", "/etc/passwd"])
def test_the_page_s_test_card_names_no_other_file(tmp_path: Path, name: str) -> None:
    """Neither one that is missing, after which nothing would load, nor one of the machine's own."""
    bench = Bench(tmp_path)
    try:
        before = bench.cards().texts["test"]
        with pytest.raises(InputError, match="its own three cards"):
            bench.save_card("test", {"car": name})
        assert bench.cards().texts["test"] == before
        bench.save_card("test", {"push.distance_mm": 44.0})
        assert bench.cards().test.push.distance_mm == 44.0
    finally:
        bench.close()


@pytest.mark.parametrize("spoilt", ["push = [", 'card = "test"\nname = "x"\ncar = "elsewhere.toml"\n', ""])
def test_a_card_spoilt_from_outside_opens_as_it_was_last_good(tmp_path: Path, spoilt: str) -> None:
    bench = Bench(tmp_path)
    bench.save_card("test", {"push.distance_mm": 44.0})
    bench.close()
    (tmp_path / "page" / "bench" / "test.toml").write_text(spoilt)
    bench = Bench(tmp_path)  # starts all the same
    try:
        told = bench.editor()["cards"]
        assert told["test"]["trouble"]
        assert told["car"]["trouble"] == ""
        fields = {field["path"]: field["value"] for part in told["test"]["sections"] for field in part["fields"]}
        assert fields["push.distance_mm"] == 44.0
        with pytest.raises(InputError):
            bench.cards()
        bench.restore_card("test")
        assert (tmp_path / "page" / "bench" / "test-spoilt.toml").read_text() == spoilt  # somebody's work is kept
        assert bench.cards().test.push.distance_mm == 44.0
        (tmp_path / "page" / "bench" / "test.toml").write_text(spoilt)
        bench.save_card("test", {"push.distance_mm": 46.0})  # saving from the editor puts it right, too
        assert bench.cards().test.push.distance_mm == 46.0
        bench.undo()
        assert bench.cards().test.push.distance_mm == 44.0
        assert not any(part["trouble"] for part in bench.editor()["cards"].values())
    finally:
        bench.close()


def test_undo_brings_back_every_byte(tmp_path: Path) -> None:
    deck = Deck(tmp_path / "cards")
    with BenchLog(tmp_path / "log") as log:
        texts = [deck.cards().texts]
        for value in (60.0, 70.0, 80.0):
            deck.save("test", {"push.position_pct": value, "grip.measured": True}, log)
            texts.append(deck.cards().texts)
        assert Deck(tmp_path / "cards").can_undo  # also after a restart
        for earlier in reversed(texts[:-1]):
            deck.undo(log)
            assert deck.cards().texts == earlier
        with pytest.raises(InputError, match="nothing to undo"):
            deck.undo(log)
        assert len([card for card in log.cards() if card.kind == "test"]) == 4


def test_of_many_saves_the_newest_can_be_undone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(card_files, "LONGEST_HISTORY", 3)
    deck = Deck(tmp_path / "cards")
    with BenchLog(tmp_path / "log") as log:
        for value in (61.0, 62.0, 63.0, 64.0, 65.0):
            deck.save("test", {"push.position_pct": value}, log)
        for earlier in (64.0, 63.0, 62.0):
            deck.undo(log)
            assert deck.cards().test.push.position_pct == earlier
        with pytest.raises(InputError, match="nothing to undo"):
            deck.undo(log)


def test_a_change_touches_its_line_only(tmp_path: Path) -> None:
    text = Deck(tmp_path).cards().texts["test"]
    new = changed(text, "test", {"push.position_pct": 80})
    differing = [(a, b) for a, b in zip(text.splitlines(), new.splitlines(), strict=True) if a != b]
    assert len(differing) == 1
    before, after = differing[0]
    assert re.match(r"position_pct = 80\.0 +# %", after)
    assert before.split("#")[1] == after.split("#")[1]


@pytest.mark.parametrize(
    ("kind", "values", "words"),
    [
        ("test", {"push.position_pct": 1e6}, "position_pct"),
        ("test", {"push.position_pct": 0.85}, r"position_pct = 85\?"),
        ("test", {"push.position_pct": "85,5"}, r"position_pct = 85\.5\?"),
        ("test", {"typed.weights_g": [0.4, 0.38, 0.39, 0.41]}, "kilograms"),
        ("test", {"push.wheels": "square"}, "blocked"),
        ("car", {"geometry.wheelbase_mm": None}, "missing"),
        ("car", {"geometry.wheelbse_mm": 3}, "not a key"),
        ("car", {"card": "test"}, "not a key"),
    ],
)
def test_a_wrong_card_is_refused_in_words(tmp_path: Path, kind: str, values: dict[str, object], words: str) -> None:
    deck = Deck(tmp_path / "cards")
    before = deck.cards().texts
    with BenchLog(tmp_path / "log") as log, pytest.raises(InputError, match=words):
        deck.save(kind, values, log)
    assert deck.cards().texts == before


# sliders


def cards_in(folder: Path) -> CardSet:
    """Starter cards: wheelbase 257 mm, tracks 165 mm, wheels blocked."""
    return Deck(folder).cards()


def asked(**more: float) -> WhatIf:
    """Sliders at rest: all alike, no ballast, pushed near the nose."""
    return WhatIf(**{"front": 0.8, "rear": 0.8, "ballast_g": 0.0, "ballast_pct": 0.0, "push_pct": 85.0} | more)


@pytest.mark.parametrize(
    ("sliders", "balance_pct"),
    [
        ({}, 50.0),
        ({"front": 1.2}, 60.0),  # 1.2 / (1.2 + 0.8)
        ({"rear": 1.2}, 40.0),
        # 1600 g alike, 400 g more in front: 600 and 400 g a wheel, a fifth off their mean; a tenth of that goes in grip
        (
            {"ballast_g": 400.0, "ballast_pct": 100.0},
            100 * 1200 * 0.98 / (1200 * 0.98 + 800 * 1.02),
        ),
        ({"ballast_g": 400.0, "ballast_pct": 50.0}, 50.0),
    ],
)
def test_the_balance_point_is_the_front_share_of_grip(
    tmp_path: Path, sliders: dict[str, float], balance_pct: float
) -> None:
    # moments of friction forces about the rear axle (statics), at once and with all doubts
    quick = what_if(cards_in(tmp_path), None, asked(**sliders), whole=False)
    assert quick.balance_pct == pytest.approx(balance_pct, abs=1e-9)
    np.testing.assert_allclose(np.sum(quick.load_g), 1600 + sliders.get("ballast_g", 0.0), rtol=1e-12)


def test_the_pivot_goes_to_the_other_side_of_a_mirrored_push(tmp_path: Path) -> None:
    # fore-and-aft mirror of a car that is alike all round: the pivot mirrors about the middle (law of symmetry)
    near, far = (
        what_if(cards_in(tmp_path), None, asked(push_pct=pct), whole=False).estimate.station_pct for pct in (85.0, 15.0)
    )
    assert near < 0
    assert near + far == pytest.approx(100.0, abs=0.05)


# the camera


class Gradient:
    """A camera that sees a plain board; has what is asked of a capture."""

    def isOpened(self) -> bool:  # noqa: N802
        """As cv2's."""
        return True

    def read(self) -> tuple[bool, np.ndarray]:
        """A new picture every 20 ms."""
        time.sleep(0.02)
        return True, np.tile(np.linspace(0, 255, 640).astype(np.uint8)[None, :, None], (480, 1, 3)).copy()

    def get(self, which: int) -> float:
        """Width, height, rate."""
        return {3: 640.0, 4: 480.0, 5: 50.0}.get(which, 0.0)

    def set(self, *_: object) -> bool:
        """Takes everything."""
        return True

    def release(self) -> None:
        """Nothing to let go."""


def test_the_camera_is_seen_with_advice_until_it_is_stopped(tmp_path: Path) -> None:
    import cv2

    bench = Bench(tmp_path)
    bench.camera_opener = lambda device: Gradient()
    bench.on_pads.weigh_typed([400.0] * 4, 1.0)
    assert bench.view.picture() is None
    bench.pushes.film()
    end = time.monotonic() + 10
    while not told(bench.broadcast.newest("camera"))["on"] and time.monotonic() < end:
        time.sleep(0.02)
    look = told(bench.broadcast.newest("camera"))
    assert look["car_seen"] == 0
    assert look["advice"]

    shown = asyncio.run(bench.view.next(-1))
    assert shown is not None
    seen = cv2.imdecode(np.frombuffer(shown.jpeg, np.uint8), cv2.IMREAD_GRAYSCALE)
    np.testing.assert_allclose(seen[240], np.linspace(0, 255, 640), atol=6)  # JPEG rounds by a few levels
    bench.work.stop()
    assert "Stopped" in str(wait(bench.work)["error"])
    assert told(bench.broadcast.newest("camera")) == {"on": False}
    bench.close()


def test_a_camera_that_is_taken_is_said_in_words(tmp_path: Path) -> None:
    class Taken(Gradient):
        def isOpened(self) -> bool:  # noqa: N802
            return False

    bench = Bench(tmp_path)
    bench.camera_opener = lambda device: Taken()
    bench.on_pads.weigh_typed([400.0] * 4, 1.0)
    bench.pushes.film()
    assert "Close the program that uses it" in str(wait(bench.work)["error"])
    bench.close()


# paper


def test_the_rail_has_a_notch_at_every_tenth_of_the_wheelbase() -> None:
    drawn = rail(250.0)
    places = {int(n): float(x) for x, n in re.findall(r'<text x="([\d.]+)" y="22"[^>]*>(\d+)</text>', drawn)}
    assert places == {n: 10.0 + 25.0 * n for n in range(11)}
    assert 'width="270.0mm"' in drawn
    assert 'viewBox="0 0 270.0 58"' in drawn  # one unit of the drawing is one millimetre


def test_the_teachers_pack_has_all_its_parts(tmp_path: Path) -> None:
    text = pack_html(cards_in(tmp_path))
    for part in (
        "weigher",
        "pusher",
        "filmer",
        "recorder",
        "Kit",
        "Wrong ideas",
        "First depth",
        "Second depth",
        "Worksheet",
        "Risk sheet",
        "push rail",
        "rolling tip",
        "Scale models only",
    ):
        assert part in text
    minutes = [tuple(map(int, pair)) for pair in re.findall(r"<td>(\d+) to (\d+)</td>", text)]
    assert minutes[0][0] == 0
    assert minutes[-1][1] == 45
    assert all(before[1] == after[0] for before, after in pairwise(minutes))


@pytest.mark.parametrize(("one", "other"), [("balanced", "ahead"), ("front-grip", "straight")])
def test_a_car_that_is_pushed_elsewhere_is_the_same_car(one: str, other: str) -> None:
    """What was weighed in one step stands on the pads in the other, to the last digit."""
    first, second = (step.setup for step in STEPS if step.name in (one, other))
    assert first is not None
    assert second is not None
    assert first.name != second.name
    np.testing.assert_array_equal(true_car(first, 3).corner_g, true_car(second, 3).corner_g)
    cards = [parse_card(step_cards(STEPS[0], setup)["car"], CarCard, where="car") for setup in (first, second)]
    assert not car_changes(*cards)


# the game


@pytest.mark.thorough
def test_the_odds_point_to_what_was_hidden(tmp_path: Path) -> None:
    bench = Bench(tmp_path, time_factor=12.0)
    game = HiddenGame(bench)
    try:
        bench.switch_virtual(True)
        wait(bench.work)
        assert bench.virtual is not None
        bench.on_pads.weigh_typed([395.0, 395.0, 385.0, 385.0], 1.0)
        game.start("grippier rear tyres")
        bench.save_card("test", {"push.distance_mm": 40.0, "push.speed_mm_s": 50.0})  # a short film
        game.push(85.0)
        wait(bench.work)
        odds = dict(told(bench.broadcast.newest("hidden"))["odds"])  # type: ignore[call-overload]
        # grip or weight behind move the balance point one way, in front the other way (statics): the way is plain, as
        # plain as 95 %; more cannot be asked of one push on a floor that may slope (0.2 degrees, as the card has it)
        behind = odds["grippier rear tyres"] + odds["150 g at the rear"]
        assert behind > 20 * (odds["grippier front tyres"] + odds["150 g at the front"])
        assert sum(odds.values()) == pytest.approx(1.0, abs=1e-3)
        assert "grippier rear tyres" in game.reveal()
    finally:
        bench.close()


def test_every_warning_of_a_weighing_is_on_the_page(tmp_path: Path) -> None:
    """Nobody's sizes, one placing only, scales nobody named, and a part counted in: in the log and on the page."""
    bench = Bench(tmp_path)
    try:
        card = next(tmp_path.rglob("car.toml"))
        text = '\n[[masses.parts]]\nname = "body clip"\nmass_g = 12.0\nx_mm = 130.0\n'
        card.write_text(card.read_text(encoding="utf-8") + text, encoding="utf-8")
        bench.on_pads.weigh_typed([400.0, 410.0, 390.0, 420.0], 1.0)
        shown = told(bench.broadcast.newest("car"))["weights"]["warnings"]  # type: ignore[index]
        with bench.log() as log:
            (record,) = log.records(kind=WEIGHING)
        assert tuple(shown) == record.result.warnings
        assert len(shown) == 4
        assert "Nobody measured wheelbase_mm = 257, track_front_mm = 165, track_rear_mm = 165: they came" in shown[0]
        assert "does not say whether one scale" in shown[2]
        assert "body clip +12 g" in shown[3]
    finally:
        bench.close()


# failures


@pytest.mark.parametrize(
    ("error", "status"),
    [  # the head of `told`: 400 wrong input, 409 it cannot be done now, 500 our fault
        (InputError("pivotbench itself", where="pivotbench itself", remedy="Name another"), 400),
        (BenchError("fell", where="pivotbench itself is at fault", remedy="Lift it"), 409),
        (ZeroDivisionError("by zero"), 500),
    ],
)
def test_the_answer_to_a_failure_goes_by_its_type(error: Exception, status: int) -> None:
    async def fails(request: object) -> Response:
        raise error

    answer = asyncio.run(answering(fails)(None))  # type: ignore[arg-type]
    assert answer.status_code == status
