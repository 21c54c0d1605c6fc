"""The virtual car's truth as it is kept beside the demo's results, and the seed with which each push is filmed."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.jobs.demo import demo
from rig.virtual.bench import write_truth
from rig.virtual.dunlin import SETUPS, draw_truth


def test_the_truth_is_kept_as_it_was(tmp_path: Path) -> None:
    truth = draw_truth(SETUPS[1], np.random.default_rng(5))
    poses = np.arange(12.0).reshape(4, 3)
    pushes: Any = {"one": SimpleNamespace(pose=poses), "two": SimpleNamespace(pose=-poses[::-1])}
    write_truth(tmp_path / "new" / "truth.json", truth, pushes)
    kept = json.loads((tmp_path / "new" / "truth.json").read_text())
    assert kept == {
        "corner_weights_g": truth.corner_g.tolist(),
        "grip": truth.pushed.grip.tolist(),
        "contacts_m": truth.pushed.contacts.tolist(),
        "push_height_m": truth.height,
        "push_station_off_by_m": truth.station_shift,
        "plate_off_by": truth.plate_shift.tolist(),
        "pushes": {
            "one": {"start_pose": [0.0, 1.0, 2.0], "end_pose": [9.0, 10.0, 11.0]},
            "two": {"start_pose": [-9.0, -10.0, -11.0], "end_pose": [0.0, -1.0, -2.0]},
        },
    }


def test_each_push_of_the_demo_is_filmed_with_its_own_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    cards: Any = SimpleNamespace(folder=Path("here"), test=SimpleNamespace(clip="push.avi"))
    truth: Any = object()
    seen: list[Any] = []

    def filmed(*given: Any, seed: int) -> str:
        seen.append((*given, seed))
        return "made"

    monkeypatch.setattr(demo, "film_virtual_push", filmed)
    monkeypatch.setattr(demo, "measured_clip", lambda *given: given)
    assert demo._filmed_and_measured(cards, truth, 17) == ("made", (Path("here/push.avi"), cards))
    assert seen == [(cards, truth, Path("here/push.avi"), 17)]
