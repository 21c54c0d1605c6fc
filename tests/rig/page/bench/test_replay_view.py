"""The newest push shown again on the page: lengths in mm, each picture once, and only of the newest. By hand."""

from contextlib import nullcontext
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.page.bench import replay as shown_again
from rig.page.bench.replay import ReplayView


def made(record: int, balance: float | None = 0.132, forecast: float | None = None) -> Any:
    """Two pictures; of the second no pose is vouched for. balance, forecast: m, the lines that are drawn."""
    push = SimpleNamespace(
        onset=2.5,
        end=4.25,
        outline=np.array([[0.3, 0.09], [-0.02, -0.08]]),
        wheelbase=0.257,
        balance=balance,
        forecast=forecast,
    )
    pose = np.array([[0.0123456, -0.004, 0.1234567], [np.nan, np.nan, np.nan]])
    shown = SimpleNamespace(
        jpeg=(b"first", f"second of {record}".encode()),
        time=np.array([0.12345678, 0.5]),
        pose=pose,
        nose=np.array([0.01234, 0.05]),
        tail=np.array([-0.00567, 0.02]),
    )
    return SimpleNamespace(push=push, shown=shown)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Records whose pictures were made, in turn."""
    numbers: list[int] = []

    def replayed(verdict: Any, log: str) -> Any:
        assert log == "the log"
        numbers.append(verdict.record.number)
        return made(verdict.record.number)

    monkeypatch.setattr(shown_again, "replayed", replayed)
    return numbers


def bench(record: int | None) -> Any:
    verdict = None if record is None else SimpleNamespace(record=SimpleNamespace(number=record))
    return SimpleNamespace(verdict=verdict, log=lambda: nullcontext("the log"))


def test_lengths_are_told_in_mm_and_times_from_the_onset(asked: list[int]) -> None:
    told = ReplayView(bench(7)).told(7)
    assert told["record"] == 7
    assert told["picture"] == "/api/replay.jpg?record=7&picture="
    assert told["end_s"] == pytest.approx(1.75)
    np.testing.assert_allclose(told["time_s"], [0.1235, 0.5])
    np.testing.assert_allclose(told["pose"][0], [12.3456, -4.0, 0.12346])
    assert told["pose"][1] is None
    np.testing.assert_allclose(told["nose_mm"], [12.3, 50.0])
    np.testing.assert_allclose(told["tail_mm"], [-5.7, 20.0])
    np.testing.assert_allclose(told["outline"], [[300, 90], [-20, -80]])
    assert (told["wheelbase"], told["balance"]) == (pytest.approx(257), pytest.approx(132))
    assert told["forecast"] is None


def test_lines_are_drawn_where_they_were_found(asked: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shown_again, "replayed", lambda *_: made(7, balance=None, forecast=0.141))
    told = ReplayView(bench(7)).told(7)
    assert told["balance"] is None
    assert told["forecast"] == pytest.approx(141)


def test_pictures_are_made_once_until_a_newer_push_is_looked_at(asked: list[int]) -> None:
    state = bench(7)
    view = ReplayView(state)
    assert [view.picture(7, number) for number in (0, 1, 0)] == [b"first", b"second of 7", b"first"]
    assert asked == [7]
    state.verdict = bench(8).verdict
    assert view.picture(8, 1) == b"second of 8"
    assert view.told(8)["record"] == 8
    assert asked == [7, 8]


@pytest.mark.parametrize("number", [-1, 2])
def test_a_picture_that_is_not_there_is_refused(asked: list[int], number: int) -> None:
    with pytest.raises(InputError, match="no such picture"):
        ReplayView(bench(7)).picture(7, number)


@pytest.mark.parametrize("newest", [None, 8])
def test_only_the_newest_push_is_shown(asked: list[int], newest: int | None) -> None:
    with pytest.raises(InputError, match="not the newest push"):
        ReplayView(bench(newest)).told(7)
    assert asked == []
