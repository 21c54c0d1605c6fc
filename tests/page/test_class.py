"""A class in real browsers: what was pushed belongs to one question, a device has one vote, nothing is told early."""

import re
import socket
import threading
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from rig.page.classroom.question import Asked
from rig.page.server.serve import Serving
from tests.page.browser import picture, served, until, until_bench, watched


def pushed(page: Any, serving: Serving, pivot_pct: float) -> None:
    """A push of this question, without the film: its pivot was found with a ruler."""
    bench = serving.bench
    before = bench.verdict
    bench.pushes.judge_typed(pivot_pct, 1.0)
    until_bench(page, lambda: bench.verdict is not None and bench.verdict is not before and not bench.work.busy)


def opened(browser: Any, serving: Serving) -> tuple[Any, str, str]:
    """The class screen with phones let in; the address for them and the code."""
    screen = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    screen.goto(serving.url + "class")
    until(screen, "document.getElementById('step').options.length > 5")
    screen.locator("summary", has_text="Phones of the class").click()
    screen.click("#phones")
    until(screen, "document.querySelector('.code') !== null")
    address = re.search(r"http://\S+", screen.inner_text("#phones-told"))
    assert address
    return screen, address.group(), screen.inner_text(".code")


@pytest.mark.thorough
def test_the_next_push_is_no_answer_to_the_last_question(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        bench = serving.bench
        bench.on_pads.weigh_typed([400.0] * 4, 1.0)
        screen = browser.new_page()
        wrong = watched(screen)
        screen.goto(serving.url + "class")
        until(screen, "document.querySelector('svg.car .ring') !== null")
        screen.fill("#pin-pct", "-30")
        screen.click("#guess")
        until(screen, "document.getElementById('count').textContent.startsWith('1 guess ')")
        assert screen.locator("svg.car .guess").count() == 0  # hidden until all are in
        screen.click("#all-in")
        until(screen, "document.querySelectorAll('svg.car .guess').length === 1")
        pushed(screen, serving, -20.0)
        until(screen, "!document.getElementById('reveal').disabled")
        screen.click("#reveal")
        until(
            screen,
            "document.getElementById('answer').textContent.includes('-20.0 %') ||"
            " document.getElementById('answer').textContent.includes('−20.0 %')",
        )
        until(screen, "document.querySelector('svg.car .measured .mark') !== null")
        first = screen.inner_text("#answer"), screen.inner_html("svg.car .measured")

        # weighed and pushed again: that is the next question's, and this screen does not show it
        bench.on_pads.weigh_typed([410.0, 400.0, 390.0, 400.0], 1.0)
        pushed(screen, serving, 10.0)
        screen.wait_for_timeout(400)
        assert (screen.inner_text("#answer"), screen.inner_html("svg.car .measured")) == first

        # the next question: an empty board, and what was pushed before is no answer to it
        screen.click("#again")
        until(screen, "document.getElementById('count').textContent.startsWith('0 guesses')")
        assert screen.locator("svg.car .guess").count() == 0
        assert screen.locator("svg.car .measured .mark").count() == 0
        assert screen.is_disabled("#reveal")
        assert "%" not in screen.inner_text("#answer")
        screen.click("#guess")
        until(screen, "document.getElementById('count').textContent.startsWith('1 guess ')")
        screen.select_option("#step", "ballast-back")  # another experiment is another question
        until(screen, "document.getElementById('count').textContent.startsWith('0 guesses')")
        assert wrong == []


LATE_NEWS = """
const usual = EventSource.prototype.addEventListener;
EventSource.prototype.addEventListener = function (kind, handler) {
  usual.call(this, kind, (event) => setTimeout(() => handler(event), 1500));
};
"""


def test_a_click_before_the_stream_has_begun_is_done_and_not_refused(browser: Any, tmp_path: Path) -> None:
    """A window of a busy machine: its news, and the token among it, come 1.5 s late."""
    with served(tmp_path) as serving:
        screen = browser.new_page()
        screen.add_init_script(LATE_NEWS)
        wrong = watched(screen)
        screen.goto(serving.url + "class")
        until(screen, "document.getElementById('step').options.length > 5")
        screen.select_option("#step", "ballast-back")
        until(screen, "document.getElementById('question').textContent.includes('rear bumper')", 20.0)
        assert "token" not in screen.inner_text("body")
        assert wrong == []


@pytest.mark.thorough
def test_a_class_votes_writes_down_what_it_saw_and_votes_again(browser: Any, tmp_path: Path) -> None:
    with served(tmp_path) as serving:
        bench = serving.bench
        bench.on_pads.weigh_typed([400.0] * 4, 1.0)
        screen, address, code = opened(browser, serving)
        wrong = watched(screen)
        screen.select_option("#step", "ballast-forward")
        until(screen, "document.getElementById('question').textContent.includes('front bumper')")

        # OpenCV's plain reader fails for one good code in a hundred (200 drawn: 198), this one for none of them
        shot = np.frombuffer(screen.locator("svg.qr").screenshot(), np.uint8)
        read, _, _ = cv2.QRCodeDetectorAruco().detectAndDecode(cv2.imdecode(shot, cv2.IMREAD_COLOR))
        assert read == f"{address}#{code}"
        picture(screen, "class-phones")

        phones = [browser.new_context(viewport={"width": 390, "height": 844}).new_page() for _ in range(3)]
        for phone in phones:
            phone.goto(read)
            until(phone, "document.querySelectorAll('#choices input').length === 3")
            assert "front bumper" in phone.inner_text("#question")
            assert phone.input_value("#code") == code
            assert phone.locator("svg.car .arrow").count() == 1
        answers = ["the nose leads", "the nose leads", "the tail leads"]
        for phone, answer in zip(phones, answers, strict=True):
            phone.check(f"input[value='{answer}']")
            phone.fill("#reason", "it is heavier <b>there</b>")
            phone.click("#send")
            until(phone, "document.getElementById('said').textContent.includes('on the board')")
        until(screen, "document.getElementById('count').textContent.startsWith('3 guesses')")
        picture(phones[0], "phone-guessed")

        # one vote a device, as often as it is sent; changed and taken back freely
        for _ in range(2):
            phones[1].check("input[value='straight']")
            phones[1].click("#send")
            until(phones[1], "document.getElementById('send').textContent.includes('again')")
        phones[2].click("#back")
        until(screen, "document.getElementById('count').textContent.startsWith('2 guesses')")
        phones[2].check("input[value='the tail leads']")
        phones[2].click("#send")
        until(screen, "document.getElementById('count').textContent.startsWith('3 guesses')")

        # without phones: a show of hands
        screen.check("input[value='the tail leads']")
        screen.fill("#hands", "4")
        screen.click("#guess")
        until(screen, "document.getElementById('count').textContent.startsWith('7 guesses')")
        assert screen.is_hidden("#tally")
        assert "heavier" not in screen.inner_text("body")
        screen.click("#all-in")
        rows = (
            "[...document.querySelectorAll('#tally tbody tr')].map((row) => [...row.cells]"
            ".map((c) => c.innerText).join('|'))"
        )
        until(screen, "!document.getElementById('tally').hidden")
        assert screen.evaluate(rows) == ["the nose leads|1|–", "straight|1|–", "the tail leads|5|–"]
        assert screen.locator("#reasons li").first.text_content() == "it is heavier <b>there</b>"

        # what was seen is written down before it is told
        pushed(screen, serving, 170.0)
        until(phones[0], "document.getElementById('todo').textContent.includes('what you saw')")
        phones[0].check("input[value='the tail led']")
        phones[0].click("#send")
        until(screen, "document.getElementById('count').textContent.startsWith('1 account')")
        picture(screen, "class-watch")
        assert "170" not in screen.inner_text("body")
        screen.click("#reveal")
        until(screen, "document.getElementById('answer').textContent.includes('Seen: ')")
        assert "the tail led 1" in screen.inner_text("#answer")

        # talk, then vote again; before and after side by side, and no reason or name in the log
        screen.click("#second-vote")
        for phone in phones:
            until(phone, "document.querySelector('input[value=\"the tail leads\"]') !== null")
            phone.check("input[value='the tail leads']")
            phone.click("#send")
        until(screen, "document.getElementById('count').textContent.startsWith('3 guesses')")
        assert screen.evaluate(rows)[2] == "the tail leads|5|–"
        screen.click("#all-in")
        until(screen, "document.getElementById('phase').textContent.includes('side by side')")
        assert screen.evaluate(rows) == ["the nose leads|1|0", "straight|1|0", "the tail leads|5|3"]
        picture(screen, "class-counted")
        with bench.log() as log:
            one, two = log.records(kind="guess")
        assert [[a.answer, a.count] for a in one.inputs.answers] == [
            ["the nose leads", 1],
            ["straight", 1],
            ["the tail leads", 5],
        ]
        assert [(s.answer, s.count) for s in one.inputs.seen if s.count] == [("the tail led", 1)]
        assert (one.inputs.vote, two.inputs.vote) == (1, 2)
        assert [a.count for a in two.inputs.answers] == [0, 0, 3]
        assert "heavier" not in repr((one, two))
        assert wrong == []


def test_an_answer_that_was_long_on_its_way_is_not_counted(browser: Any, tmp_path: Path) -> None:
    """Half of it sent, then phones are closed, or the next question asked: the other half comes too late."""
    with served(tmp_path) as serving:
        _, address, code = opened(browser, serving)
        classroom = serving.page.classroom
        port = int(address.rsplit(":", 1)[1].rstrip("/"))

        def half(number: int) -> tuple[socket.socket, bytes]:
            body = f'{{"code":"{code}","station_pct":20.0,"question":{number}}}'.encode()
            head = f"POST /guess HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: {len(body)}\r\n\r\n".encode()
            link = socket.create_connection(("127.0.0.1", port), timeout=10)
            link.sendall(head + body[:10])
            time.sleep(0.3)
            return link, body[10:]

        link, rest = half(classroom.question.number)
        link.sendall(rest)
        assert b" 200 " in link.recv(4000)
        link.close()
        link, rest = half(classroom.question.number)
        classroom.again()
        link.sendall(rest)
        assert b" 409 " in link.recv(4000)
        link.close()
        link, rest = half(classroom.question.number)
        closing = threading.Thread(target=serving.page.phones.switch, args=(False,))
        closing.start()
        time.sleep(0.3)
        link.sendall(rest)
        closing.join()
        link.close()
        assert classroom.question.of(Asked.FIRST) == ()
