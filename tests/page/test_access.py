"""Everybody can use the page: a checker in the browser, keyboard, widths, light and dark, loading, trouble in words."""

import re
from pathlib import Path
from typing import Any

import pytest

from rig.base.errors import BenchError
from rig.log.store import BenchLog
from rig.virtual.dunlin import ON_SPRINGS
from tests.page.accessible import findings
from tests.page.browser import idle, picture, served, until, until_bench, watched
from tests.page.laid_out import faults

SMALLEST_TEXT_PX = 14
LARGEST_LOAD_BYTES = 300_000


def smallest_text(page: Any) -> float:
    """px of the smallest visible text; for SVG, as drawn."""
    return float(
        page.evaluate(
            """() => Math.min(...[...document.querySelectorAll('body *')].filter((node) => node.checkVisibility() &&
            [...node.childNodes].some((child) => child.nodeType === 3 && child.data.trim())).map((node) => {
              const size = parseFloat(getComputedStyle(node).fontSize);
              const svg = node.ownerSVGElement;
              return svg ? size * svg.getScreenCTM().a : size;
            }))"""
        )
    )


@pytest.mark.thorough
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_accessible_at_every_width(browser: Any, tmp_path: Path, scheme: str) -> None:
    """320 px is also what a window of 1280 px shows at 400 %, and more than it shows at 200 % (WCAG 2.2, 1.4.10)."""
    with served(tmp_path) as serving:
        # the dark colours are the same at every width
        sizes = (("", 320), ("class", 320), ("racer", 320), ("print/pack", 900)) if scheme == "light" else ()
        for path, width in (("", 1280), ("class", 1920), *sizes):
            page = browser.new_context(color_scheme=scheme, viewport={"width": width, "height": 900}).new_page()
            wrong = watched(page)
            page.goto(serving.url + path)
            if path in ("", "class"):
                until(page, "document.querySelector('svg.car .outline') !== null")
                page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
            page.wait_for_timeout(300)
            picture(page, f"{scheme}-{path.replace('/', '-') or 'bench'}-{width}")
            assert findings(page) == []
            assert smallest_text(page) >= SMALLEST_TEXT_PX - 0.5
            if path != "print/pack":  # drawings to scale may be wider than a screen, in a box that scrolls
                assert faults(page) == []
            assert wrong == []
            page.context.close()


