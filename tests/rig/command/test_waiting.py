"""A silent command says that it works, on a terminal only, and leaves nothing behind."""

import io
import sys
import time

import pytest

from rig.command import options
from rig.command.waiting import WORKING, Notice


class Screen(io.StringIO):
    """A terminal that remembers what was written."""

    def isatty(self) -> bool:
        return True


def seen(screen: io.StringIO, words: str) -> bool:
    """Whether that comes within five seconds."""
    end = time.monotonic() + 5
    while words not in screen.getvalue() and time.monotonic() < end:
        time.sleep(0.005)
    return words in screen.getvalue()


def test_it_appears_late_and_is_wiped_before_anything_else(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    notice = Notice(wait=0.01)
    notice.arm()
    assert seen(screen, WORKING)
    notice.hush()
    assert screen.getvalue() == f"\r{WORKING}\r{' ' * len(WORKING)}\r"


def test_what_answers_in_time_never_shows_it(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    notice = Notice(wait=0.05)
    notice.arm()
    notice.hush()
    time.sleep(0.15)
    assert screen.getvalue() == ""


def test_a_pipe_never_sees_it(monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = io.StringIO()
    monkeypatch.setattr(sys, "stderr", pipe)
    notice = Notice(wait=0.0)
    notice.arm()
    time.sleep(0.05)
    notice.hush()
    assert pipe.getvalue() == ""


def test_silence_after_a_bar_counts_again(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    notice = Notice(wait=0.01)
    monkeypatch.setattr(options, "NOTICE", notice)
    with options.progress("measuring") as bar:
        bar(0.5)
        time.sleep(0.05)
        assert WORKING not in screen.getvalue()  # the bar is there
    assert seen(screen, WORKING)
    notice.hush()
