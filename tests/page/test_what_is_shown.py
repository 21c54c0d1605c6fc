"""What stands on the page belongs together: a what-if with its own drawing, cards with their car, text with its typist.

Truth: what was asked, and what the same page says at another moment.
"""

import re
from pathlib import Path
from typing import Any

import pytest

from tests.page.accessible import findings
from tests.page.browser import idle, picture, served, until, until_bench, watched

RADII = "[...document.querySelectorAll('svg.car circle.load')].map((one) => Number(one.getAttribute('r')))"
BALANCE = "[...document.querySelectorAll('svg.car .balance')].map((one) => one.getAttribute('d'))"
WORDS = "document.getElementById('what-words').textContent"


def slide_to(page: Any, name: str, value: float, *, release: bool) -> None:
    """Move a slider, and let it go or not."""
    page.evaluate(
        "([name, value, kind]) => { const one = document.getElementById(`slide-${name}`);"
        " one.value = value; one.dispatchEvent(new Event(kind)); }",
        [name, value, "change" if release else "input"],
    )


def station(page: Any) -> float:
    """The pivot in the what-if's words."""
    found = re.search(r"Pivot: ([−\d.]+) %", page.evaluate(WORDS))
    assert found, page.evaluate(WORDS)
    return float(found[1].replace("−", "-"))


def the_region_is_tried_and_kept(page: Any, serving: Any) -> None:
    """Nothing stands on the card before it is asked for; what is told has its ±. Truth: what a slider was set to."""
    page.click("#move-go")
    until(page, "document.querySelectorAll('svg.region .reach.now .edge').length === 2")  # large, and in the whole car
    before = serving.bench.cards().texts["car"]
    page.click("#freeze summary")
    page.click("#freeze-go")
    until(page, "document.querySelectorAll('#freeze-table tbody tr').length === 5")
    assert page.locator("svg.frozen .ballast").count() >= 2
    page.evaluate(
        "const one = document.getElementById('move-bar_front'); one.value = 2; one.dispatchEvent(new Event('input'))"
    )
    until(page, "document.getElementById('region-change').textContent !== ''")
    assert page.locator("svg.region .reach.tried .edge").count() == 2
    cells = page.locator("#region-table tbody td").all_inner_texts()
    assert len(cells) == 14
    assert all("±" in cell or "(+" in cell or " to " in cell for cell in cells), cells
    assert serving.bench.cards().texts["car"] == before
    assert findings(page) == []
    page.click("#move-keep")
    until_bench(page, lambda: serving.bench.cards().car.chassis.front.bar_n_per_mm == 2.0)
    until(page, "document.getElementById('region-change').textContent === ''")
    until(page, "document.getElementById('move-bar_front').value === '2'")
    page.click("#undo")
    until_bench(page, lambda: serving.bench.cards().texts["car"] == before)


