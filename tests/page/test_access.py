"""Everybody can use the page: a checker in the browser, keyboard, widths, light and dark, loading, trouble in words."""

import re
from pathlib import Path
from typing import Any

import pytest

from rig.base.errors import BenchError
from rig.log.store import BenchLog
from tests.page.browser import idle, picture, served, until, until_bench, watched

AXE = Path(__file__).parents[1] / "data" / "axe" / "axe.min.js"
SMALLEST_TEXT_PX = 14
LARGEST_LOAD_BYTES = 300_000


def findings(page: Any) -> list[str]:
    """Serious findings of the checker (WCAG 2.2 A and AA)."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']})")
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


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


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_accessible_at_every_width(browser: Any, tmp_path: Path, scheme: str) -> None:
    with served(tmp_path) as serving:
        # the dark colours are the same at every width
        sizes = (("", 360), ("class", 360), ("print/pack", 900)) if scheme == "light" else ()
        for path, width in (("", 1280), ("class", 1920), *sizes):
            page = browser.new_context(color_scheme=scheme, viewport={"width": width, "height": 900}).new_page()
            wrong = watched(page)
            page.goto(serving.url + path)
            if path != "print/pack":
                until(page, "document.querySelector('svg.car .outline') !== null")
                page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
            page.wait_for_timeout(300)
            picture(page, f"{scheme}-{path.replace('/', '-') or 'bench'}-{width}")
            assert findings(page) == []
            assert smallest_text(page) >= SMALLEST_TEXT_PX - 0.5
            if path != "print/pack":  # drawings to scale may be wider than a screen, in a box that scrolls
                assert page.evaluate("document.documentElement.scrollWidth") <= width
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
        serving.bench.weigh_typed([400.0, 401.0, 399.0, 402.0], 1.0)
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
