"""What is drawn of a push, counted of a camera and written into tables: figures by hand, each from its right place."""

import csv
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.base.pivot import PivotEstimate
from rig.camera import source
from rig.cards.read import read_set
from rig.jobs.weighing.weights import typed_weighing
from rig.report import maps
from rig.report.track import path_figure

from .cards_typed import run, take_in, write

LENGTH = 0.26


def test_the_band_of_a_pivots_path_is_95_per_cent_along_the_car() -> None:
    """Station x / L; band 1.96 standard uncertainties of x (normal distribution): 2.6 mm of 260 mm are 1 %."""
    doubt = np.array([np.diag([along, 9e-4]) ** 2 for along in (2.6e-3, 1.3e-3)])  # across: none of these
    path = SimpleNamespace(
        turn=np.radians([-5.0, -8.0]),
        pivot=np.array([[-0.052, 0.01], [-0.039, 0.02]]),
        pivot_covariance=doubt,
        wanders=False,
    )
    kappa, half = 1 / 0.18, 0.4
    estimate = PivotEstimate(
        kappa=kappa,
        kappa_u=half / 1.96,
        interval=(kappa - half, kappa + half),
        wheelbase=LENGTH,
        count=1,
        method="by hand",
    )
    push: Any = SimpleNamespace(number=1, path=path, estimate=estimate)
    measurement: Any = SimpleNamespace(pushes=[push])
    (axes,) = path_figure(measurement, LENGTH).axes
    line = next(one for one in axes.get_lines() if str(one.get_label()).startswith("push 1: one fixed"))
    np.testing.assert_allclose(line.get_xdata(), [5.0, 8.0])
    np.testing.assert_allclose(line.get_ydata(), [-20.0, -15.0])
    band = next(one for one in axes.collections if len(one.get_paths()) and len(one.get_paths()[0].vertices) > 4)
    edges = {round(float(x), 6): [] for x in (5.0, 8.0)}
    for x, y in band.get_paths()[0].vertices:
        edges[round(float(x), 6)].append(float(y))
    assert (min(edges[5.0]), max(edges[5.0])) == pytest.approx((-21.96, -18.04))
    assert (min(edges[8.0]), max(edges[8.0])) == pytest.approx((-15.98, -14.02))


def test_the_map_shows_this_test_at_its_own_grip_and_straight_where_the_balance_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pushed at 80 % with grip 0.9 to 0.6, a ratio of 1.5; straight goes a push at x = r F / (r F + R) of statics."""
    cards = read_set(write(tmp_path, test={"grip.front": 0.9, "grip.rear": 0.6, "push.position_pct": 80.0}))
    drawn: list[Any] = []
    monkeypatch.setattr(maps, "save_figure", lambda figure, path, **_: drawn.append(figure) or path)
    maps.write_map(tmp_path / "map.png", cards, typed_weighing(cards))
    axes = drawn[0].axes[0]
    (dot,) = (one for one in axes.get_lines() if one.get_label() == "this test")
    assert (list(dot.get_xdata()), list(dot.get_ydata())) == ([80.0], [pytest.approx(1.5)])
    (lines,) = (one for one in axes.collections if 0.0 in getattr(one, "levels", ()) and not one.filled)
    straight = lines.get_paths()[list(lines.levels).index(0.0)].vertices
    assert len(straight) > 20
    front, rear = 560 + 310, 420 + 250
    for station, ratio in straight:
        assert station == pytest.approx(100 * ratio * front / (ratio * front + rear), abs=0.1)


def test_a_cameras_rate_is_its_steps_over_the_time_they_took(monkeypatch: pytest.MonkeyPatch) -> None:
    """16 pictures, one each 0.08 s: 15 steps in 1.2 s are 12.5 pictures a second, whatever the driver tells."""
    ticks = iter([100.0 + 0.08 * number for number in range(17)])  # the last one finds no picture any more
    monkeypatch.setattr(source, "time", SimpleNamespace(monotonic=lambda: next(ticks)))
    good, picture = iter([True] * 16), np.zeros((4, 6, 3), np.uint8)
    capture = SimpleNamespace(read=lambda: (next(good, False), picture), get=lambda _: 0.0, release=lambda: None)
    told = source.CameraMode(asked=(1280, 720, 30.0), granted=(640, 480, 25.0), measured_fps=None)
    every = threading.Event()
    with source.CameraReader(capture, told, listener=lambda shot: every.set() if shot.number == 15 else None) as camera:
        assert every.wait(10.0)
        said = camera.mode.words
    assert said == "asked 1280x720 at 30, told 640x480 at 25, measured 12.5 frames/s"


def test_a_tables_columns_are_numbered_from_1_in_the_order_of_the_wheels(tmp_path: Path) -> None:
    """FL FR RL RR, the order that an export describes, are 1 to 4 as the pads are; and the first push is 1, too."""
    weights = [412.5, 388.0, 431.0, 402.25]
    weighing = {"kind": "weighing", "title": "test", "result": {"corner_weights_g": weights, "total_g": {"value": 9.5}}}
    push = {"kind": "push", "title": "test", "result": {"pushes": [{"turn_deg": -3.5}, {"turn_deg": 8.0}]}}
    take_in(tmp_path / "in", tmp_path / "log", [weighing, push], [write(tmp_path)])
    run("log", "export", tmp_path / "out", "--log", tmp_path / "log")

    def row(kind: str) -> dict[str, str]:
        (path,) = (tmp_path / "out").rglob(f"{kind}.csv")
        (told,) = csv.DictReader(path.open(encoding="utf-8", newline=""))
        return told

    found = row("weighing")
    assert [name for name in found if name.startswith("corner_weights_g")] == [
        f"corner_weights_g.{n}" for n in (1, 2, 3, 4)
    ]
    assert [float(found[f"corner_weights_g.{n}"]) for n in (1, 2, 3, 4)] == weights
    assert float(found["total_g.value"]) == 9.5
    pushed = row("push")
    assert (float(pushed["pushes.1.turn_deg"]), float(pushed["pushes.2.turn_deg"])) == (-3.5, 8.0)