@pytest.mark.thorough
def test_a_what_if_agrees_with_itself(browser: Any, tmp_path: Path) -> None:
    """A slider in motion and one let go: one pivot. The discs and the balance line are those of its numbers."""
    with served(tmp_path) as serving:
        page = browser.new_page()
        wrong = watched(page)
        page.goto(serving.url)
        until(page, "window.benchReady && document.getElementById('link').textContent === 'Connected'")
        page.click("#virtual")
        idle(page, serving)
        page.click("#zero")
        idle(page, serving)
        serving.bench.on_pads.weigh_typed([400.0] * 4, 1.0)
        serving.bench.pushes.judge_typed(-20.0, 1.0)  # so that there is a balance line of the car as it is
        until(page, f"{BALANCE}.length === 1")
        virtual = serving.bench.virtual
        assert virtual is not None
        virtual.pads.set_loads([400.0] * 4)  # live loads keep coming
        until(page, "/^Live: (159|160)/.test(document.getElementById('live-words').textContent)")
        for at in (85.0, 70.0):
            slide_to(page, "push_pct", at, release=False)
            until(
                page, f"{WORDS}.includes('best estimates') && document.getElementById('slide-push_pct').value == {at}"
            )
            page.wait_for_timeout(300)
            moving = station(page)
            slide_to(page, "push_pct", at, release=True)
            until(page, f"{WORDS}.includes(' to ')")
            assert station(page) == moving

        # ballast over the front axle: discs and balance line of the new loads, whatever the pads say meanwhile
        slide_to(page, "ballast_g", 400.0, release=False)
        slide_to(page, "ballast_pct", 100.0, release=True)
        until(page, f"{WORDS}.includes('balance point 60.')")  # 1,200 of 2,000 g in front, all tyres alike (statics)
        page.wait_for_timeout(600)
        radii = page.evaluate(RADII)
        # area carries the load: 600 g in front, 400 g behind
        assert abs((radii[0] / radii[2]) ** 2 - 1.5) < 0.01
        (line,) = page.evaluate(BALANCE)
        assert abs(float(re.match(r"M([\d.]+)", line)[1]) - 0.6 * 257) < 1.0  # type: ignore[index]
        picture(page, "what-if")
        serving.bench.tell()  # news of the car
        page.wait_for_timeout(600)
        assert page.evaluate(BALANCE) == [line]
        page.click("#what-end")
        until(page, f"{WORDS} === ''")
        (line,) = page.evaluate(BALANCE)
        assert abs(float(re.match(r"M([\d.]+)", line)[1]) - 0.5 * 257) < 1.0  # type: ignore[index]

        # a wheel put on ballast by hand: the live discs move, and the old balance line is not drawn under them
        virtual.pads.set_loads([700.0, 400.0, 400.0, 400.0])
        until(page, "/^Live: 19/.test(document.getElementById('live-words').textContent)")
        until(page, f"{BALANCE}.length === 0", 10)
        the_region_is_tried_and_kept(page, serving)

        # another experiment is another car: the sliders go back to it, and nothing before it can be undone onto it
        slide_to(page, "push_pct", 20.0, release=True)
        until(page, f"{WORDS}.includes(' to ')")
        serving.bench.save_card("car", {"name": "Dunlin before the step"})
        until(page, "!document.getElementById('undo').disabled")
        page.click("#step-front-grip")
        until(page, "document.getElementById('carname').textContent.includes('more grip in front')")
        until(page, f"{WORDS} === ''")
        until(page, "document.getElementById('undo').disabled")
        assert serving.bench.cards().test.grip.front == 0.96
        assert wrong == []


def test_a_first_try_on_a_real_bench_is_not_drawn_as_measured(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        page = browser.new_page()
        page.goto(serving.url)
        until(page, "window.benchReady && document.querySelector('svg.car .outline') !== null")
        page.click("#first-push")
        until(page, "document.querySelector('svg.car .tried .mark') !== null")
        assert page.locator("svg.car .measured .mark").count() == 0
        assert "virtual car" in page.inner_text("#first-said")
        assert "not yours" in page.inner_text("#first-said")


@pytest.mark.thorough
def test_other_windows_leave_half_typed_text_alone(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        bench = serving.bench
        context = browser.new_context()
        page, other = context.new_page(), context.new_page()
        for one in (page, other):
            one.goto(serving.url)
            until(one, "window.benchReady && document.querySelector('#f-push-height_mm') !== null")
        field = "#f-push-height_mm"
        page.click(field)
        page.keyboard.press("Control+A")
        page.keyboard.type("7")
        page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
        page.fill("#masses", "250 5")
        page.click("h2#cards-h")  # looked away for a moment
        other.fill("#f-push-distance_mm", "41")
        other.click("#save-card")
        until_bench(page, lambda: bench.cards().test.push.distance_mm == 41.0, 20)
        until(page, "document.querySelector('#f-push-distance_mm').value === '41'", 20)  # news, and the draft
        assert page.input_value(field) == "7"
        page.select_option("#card-kind", "car")
        page.select_option("#card-kind", "test")
        assert page.input_value(field) == "7"
        other.fill(field, "9")
        other.click("#save-card")
        until_bench(page, lambda: bench.cards().test.push.height_mm == 9.0, 20)
        until(page, "document.querySelector('#f-push-height_mm-about').textContent.includes('is now 9')", 20)
        other.click("#undo")
        until_bench(page, lambda: bench.cards().test.push.height_mm != 9.0, 20)
        page.wait_for_timeout(300)
        assert page.input_value(field) == "7"
        assert page.input_value("#masses") == "250 5"
        page.click("#save-card")
        until_bench(page, lambda: bench.cards().test.push.height_mm == 7.0, 20)
        assert bench.cards().test.push.distance_mm == 41.0  # what the other window saved stays
        until(page, "!document.querySelector('#f-push-height_mm-about').textContent.includes('Not saved')", 20)
