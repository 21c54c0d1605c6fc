"""The racer's view in a real browser: read from two metres, against a target and against the weighing before.

Truth: shares and grams by hand; the collar by the statics of four equal springs.
"""

import re
from pathlib import Path
from typing import Any

import pytest

from tests.page.browser import idle, picture, served, until, watched

SPRINGS = {
    f"chassis.{end}.{key}": value
    for end in ("front", "rear")
    for key, value in {
        "spring_n_per_mm": 2.0,
        "motion_ratio": 0.8,
        "collar_pitch_mm": 1.0,
        "tyre_n_per_mm": 10_000.0,  # as good as rigid
        "bar_n_per_mm": 0.0,
    }.items()
}
SMALLEST_DIGIT_MM = 10.0
"""Read from 2 m: letters of a 200th of the distance (rule of thumb of sign makers, from memory)."""


@pytest.mark.thorough
def test_the_weights_are_read_from_two_metres(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        bench = serving.bench
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        wrong = watched(page)
        page.goto(serving.url + "racer")
        bench.switch_virtual(True)
        idle(page, serving)
        bench.save_card("car", SPRINGS)
        page.click("#zero")
        idle(page, serving)
        virtual = bench.virtual
        assert virtual is not None
        virtual.pads.set_loads([430.0, 380.0, 390.0, 400.0])  # front right and rear left: 770 of 1,600 g, 48.1 %
        until(page, "Number(document.getElementById('live0').textContent) > 400")
        until(page, "document.getElementById('light').className === 'rest'")
        shown = [int(page.inner_text(f"#live{wheel}")) for wheel in range(4)]
        assert all(abs(a - b) <= 3 for a, b in zip(shown, [430, 380, 390, 400], strict=True)), shown
        assert abs(float(page.inner_text("#now-cross")) - 48.1) < 0.3
        assert re.match(r"(2[6-9]|3[0-4]) g too little on front right", page.inner_text("#over"))

        # weighed twice: the last against the one before
        bench.on_pads.weigh_typed([430.0, 380.0, 390.0, 400.0], 1.0)
        bench.on_pads.weigh_typed([405.0, 420.0, 415.0, 385.0], 1.0)  # 835 of 1,625 g: 22.5 g above a half
        until(page, "document.getElementById('weighed-over').textContent.startsWith('As weighed: 22.5')")
        assert "too much" in page.inner_text("#weighed-over")
        assert [re.search(r"\(([+−.\d]+) ±", page.inner_text(f"#last{wheel}"))[1] for wheel in range(4)] == [  # type: ignore[index]
            "−25.0",
            "+40.0",
            "+25.0",
            "−15.0",
        ]
        # equal springs k, equal tracks: preload f at the rear right takes f/2 off the other diagonal; a turn is
        # 2 N/mm × 0.8 × 1 mm = 163 g of preload, so 82 g; 22.5 g is about a quarter turn, which brings 10 g there
        assert "Rear-right collar a quarter turn down, more preload: expect +10 g here" in page.inner_text("#advice")

        # another target: 52 % of 1,625 g is 10 g more than there is
        page.fill("#wanted", "52")
        page.click("#wanted-set")
        until(page, "document.getElementById('weighed-over').textContent.startsWith('As weighed: 10.0')")
        assert "too little" in page.inner_text("#weighed-over")
        until(page, "/^4\\d g|^6\\d g/.test(document.getElementById('over').textContent)")  # live, 3.9 % of 1,600 g
        page.fill("#wanted", "5")
        page.click("#wanted-set")
        until(page, "document.getElementById('trouble').textContent.includes('from 30 to 70')")

        # as large as the screen lets it be: a phone's 390 px are some 65 mm; tall enough for two metres
        tall = page.evaluate("parseFloat(getComputedStyle(document.getElementById('live0')).fontSize)")
        assert 0.7 * tall * 65 / 390 >= SMALLEST_DIGIT_MM - 1.5
        for width, height in ((390, 844), (844, 390), (1024, 768), (1920, 1080)):
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(150)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            boxes = page.evaluate(
                "[0, 1, 2, 3].map((i) => { const range = new Range(); range.selectNodeContents("
                "document.getElementById(`live${i}`)); const b = range.getBoundingClientRect();"
                " return [b.left, b.right]; })"
            )
            assert boxes[0][1] < boxes[1][0], (width, boxes)
            assert boxes[2][1] < boxes[3][0], (width, boxes)
            picture(page, f"racer-{width}")

        # on a tablet: read only, by the address and the code on the screen
        page.click("#far")
        until(page, "document.querySelector('#far-told .code') !== null")
        address = re.search(r"http://\S+", page.inner_text("#far-told"))
        assert address
        tablet = browser.new_context(viewport={"width": 820, "height": 1180}).new_page()
        wrong_there = watched(tablet)
        tablet.goto(f"{address.group()}#{page.inner_text('#far-told .code')}")
        until(tablet, "Number(document.getElementById('live0').textContent) > 400")
        assert tablet.inner_text("#last1") == page.inner_text("#last1")
        assert tablet.is_hidden("#weigh-now")
        assert tablet.is_hidden("#enter")
        assert tablet.evaluate("document.documentElement.scrollWidth") <= 820
        picture(tablet, "racer-tablet")
        page.click("#far")
        until(tablet, "document.getElementById('link').textContent.startsWith('Connection lost')", 20)
        assert [one for one in wrong_there if "ERR_" not in one] == []

        # readings that stop are not taken for rest
        virtual.pads.unplug()
        until(page, "document.getElementById('light').className === 'moving'", 10)
        assert wrong == []


@pytest.mark.thorough
def test_placings_go_on_by_themselves(browser: Any, tmp_path: Path) -> None:
    """Hands-free: each placing is asked for, and taken when the car was set down anew and stands at rest."""
    with served(tmp_path) as serving:
        bench = serving.bench
        page = browser.new_page()
        page.goto(serving.url + "racer")
        bench.switch_virtual(True)
        idle(page, serving)
        page.click("#zero")
        idle(page, serving)
        virtual = bench.virtual
        assert virtual is not None
        side, bench.virtual = virtual, None  # from here on a person does it
        loads = [430.0, 380.0, 390.0, 400.0]
        side.pads.set_loads(loads)
        page.fill("#placings", "2")
        page.click("#weigh-now")
        until(page, "!document.getElementById('job-done').hidden")
        page.wait_for_timeout(1500)  # the car stands there already: that is no placing
        assert bench.work.busy
        for _ in range(2):
            side.pads.set_loads([0.0] * 4)
            until(page, "Number(document.getElementById('now-total').textContent) < 20")
            page.wait_for_timeout(200)
            side.pads.set_loads(loads)
            until(page, "document.getElementById('job-done').hidden")  # taken: no button was pressed
            until(page, "!document.getElementById('job-done').hidden || document.getElementById('job-stop').hidden")
        assert "Weighed" in idle(page, serving)
        assert bench.weighing is not None
        assert bench.weighing.weights.total_g.value > 1500
        bench.virtual = side
