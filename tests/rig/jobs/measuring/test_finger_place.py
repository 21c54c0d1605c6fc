"""Where the finger touched goes into a push as per cent of the wheelbase ahead of the rear axle. By hand."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from rig.cards.measures import wheelbase
from rig.cards.read import read_set
from rig.jobs.measuring import found_pushes
from rig.jobs.measuring.found_pushes import pushes_in
from tests.rig.jobs.synthetic_pushes import pushed_track
from tests.values.cards_typed import write


@pytest.mark.parametrize(("station", "pct"), [(0.64, 64.0), (-0.03, -3.0), (None, None)])
def test_a_seen_finger_is_told_in_per_cent_of_the_wheelbase(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, station: float | None, pct: float | None
) -> None:
    cards = read_set(write(tmp_path))
    length = wheelbase(cards.car)
    seen = None if station is None else SimpleNamespace(station=station * length)
    monkeypatch.setattr(found_pushes, "contacts", lambda pushes, track: (seen,) * len(pushes))
    monkeypatch.setattr(found_pushes, "setup_doubt", lambda push, cards: "")
    (push,) = pushes_in(pushed_track(0.034, 0.029, side=1, length=length), cards, turns=1).pushes
    assert push.finger_pct == (None if pct is None else pytest.approx(pct))