def test_the_work_can_be_done_from_the_keyboard(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        page = browser.new_page()
        page.goto(serving.url)
        until(page, "window.benchReady && document.querySelector('svg.car .outline') !== null")
        assert "off" in page.inner_text("#virtual")  # a virtual car is there at once, with nothing switched on

        def to(name: str) -> None:
            for _ in range(80):
                page.keyboard.press("Tab")
                if page.evaluate(f"document.activeElement?.matches('{name}')"):
                    return
            raise AssertionError(f"the keyboard does not reach {name}")

        to("svg.car")
        before = float(page.input_value("#pin-pct"))
        for _ in range(10):
            page.keyboard.press("ArrowLeft")
        assert float(page.input_value("#pin-pct")) < before - 10
        to("#first-push")
        page.keyboard.press("Space")
        until(page, "document.getElementById('first-said').textContent !== ''")
        # blocked wheels all alike, pushed 35 % ahead of the middle: it swings about a point on the other side (moments)
        where = re.search(r"(\d+) mm (ahead of|behind) the rear axle", page.inner_text("#first-said"))
        assert where
        assert where.group(2) == "behind" or int(where.group(1)) < 257 / 2


def test_the_first_load_is_small_and_quick(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        page = browser.new_page()
        page.goto(serving.url)
        until(page, "window.benchReady")
        sizes = page.evaluate(
            "performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation'))"
            ".filter((one) => !one.name.endsWith('/events')).map((one) => [one.name, one.encodedBodySize])"
        )
        assert len(sizes) > 8
        assert sum(size for _, size in sizes) < LARGEST_LOAD_BYTES
        assert all(name.startswith(serving.url) for name, _ in sizes)  # nothing from the internet


@pytest.mark.thorough
def test_trouble_is_said_and_passes(browser: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with served(tmp_path) as serving:
        page, other = browser.new_page(), browser.new_page()
        for one in (page, other):
            one.goto(serving.url)
            until(one, "window.benchReady")
        page.click("#virtual")
        idle(page, serving)
        virtual = serving.bench.virtual
        assert virtual is not None
        until(other, "document.getElementById('virtual').textContent.endsWith('on')")  # two windows, one bench
        virtual.pads.unplug()
        for one in (page, other):
            until(one, "document.getElementById('trouble').textContent.includes('Plug the pads in again')")
        virtual.pads.plug_in()
        until(page, "document.getElementById('trouble').hidden")

        def full(*_: object, **__: object) -> None:
            raise BenchError("there is no room left", where="disk", remedy="Make room on the disk")

        page.click("#zero")
        idle(page, serving)
        with monkeypatch.context() as patch:
            patch.setattr(BenchLog, "record", full)
            page.click("#weigh-now")
            assert "Make room on the disk" in idle(page, serving)
        page.click("#weigh-now")
        assert "Weighed" in idle(page, serving)

        page.evaluate("fetch('/api/do/push', {method: 'POST'})")  # without the token nothing happens
        page.wait_for_timeout(200)
        assert not serving.bench.work.busy
        page.click("#push-now")
        until(page, "!document.getElementById('job-stop').hidden")
        page.click("#job-stop")
        assert "Stopped" in idle(page, serving)


@pytest.mark.thorough
def test_the_page_finds_a_restarted_bench_again(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        port = serving.port
        page = browser.new_page()
        page.goto(serving.url)
        until(page, "document.getElementById('link').textContent === 'Connected'")
        serving.bench.on_pads.weigh_typed([400.0, 401.0, 399.0, 402.0], 1.0)
        until(page, "document.getElementById('total').textContent.startsWith('1602')")
    until(page, "document.getElementById('trouble').textContent.includes('does not answer')")
    from rig.page.server.serve import Serving

    again = Serving(tmp_path, port=port)
    again.start()
    try:
        until(page, "document.getElementById('link').textContent.includes('restarted')")
        until(page, "document.getElementById('total').textContent.startsWith('1602')")  # nothing recorded is lost
        until(page, "document.querySelector('#f-push-height_mm') !== null")
        page.click("#f-push-height_mm")
        field = page.query_selector("#f-push-height_mm")
        again.bench.tell()  # news of the car, before the first letter: nothing on the cards differs, the field stays
        page.wait_for_timeout(300)
        assert field.evaluate("(field) => field === document.activeElement")
        again.bench.save_card("test", {"push.distance_mm": 41.0})  # the same with another card: it is drawn anew
        until(page, "document.querySelector('#f-push-distance_mm').value === '41'")
        page.keyboard.press("Control+A")
        page.keyboard.type("7")
        again.bench.tell()  # while somebody types
        page.wait_for_timeout(300)
        assert page.input_value("#f-push-height_mm") == "7"
        page.click("#save-card")  # with the token of the new start
        until_bench(page, lambda: again.bench.cards().test.push.height_mm == 7.0)
        until(page, "!document.getElementById('undo').disabled")
    finally:
        again.stop()


LONG = "Dunlin with the long name of somebody who writes everything on the card, front-rubber/soft/2026-11-29_test"


def judged(page: Any, serving: Any) -> None:
    """A verdict and a comparison, without a film."""
    serving.bench.on_pads.weigh_typed([400.0, 410.0, 390.0, 400.0], 1.0)
    serving.bench.pushes.judge_typed(-20.0, 1.0)
    idle(page, serving)  # waited for like a click's own job, so that the next wait is not for this one
    until_bench(page, lambda: serving.bench.verdict is not None)


def at_every_size(page: Any) -> None:
    """From a small phone to a projector, and a window of 1280 x 900 px at 200 %; back to the size that was before."""
    before = page.viewport_size
    for width, height in ((320, 640), (390, 844), (640, 450), (820, 1180), (1280, 900), (1920, 1080)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(200)
        assert faults(page) == [], width
    page.set_viewport_size(before)


@pytest.mark.thorough
def test_every_state_is_accessible_and_large_enough(browser: Any, tmp_path: Path) -> None:
    """With a verdict, comparisons, a long name and a class in each phase; letters of 11 px or more at 390 px."""
    with served(tmp_path) as serving:
        page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        wrong = watched(page)
        serving.bench.save_card("car", dict(ON_SPRINGS) | {"name": LONG})
        page.goto(serving.url)
        judged(page, serving)
        until(page, "document.querySelector('.dots') !== null && !document.getElementById('verdict').hidden")
        page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
        page.wait_for_timeout(300)
        assert smallest_text(page) >= 11.0
        at_every_size(page)
        assert findings(page) == []
        page.click("#move-go")
        until(page, "document.querySelectorAll('svg.region .reach.now .edge').length === 2")
        page.evaluate(
            "const one = document.getElementById('move-bar_front'); one.value = 2;"
            " one.dispatchEvent(new Event('input'))"
        )
        until(page, "document.getElementById('region-change').textContent !== ''")
        at_every_size(page)
        table = page.inner_text("#weights-table")
        assert re.search(r"front right\s+410\.0 ± [\d.]+", table)
        assert "measured pivot" in page.inner_text("#results-table")
        assert page.get_attribute("#slide-front", "aria-label") == "grip factor, front"
        picture(page, "verdict-390")

        room = serving.page.classroom
        page.goto(serving.url + "class")
        until(page, "document.querySelector('svg.car .outline') !== null")
        serving.page.phones.switch(True)
        page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
        room.again()
        room.guess(20.0, 0.0)
        for act in (lambda: None, room.all_in, None, room.reveal, room.second_vote, room.all_in):
            if act is None:
                serving.bench.pushes.judge_typed(-25.0, 1.0)
                until_bench(page, lambda: not serving.bench.work.busy)
            else:
                act()
            page.wait_for_timeout(250)
            assert findings(page) == [], room.question.phase
            at_every_size(page)
        opened = room.phones
        assert opened is not None
        for path in (f"{serving.url}racer", opened["address"]):
            page.goto(path)
            page.wait_for_timeout(500)
            assert findings(page) == []
            assert smallest_text(page) >= 11.0
            at_every_size(page)
        assert wrong == []


@pytest.mark.thorough
def test_the_class_screen_shows_the_whole_answer_at_once(browser: Any, tmp_path: Path) -> None:
    """On a projector of 1920 x 1080 nothing of the reveal lies below the edge, under something else, or upon it."""
    with served(tmp_path) as serving:
        page = browser.new_context(viewport={"width": 1920, "height": 1080}).new_page()
        page.goto(serving.url + "class")
        judged(page, serving)
        serving.bench.choose_step("front-grip")
        serving.bench.on_pads.weigh_typed([400.0, 410.0, 390.0, 400.0], 1.0)
        room = serving.page.classroom
        for number in range(24):
            room.guess(-30.0 + 7 * number, 5.0 * (number % 5))
        room.all_in()
        serving.bench.pushes.judge_typed(170.0, 1.0)
        until_bench(page, lambda: room._pushed() is not None and not serving.bench.work.busy)
        room.reveal()
        until(page, "document.getElementById('answer').textContent.includes('24 guesses')")
        page.wait_for_timeout(2500)  # the swing, and its end
        picture(page, "class-1920")
        boxes = page.evaluate(
            "Object.fromEntries(['#answer', 'svg.car', '#question', '#reveal', '#again', '#tally'].map((name) => {"
            " const b = document.querySelector(name).getBoundingClientRect();"
            " return [name, [b.left, b.top, b.right, b.bottom]]; }))"
        )
        for name, (left, top, right, bottom) in boxes.items():
            assert left >= 0, name
            assert top >= 0, name
            assert right <= 1920, name
            assert bottom <= 1080, (name, boxes)
        names = list(boxes)
        for index, one in enumerate(names):
            for other in names[index + 1 :]:
                a, b = boxes[one], boxes[other]
                apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
                assert apart, (one, other, boxes)
        # the measured mark is drawn after the guesses, so that none of them covers it
        order = page.evaluate("[...document.querySelectorAll('svg.car > g')].map((one) => one.getAttribute('class'))")
        assert order.index("guesses") < order.index("forecast") < order.index("measured")


@pytest.mark.thorough
def test_ten_stops_lead_to_the_next_step(browser: Any, tmp_path: Path) -> None:
    """Weigh, what is asked meanwhile, push, and the next experiment: from each to the next by the keyboard."""
    with served(tmp_path) as serving:
        page = browser.new_page()
        page.goto(serving.url)
        until(page, "window.benchReady")
        page.click("#virtual")
        idle(page, serving)
        until(page, "document.querySelectorAll('#steps button').length > 5")

        def stops(start: str, goal: str) -> int:
            page.focus(start)
            for count in range(1, 40):
                page.keyboard.press("Tab")
                if page.evaluate(f"document.activeElement?.matches('{goal}')"):
                    return count
            raise AssertionError(f"the keyboard does not reach {goal} from {start}")

        serving.bench.on_pads.weigh_typed([400.0, 410.0, 390.0, 400.0], 1.0)
        until(page, "!document.getElementById('push-now').disabled")
        assert stops("svg.car", "#first-push") <= 10
        assert stops("#zero", "#weigh-now") <= 10
        assert stops("#weigh-now", "#push-now") <= 10
        # the next experiment: chosen at the verdict, and the keyboard stands at its weighing
        judged(page, serving)
        until(page, "!document.getElementById('next-step').hidden")
        assert stops("#push-now", "#next-step") <= 10
        page.keyboard.press("Enter")
        until(page, "document.activeElement.id === 'weigh-now'")
        assert serving.bench.step is not None
        assert serving.bench.step.name == "solid"  # after pushing near the nose

        # a step that is asked for comes to the keyboard; afterwards it stands where it was
        page.click("#zero")
        idle(page, serving)
        page.focus("#weigh-now")
        virtual = serving.bench.virtual
        serving.bench.virtual = None
        page.keyboard.press("Enter")
        until(page, "document.activeElement.id === 'job-done'")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.id") == "job-stop"
        page.keyboard.press("Enter")
        until(page, "document.activeElement.id === 'weigh-now'")
        serving.bench.virtual = virtual


def swipe(context: Any, page: Any, x: float, y: float) -> None:
    """A finger moves up by 150 px from a place on the screen."""
    touch = context.new_cdp_session(page)
    for kind, up in [("touchStart", 0), *(("touchMove", 15 * k) for k in range(1, 11)), ("touchEnd", None)]:
        points = [] if up is None else [{"x": x, "y": y - up}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        page.wait_for_timeout(20)
    page.wait_for_timeout(300)


@pytest.mark.thorough
def test_a_finger_scrolls_past_the_car_of_a_phone_on_its_side(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        serving.page.phones.switch(True)
        opened = serving.page.classroom.phones
        assert opened is not None
        context = browser.new_context(viewport={"width": 844, "height": 390}, has_touch=True, is_mobile=True)
        for address in (opened["address"], serving.url):
            page = context.new_page()
            page.goto(address)
            until(page, "document.querySelector('svg.car .ring') !== null")
            box = page.evaluate(
                "(() => { const b = document.querySelector('svg.car').getBoundingClientRect();"
                " return [b.left, b.top + scrollY, b.width, b.height]; })()"
            )
            assert box[3] <= 0.8 * 390  # room beside it to see that there is more
            page.evaluate(f"scrollTo(0, {box[1]})")
            before = page.evaluate("[scrollY, document.getElementById('pin-pct').value]")
            swipe(context, page, box[0] + 0.2 * box[2], 0.7 * box[3])
            after = page.evaluate("[scrollY, document.getElementById('pin-pct').value]")
            assert after[0] > before[0] + 100
            assert after[1] == before[1]  # and the ring stays
            page.evaluate(f"scrollTo(0, {box[1]})")
            page.touchscreen.tap(box[0] + 0.3 * box[2], 0.5 * box[3])
            assert page.input_value("#pin-pct") != before[1]


@pytest.mark.thorough
def test_two_clicks_lead_from_opening_to_the_first_verdict(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        page = browser.new_page()
        page.goto(serving.url)
        until(page, "window.benchReady && document.getElementById('link').textContent === 'Connected'")
        page.click("#virtual")
        idle(page, serving)
        serving.bench.save_card("test", {"push.distance_mm": 40.0, "push.speed_mm_s": 50.0})  # for a short film
        until(page, "document.getElementById('push-now').textContent.startsWith('Weigh, push')")
        page.click("#push-now")
        sentence = idle(page, serving)
        until(page, "!document.getElementById('verdict').hidden")
        assert page.inner_text("#sentence") == sentence
        assert "wheels blocked" in sentence
        assert serving.bench.weighing is not None
        until(page, "document.getElementById('push-now').textContent.startsWith('Push and')")
