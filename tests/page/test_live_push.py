"""A push on the live picture: silent, then the balance so far, then the recorded push says the same.

Truth: the recorded push, measured by another path; a clip plays at its own pace through the camera's opener.
"""

import re
from pathlib import Path
from typing import Any

from tests.faults.played_camera import PlayedClip
from tests.page.browser import idle, picture, served, until, until_bench, watched

SHORT = {"push.distance_mm": 40.0, "push.speed_mm_s": 45.0, "push.position_pct": 50.0}
WORDS = "document.getElementById('live-push').textContent"


def test_a_push_is_spoken_along_and_the_recorded_one_says_the_same(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        bench = serving.bench
        page = browser.new_page()
        wrong = watched(page)
        page.goto(serving.url)
        page.click("#virtual")
        idle(page, serving)
        virtual = bench.virtual
        assert virtual is not None
        bench.save_card("test", dict(SHORT))
        bench.on_pads.weigh_typed([float(one) for one in virtual.truth().corner_g.round(1)], 0.1)
        clip = virtual.film(bench.cards(), tmp_path / "rendered", lambda share: None)
        bench.camera_opener = lambda device: PlayedClip(clip)
        page.evaluate(
            "window.heard = []; const box = document.getElementById('live-push');"
            "new MutationObserver(() => heard.push(box.textContent))"
            ".observe(box, {childList: true, characterData: true, subtree: true})"
        )
        until(page, "!document.getElementById('film').disabled")
        page.click("#film")
        until(page, f"{WORDS}.startsWith('Balance by this push so far')", 60)
        picture(page, "live-push")
        idle(page, serving)
        until_bench(page, lambda: bench.verdict is not None)
        heard = [one for one in page.evaluate("heard") if one]
        assert any("Keep pushing" in one for one in heard)
        figures = [re.search(r"so far: ([\d.]+) ± ([\d.]+) %", one) for one in heard]
        said = [(float(one[1]), float(one[2])) for one in figures if one]
        first = next(k for k, one in enumerate(figures) if one)
        assert all("%" not in one for one in heard[:first])  # silent until something can be said
        answer = bench.verdict.answer
        assert answer is not None
        assert answer.balance is not None
        assert answer.balance.pct is not None
        assert abs(said[-1][0] - answer.balance.pct) < 0.35
        until(page, f"{WORDS} === ''")  # nothing is filmed any more
        assert wrong == []
