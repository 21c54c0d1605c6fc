"""A real headless browser and a served page for tests; skips without a browser."""

import json
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

import pytest

from analysis.base.signs import true_minus
from rig.page.server.serve import Serving

ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PICTURES = Path(__file__).parents[2] / "artefacts" / "page"


@contextmanager
def chromium() -> Iterator[Any]:
    """The system's Chromium."""
    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if path is None:
        pytest.skip("Chromium is missing: apt-get install chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        pytest.skip("playwright is missing: python -m pip install -e '.[dev]'")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@contextmanager
def served(folder: Path, **more: Any) -> Iterator[Serving]:
    """The page on a free port, with quick virtual pads."""
    serving = Serving(folder, port=0, time_factor=12.0, phone_host="127.0.0.1", **more)
    serving.start()
    try:
        yield serving
    finally:
        serving.stop()


def watched(page: Any) -> list[str]:
    """Console errors, failed requests and uncaught exceptions of a page, as they come."""
    seen: list[str] = []
    page.on("console", lambda message: seen.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: seen.append(str(error)))
    return seen


def until(page: Any, question: str, seconds: float = 180.0) -> None:
    """Wait until an expression is true in the page; fails with the page's words when it never is."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if page.evaluate(question):
            return
        page.wait_for_timeout(40)
    raise AssertionError(f"never true: {question}\n{page.inner_text('body')[:3000]}")


def until_bench(page: Any, done: Callable[[], bool], seconds: float = 180.0) -> None:
    """Wait until the bench behind the page has come so far."""
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, "the bench never came so far"
        page.wait_for_timeout(40)


_seen: WeakKeyDictionary[Serving, int] = WeakKeyDictionary()
"""Number of the last job that was waited for: a click may reach a busy machine's server only later."""


def idle(page: Any, serving: Serving, seconds: float = 240.0) -> str:
    """Wait for the job that was just started; returns what it said, as shown on the page."""
    end = time.monotonic() + seconds
    while True:
        job = json.loads(serving.bench.broadcast.newest("job").split(b"data: ", 1)[1])
        if job["number"] > _seen.get(serving, 0) and not job["running"]:
            break
        assert time.monotonic() < end, job
        page.wait_for_timeout(40)
    _seen[serving] = job["number"]
    shown = [true_minus(job["error"] or job["text"]), "Pushed and measured. Ready to reveal."]
    text = "document.getElementById('job-text').textContent"
    until(page, f"!document.getElementById('job-close').hidden && {json.dumps(shown)}.includes({text})")
    return str(page.inner_text("#job-text"))


def picture(page: Any, name: str) -> None:
    """Keep a screenshot among the artefacts, to be looked at."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=PICTURES / f"{name}.png")
