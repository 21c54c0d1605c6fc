"""The game of the hidden change, without a film: what is told to every page, and what the odds are asked of.

Truth: the order of the game; what may be hidden, by hand from its list.
"""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.base.pivot import PivotEstimate
from rig.base.errors import InputError
from rig.jobs.series.hidden_change import HiddenOdds
from rig.page.bench.bench import Bench
from rig.page.bench.virtual import VirtualSide
from rig.page.classroom import hidden_change
from rig.page.classroom.hidden_change import HiddenGame
from tests.rig.page.bench.test_parts import told


def test_a_secret_is_kept_until_the_shell_is_lifted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = PivotEstimate(kappa=3.0, kappa_u=0.1, interval=(2.8, 3.2), wheelbase=0.257, count=1, method="")
    asked: list[Any] = []

    def odds(cards: Any, weighing: Any, choices: Any, pushes: Any) -> HiddenOdds:
        asked[:] = [cards, weighing, choices, list(pushes)]
        return HiddenOdds(
            sentence="Most likely A.", probability={"A": 0.75004, "B": 0.24996}, next_push="Push at 15 %."
        )

    monkeypatch.setattr(VirtualSide, "film", lambda side, cards, folder, progress: folder / "clip.avi")
    monkeypatch.setattr(
        hidden_change, "measure_clip", lambda *_, **__: SimpleNamespace(pushes=[SimpleNamespace(estimate=found)])
    )
    monkeypatch.setattr(hidden_change, "hidden_odds", odds)
    bench = Bench(tmp_path)
    try:
        game = HiddenGame(bench)

        def shown() -> dict[str, Any]:
            return told(bench.broadcast.newest("hidden"))

        with pytest.raises(InputError, match="needs the virtual car"):
            game.start()
        bench.virtual = VirtualSide(seed=0)
        for before in (game.reveal, lambda: game.push(85.0)):
            with pytest.raises(InputError, match="nothing is hidden yet"):
                before()
        assert shown()["running"] is False
        game.start("150 g at the rear")
        assert shown()["running"] is True
        assert (shown()["odds"], shown()["pushes"]) == ([], 0)
        heavy = bench.virtual.truth().corner_g
        carded = bench.cards()
        for pct in (85.0, 20.0):
            game.push(pct)
            bench.work.wait(60.0)
            assert not told(bench.broadcast.newest("job"))["error"]
        cards, weighing, choices, pushes = asked
        assert weighing is None
        assert [one.measured for one in pushes] == [found, found]
        assert np.diff([one.push.station for one in pushes]) == pytest.approx(-0.65 * 0.257)
        assert cards.test.push.position_pct == 20.0
        rear, grippy = choices["150 g at the rear"], choices["grippier front tyres"]
        assert (rear.ballast_g, rear.ballast_pct) == (150.0, pytest.approx(-100 * 25 / 257))
        assert (grippy.front, grippy.rear, grippy.ballast_g) == (0.96, 0.8, 0.0)
        assert choices["nothing was changed"].front == choices["nothing was changed"].rear
        now = shown()
        assert (now["pushes"], now["sentence"], now["next"]) == (2, "Most likely A.", "Push at 15 %.")
        assert now["odds"] == [["A", 0.75], ["B", 0.25]]
        assert "rear" not in f"{carded.car.name} {carded.test.name} {now['sentence']}"
        assert game.reveal() == "Under the shell: 150 g at the rear."
        assert (shown()["running"], shown()["sentence"]) == (False, "Under the shell: 150 g at the rear.")
        game.start("nothing was changed")
        # the ballast was 25 mm behind the rear axle: that much more behind, and less in front
        light = bench.virtual.truth().corner_g
        assert (heavy - light).sum() == pytest.approx(150.0, abs=1e-6)
        assert (heavy - light)[:2].sum() == pytest.approx(-150.0 * 25 / 257, abs=0.2)
    finally:
        bench.close()
