"""A real browser does the whole lesson on the virtual bench, as a teacher would, with a phone of the class."""

import csv
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.base.signs import true_minus
from tests.page.browser import idle, picture, served, until, until_bench, watched
from tests.page.replayed import in_step

pytestmark = pytest.mark.thorough

SHORT = {"push.distance_mm": 40.0, "push.speed_mm_s": 50.0}


def test_the_whole_lesson(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        # without motion a swing is at its end at once; test_class has one that swings
        context = browser.new_context(
            viewport={"width": 1280, "height": 900}, accept_downloads=True, reduced_motion="reduce"
        )
        page = context.new_page()
        wrong = watched(page)
        page.goto(serving.url)
        until(page, "window.benchReady && document.getElementById('link').textContent === 'Connected'")

        # the first five minutes: a car, a pin, a push, and the outline swings about a dot
        page.click("#virtual")
        assert "its pads are calibrated" in idle(page, serving)
        page.fill("#pin-pct", "10")
        page.click("#first-push")
        until(page, "document.querySelector('svg.car .measured .mark') !== null")  # drawn when the swing has ended
        said = page.inner_text("#first-said")
        assert re.search(r"swung about a point \d+ mm behind the rear axle .* Your ring was \d+ mm away", said)
        assert page.locator("svg.car .measured .mark").count() == 1
        picture(page, "first-try")

        # zero and weigh: the truth of the virtual car is known to its own side only
        page.click("#zero")
        assert "Zeroed" in idle(page, serving)
        page.click("#weigh-now")
        assert "Weighed" in idle(page, serving)
        virtual = serving.bench.virtual
        assert virtual is not None
        until(page, "document.getElementById('total').textContent.includes('±')")
        total, half = (float(part) for part in re.findall(r"[\d.]+", page.inner_text("#total"))[:2])
        assert abs(total - virtual.truth().corner_g.sum()) < 2 * half
        until(page, "/^Live:.*front left \\+ rear right/.test(document.getElementById('live-words').textContent)")

        # edit a card, undo, and edit again: each save is a version in the log
        field = "#f-push-position_pct"
        for action in ("save", "undo", "save"):
            if action == "save":
                until(page, f"document.querySelector('{field}')?.value === '85'")
                page.fill(field, "80")
                page.click("#save-card")
                until_bench(page, lambda: serving.bench.cards().test.push.position_pct == 80.0)
                until(page, "!document.getElementById('undo').disabled")
            else:
                page.click("#undo")
        with serving.bench.log() as log:
            texts = [card.text for card in log.cards() if card.kind == "test"]
        assert sum("position_pct = 80.0" in text for text in texts) == 1
        assert all("# %" in text for text in texts)  # comments are kept

        # a push, filmed and measured (a short and brisk one, so that the film is short)
        serving.bench.save_card("test", SHORT)
        page.click("#push-now")
        page.wait_for_timeout(1000)
        page.reload()  # in the middle of the push: the job goes on and is shown again
        until(page, "document.querySelector('#job:not([hidden])') !== null")
        sentence = idle(page, serving)
        assert re.match(
            r"Pushed at 80 %, wheels blocked: the (rear held, the )?nose .* \(nose \d+, tail \d+\)\.", sentence
        )
        until(page, "!document.getElementById('verdict').hidden")
        assert page.inner_text("#sentence") == sentence
        assert len(page.inner_text("#advice")) > 20
        # the first picture: the car of this push from above, which says the same to those who cannot see it
        until(page, "document.getElementById('from-above-picture').naturalWidth > 300")
        seen = re.search(r"wheels blocked: (.*)\.$", sentence.split(". ")[0].rstrip(".") + ".")
        assert seen
        assert page.get_attribute("#from-above-picture", "alt").endswith(seen.group(1))
        said = page.inner_text("#said")
        assert re.search(r"Balance by this push .* %", said)
        assert re.search(r"Balance by weights and grip .* (agrees|disagrees|cannot tell)", said)
        for kind in ("measured", "forecast"):
            assert page.locator(f"svg.car .{kind} .mark").count() == 1
            assert page.locator(f"svg.car .{kind} .region").count() == 1
        assert page.locator("svg.car .ghost").count() >= 4
        picture(page, "verdict")

        # the clip again, beside the car from above; without motion it stands at the push's end until somebody plays it
        page.locator("#replay").scroll_into_view_if_needed()
        until(page, "document.getElementById('replay').dataset.picture > 0")
        assert page.inner_text("#replay-play") == "Play"
        in_step(page)
        picture(page, "replay")

        # another set-up, asked of the class: one guess on the screen, one from a phone
        screen = context.new_page()
        wrong_screen = watched(screen)
        screen.goto(serving.url + "class")
        until(screen, "document.getElementById('step').options.length > 5")
        screen.select_option("#step", "ballast-back")
        until(screen, "document.getElementById('question').textContent.includes('rear bumper')")
        screen.fill("#pin-pct", "-30")
        screen.click("#guess")
        until(screen, "document.getElementById('count').textContent.startsWith('1 guess')")
        screen.locator("summary", has_text="Phones of the class").click()
        screen.click("#phones")
        until(screen, "document.querySelector('.code') !== null")
        address = re.search(r"http://\S+", screen.inner_text("#phones-told"))
        assert address
        phone = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
        wrong_phone = watched(phone)
        phone.goto(address.group())
        until(phone, "document.querySelectorAll('#choices input').length === 3")
        phone.check("input[value='the tail leads']")
        phone.fill("#pin-pct", "40")
        phone.fill("#code", screen.inner_text(".code"))
        phone.click("#send")
        until(phone, "document.getElementById('said').textContent.includes('on the board')")
        picture(phone, "phone")
        until(screen, "document.getElementById('count').textContent.startsWith('2 guesses')")
        assert screen.locator("svg.car .measured .mark").count() == 0  # the answer is not on the screen yet
        assert screen.is_disabled("#reveal")

        serving.bench.save_card("test", SHORT | {"push.position_pct": 85.0})  # so that there is a pivot to draw
        screen.click("#weigh-now")
        idle(screen, serving)
        screen.click("#push-now")
        assert "Ready to reveal" in idle(screen, serving)
        assert screen.locator("svg.car .measured .mark").count() == 0
        assert "wung about" not in screen.inner_text("body")
        picture(screen, "class-guesses")
        screen.click("#reveal")
        until(screen, "document.getElementById('answer').textContent.includes('2 guesses')")
        assert screen.locator("svg.car .guess").count() == 2
        assert screen.locator("svg.car .measured .mark").count() == 1
        picture(screen, "class-reveal")
        screen.click("#phones")
        until(screen, "document.querySelector('.code') === null")

        # compare the two set-ups
        until(page, "document.querySelectorAll('#compared tbody tr').length === 2")
        rows = page.locator("#compared tbody tr").all_inner_texts()
        assert "balanced" in rows[0]
        assert "ballast back" in rows[1]
        picture(page, "record")

        # what the change did: two set-ups laid over each other, in words, as a picture and as a film
        before = page.viewport_size
        page.set_viewport_size({"width": 390, "height": 844})  # the choices are long sentences
        until(page, "innerWidth === 390 && document.documentElement.scrollWidth <= 390", 30)
        page.set_viewport_size(before)
        assert page.input_value("#change-a") != page.input_value("#change-b")
        page.click("#change-go")
        said = idle(page, serving)
        with serving.bench.log() as log:
            (change,) = log.records(kind="change")
        assert said == true_minus(change.result.sentences[0])
        until(page, "document.getElementById('changed-picture').naturalWidth > 300")
        assert said in page.inner_text("#changed-lines")
        until(page, "document.getElementById('changed-video').duration > 1")
        assert change.result.moved is None or change.result.moved.value < 0  # ballast at the rear (statics)
        page.locator("#changed").scroll_into_view_if_needed()
        picture(page, "changed")

        # export and report
        with page.expect_download() as got:
            page.click("#export")
        with zipfile.ZipFile(got.value.path()) as packed:
            records = json.loads(packed.read("records.json"))
            table = list(csv.DictReader(io.StringIO(packed.read("comparison.csv").decode())))
        kinds = {record["kind"] for record in records}
        assert {"zero", "weighing", "push", "prediction", "comparison", "guess", "first try"} <= kinds
        with serving.bench.log() as log:
            assert [row["verdict"] for row in table] == [r.result.verdict for r in log.records(kind="comparison")]
        guesses = next(record for record in records if record["kind"] == "guess")
        np.testing.assert_allclose(sorted(g[0] for g in guesses["inputs"]["guesses"]), [-30, 40], rtol=0, atol=1e-9)
        with page.expect_download(timeout=120_000) as got:  # drawing takes its time where others work, too
            page.click("#report")
        assert sentence.replace("'", "&#x27;") in Path(got.value.path()).read_text(encoding="utf-8")
        assert wrong == wrong_screen == wrong_phone == []
