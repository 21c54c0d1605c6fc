"""A car that was weighed and whose pivot was typed, as every page, sheet of paper and class is told of it.

Truth: what was typed, and sums by hand; no two wheels, ends, sides or diagonals are alike.
"""

import html
import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.base.plain_json import finite_json
from rig.jobs.moving.reach import Tried
from rig.pads.steps import Step
from rig.page.bench.bench import Bench
from rig.page.bench.changes import Changes
from rig.page.classroom.classroom import Classroom
from rig.page.classroom.one_sheet import change_sheet, push_sheet, region_sheet, weights_sheet
from rig.page.classroom.question import Vote
from rig.page.live.racer import EMPTY_G, HELD_S, HandsFree
from rig.page.server.record import compared, past
from rig.records.classroom import FIRST_TRY, GUESS
from rig.records.pushing import COMPARISON
from rig.virtual.dunlin import ON_SPRINGS
from tests.rig.page.bench.test_parts import told

LOADS = [430.0, 410.0, 385.0, 395.0]
TOTAL = 1620.0


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A car on springs, weighed by typing; its pivot was found at 180 +- 6 % with a ruler."""
    bench = Bench(tmp_path_factory.mktemp("typed"))
    bench.save_card("car", dict(ON_SPRINGS) | {"name": "Heron"})
    bench.save_card("test", {"name": "left at 30", "push.position_pct": 30.0, "push.side": "left"})
    bench.on_pads.weigh_typed(LOADS, 1.0)
    yield bench
    bench.close()


@pytest.fixture
def judged(bench: Bench) -> Bench:
    """The same bench with the pivot judged just now, whatever was asked of it before."""
    bench.pushes.judge_typed(-20.0, 3.0)
    bench.work.wait(60.0)
    said = told(bench.broadcast.newest("job"))
    assert not said["error"], said
    return bench


def words_of(page: str) -> str:
    """A page's text, a blank between its parts."""
    body = re.sub(r"<style.*?</style>|<script.*?</script>", " ", page, flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def test_the_sheet_of_a_weighing_names_every_wheel_and_share(bench: Bench) -> None:
    """By hand: 1 g steps, 4 g of seating a wheel, and 0.577 % common to all and of each scale's own, nobody having said
    which: 10 g a wheel, 25.8 in all."""
    text = words_of(weights_sheet(bench))
    for wheel, grams in zip(("front left", "front right", "rear left", "rear right"), LOADS, strict=True):
        assert f" {wheel} {grams:.0f} ± 10 g" in text
    shares = {
        " total": "1620 ± 26 g",
        " front": "51.9",
        " left": "50.3",
        "+ rear left)": "49.1",
        "+ rear right)": "50.9",
    }
    for name, figure in shares.items():  # by hand: 840, 815, 795, 825 of 1620
        assert f"{name} {figure}" in text
    assert "1620 ± 26 g, 51.9 ± 0.6 % of it in front." in text
    assert text.startswith("Heron: corner weights")
    assert bench.weighing is not None
    assert f"Record {bench.weighing.record.number} of the log" in text


def test_a_typed_pivot_is_judged_and_told_everywhere_alike(judged: Bench) -> None:
    with judged.log() as log:
        record = log.latest(COMPARISON)
    assert record is not None
    car = told(judged.broadcast.newest("car"))
    verdict = car["verdict"]
    assert isinstance(verdict, dict)
    assert verdict["record"] == record.number
    assert (verdict["car"], verdict["test"], verdict["push_pct"]) == ("Heron", "left at 30", 30.0)
    assert verdict["measured"]["station_pct"] == pytest.approx(-20.0)
    low, high = verdict["measured"]["interval_pct"]
    assert (low, high) == pytest.approx((-20 - 1.96 * 3, -20 + 1.96 * 3), abs=0.6)
    assert verdict["found"] == record.result.sentence
    assert verdict["verdict"] == record.result.verdict
    row = compared(judged)["rows"][-1]
    assert (row["number"], row["setup"], row["test"]) == (record.number, "Heron", "left at 30")
    assert row["measured"] is None  # no clip
    assert finite_json(row["forecast"]) == verdict["forecast"]
    newest = past(judged)["records"][0]
    assert (newest["number"], newest["kind"], newest["words"]) == (record.number, "comparison", record.result.sentence)
    text = words_of(push_sheet(judged))
    assert text.startswith("Heron: left at 30")
    assert verdict["sentence"] in text
    assert record.result.sentence in text
    assert f"Record {record.number} of the log" in text


@pytest.mark.thorough
def test_the_sheet_of_the_region_has_now_and_tried_in_their_columns(bench: Bench) -> None:
    tried = Tried(bars=(ON_SPRINGS["chassis.front.bar_n_per_mm"] + 1.0, None))
    both = bench.region.ask(tried)
    text = words_of(region_sheet(bench, tried))
    for (name, now), (_, then) in zip(both["now"]["rows"], both["tried"]["rows"], strict=True):
        assert f"{name} {now} {then}" in text
    assert both["tried"]["change"] in text
    alone = words_of(region_sheet(bench, Tried()))
    assert both["tried"]["change"] not in alone
    assert f"{both['now']['rows'][0][1]} % of the wheelbase." in alone


def test_nothing_to_print_is_said(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    try:
        for sheet, words in (
            (lambda: push_sheet(bench), "no push"),
            (lambda: weights_sheet(bench), "not been weighed"),
            (lambda: change_sheet(Changes(bench)), "nothing was compared"),
        ):
            with pytest.raises(InputError, match=words):
                sheet()
    finally:
        bench.close()


def test_a_first_push_tells_how_far_the_ring_was(bench: Bench) -> None:
    """A car alike all round, pushed at 30 %, swings about a place ahead of its middle; the ring's distance by hand."""
    said = Classroom(bench).first_push(110.0, -35.0)["sentence"]
    shown = told(bench.broadcast.newest("first"))
    length = bench.cards().car.geometry.wheelbase_mm
    assert shown["pin"] == pytest.approx([1.1 * length, -35.0])
    place = np.array(shown["place_mm"])
    assert place[0] > length / 2
    away = math.hypot(place[0] - 1.1 * length, place[1] + 35.0)
    assert f"Your ring was {away:.0f} mm away" in said
    assert said.startswith("A virtual car, alike all round, not yours: it swung")
    assert shown["of_this_bench"] is False
    with bench.log() as log:
        record = log.latest(FIRST_TRY)
    assert record is not None
    assert (record.inputs.pin_pct, record.inputs.pin_side_mm, record.inputs.push_pct) == (110.0, -35.0, 30.0)
    assert record.result.kappa_per_m == pytest.approx(shown["kappa_per_m"])
    # pushed to the right behind its middle the tail goes with the finger: the nose turns to the left
    assert shown["poses"][-1][1] < 0 < shown["poses"][-1][2]  # type: ignore[index]


@pytest.mark.thorough
def test_a_class_sees_the_answer_when_it_is_revealed(judged: Bench) -> None:
    room = Classroom(judged)
    judged.choose_step("balanced")
    room.vote(Vote(who="a", place=(30.0, 0.0)))
    with pytest.raises(InputError, match="nothing was pushed yet"):
        room.reveal()
    assert "sentence" not in told(judged.broadcast.newest("class"))
    room.vote(Vote(who="b", place=(70.0, 12.0), reason="so"))
    judged.pushes.judge_typed(-20.0, 3.0)
    judged.work.wait(60.0)
    assert told(judged.broadcast.newest("class"))["pushed"] is True
    said = room.reveal()
    shown = told(judged.broadcast.newest("class"))
    verdict = told(judged.broadcast.newest("car"))["verdict"]
    assert isinstance(verdict, dict)
    assert shown["sentence"] == said
    assert verdict["found"] in said
    assert (shown["measured"], shown["forecast"]) == (verdict["measured"], verdict["forecast"])
    assert shown["measured"] != shown["forecast"]
    assert shown["guesses"] == [[30.0, 0.0], [70.0, 12.0]]
    assert shown["reasons"] == ["so"]
    with judged.log() as log:
        guess, record = log.latest(GUESS), log.latest(COMPARISON)
    assert guess is not None
    assert record is not None
    assert guess.inputs.guesses == ((30.0, 0.0), (70.0, 12.0))
    assert guess.parents == (record.id,)
    room.second_vote()
    with pytest.raises(InputError, match="second vote is open"):
        room.reveal()


def test_the_wanted_cross_weight_is_kept_and_told_in_grams(bench: Bench) -> None:
    assert bench.want_cross(48.0) == "Wanted cross weight: 48 %."
    racer = told(bench.broadcast.newest("car"))["racer"]
    assert isinstance(racer, dict)
    assert racer["target_pct"] == 48.0
    assert racer["over_g"] == pytest.approx(795 - 0.48 * TOTAL, abs=0.5)
    assert bench.hub.cross_target_pct == 48.0
    with pytest.raises(InputError, match="cannot be meant"):
        bench.want_cross(29.9)
    with pytest.raises(InputError, match="cannot be meant"):
        bench.want_cross(70.1)
    assert bench.cross_target.share_pct == 48.0


def test_the_pads_answer_for_full_hands() -> None:
    """The car that stood there was not set down anew; at rest it counts after a while, and only without a break."""
    now, shown = 0.0, dict[str, object]()
    free = HandsFree(lambda: shown or None, clock=lambda: now)
    car, empty = Step(text="car", action="car"), Step(text="off", action="empty")

    def at(moment: float, total: float | None, settled: bool, step: Step) -> bool:
        nonlocal now
        now = moment
        shown.update(total_g=total, settled=settled)
        return free.done(step)

    assert not at(0.0, 1600.0, True, car)
    assert not at(10.0, 1600.0, True, car)  # it stood there when it was asked for
    assert not at(11.0, EMPTY_G - 1, False, car)  # lifted
    assert not at(12.0, 1600.0, False, car)
    assert not at(13.0, 1600.0, True, car)
    assert not at(13.0 + 0.9 * HELD_S, 1600.0, True, car)
    assert not at(13.1 + 0.9 * HELD_S, 1600.0, False, car)  # touched
    assert not at(20.0, 1600.0, True, car)
    assert at(20.0 + HELD_S, 1600.0, True, car)
    assert not at(30.0, 1600.0, True, empty)
    assert not at(31.0, EMPTY_G - 1, True, empty)
    assert not at(32.0, None, True, empty)
    assert at(31.0 + HELD_S, EMPTY_G - 1, True, empty)
