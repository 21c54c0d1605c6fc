"""A push is shown again only where a clip and its poses are there; otherwise it is said what is lacking."""

from types import SimpleNamespace
from typing import Any

import pytest

from rig.base.errors import InputError
from rig.jobs.series import replay as again
from rig.jobs.series.replay import replayed
from rig.lookups.sources import MissingSourceError

MEASURED = SimpleNamespace(record="the push")


def verdict(**more: Any) -> Any:
    return SimpleNamespace(**{"measurement": MEASURED, "answer": "the answer", "cards": "the cards", **more})


@pytest.mark.parametrize("lacking", ["measurement", "answer"])
def test_a_push_without_a_clip_is_refused(lacking: str) -> None:
    with pytest.raises(InputError, match="not filmed"):
        replayed(verdict(**{lacking: None}), None)  # type: ignore[arg-type]


def test_the_pictures_are_those_of_its_clip(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Any] = []
    monkeypatch.setattr(again, "filmed_push", lambda *of: asked.append(of) or "from above")
    monkeypatch.setattr(again, "replay", lambda push, progress: f"pictures of {push}")
    found = replayed(verdict(), "the log")  # type: ignore[arg-type]
    assert asked == [("the push", "the answer", "the cards", "the log", ())]
    assert (found.push, found.shown) == ("from above", "pictures of from above")


def test_a_clip_that_is_gone_is_to_be_measured_again(monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*_: Any) -> Any:
        raise MissingSourceError("the clip is not where it was")

    monkeypatch.setattr(again, "filmed_push", gone)
    with pytest.raises(InputError, match=r"not where it was.*Measure the clip again"):
        replayed(verdict(), None)  # type: ignore[arg-type]
