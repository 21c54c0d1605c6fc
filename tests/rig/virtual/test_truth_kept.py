"""The virtual car's truth as it is kept beside the demo's results, and the seed with which each push is filmed."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.cards.read import read_set
from rig.jobs.demo import demo
from rig.virtual import bench as virtual
from rig.virtual.bench import write_truth
from rig.virtual.dunlin import SETUPS, draw_truth
from tests.values.cards_typed import write


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


@pytest.mark.parametrize(("side", "y"), [("right", -0.03), ("left", 0.03)])
def test_what_is_filmed_is_the_car_of_the_cards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, side: str, y: float
) -> None:
    """Its body reaches 70 mm ahead of the front and 90 mm behind the rear axle; half of the way lies on each side."""
    keys = {"push.side": side, "push.distance_mm": 60.0}
    cards = read_set(write(tmp_path, car={"geometry.wheelbase_mm": 260.0}, test=keys))
    truth = draw_truth(SETUPS[1], np.random.default_rng(5))
    started: list[Any] = []
    rendered: list[Any] = []

    def simulated(car: Any, finger: Any, *, start: Any) -> Any:
        started.append((car, start))
        return SimpleNamespace(time="time", pose="pose")

    monkeypatch.setattr(virtual, "simulate_push", simulated)
    monkeypatch.setattr(virtual, "virtual_hand", lambda *given: "hand")
    monkeypatch.setattr("vision.render.push.render_push", lambda *given, **more: rendered.append(given))
    virtual.film_virtual_push(cards, truth, tmp_path / "a.avi", seed=4)
    ((car, start),) = started
    assert car is truth.pushed
    length = float(np.ptp(truth.pushed.contacts[:, 0]))
    assert start == pytest.approx([-length / 2, y, 0.0], abs=0.07)
    assert start[1] == y
    ((clip, scene, _, _),) = rendered
    assert clip == tmp_path / "a.avi"
    assert (scene.time, scene.pose, scene.hand) == ("time", "pose", "hand")
    x, across = scene.outline.T
    np.testing.assert_allclose([x.min(), x.max()], [-0.09, length + 0.07], atol=1e-9)
    np.testing.assert_allclose([across.min(), across.max()], [-0.1, 0.1], atol=1e-9)
    assert scene.wheels is truth.pushed.contacts
