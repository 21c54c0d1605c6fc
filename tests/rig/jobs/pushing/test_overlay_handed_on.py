"""What is handed on to those who draw over a clip: places by plane geometry, the same scene for film and still.

Truth: poses and points turned by hand; the push starts turned by 90 degrees, so that no axis is like another.
"""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.base.errors import InputError
from rig.cards.read import read_set
from rig.jobs.pushing import overlay
from rig.jobs.pushing.overlay import draw_overlay
from tests.values.cards_typed import write

Drawn = dict[str, tuple[Any, ...]]


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> Drawn:
    """What the two drawing functions are given."""
    told: Drawn = {}

    def drawing(name: str) -> Any:
        def draw(clip: Path, out: Path, scene: Any, *, whole_picture: bool, progress: Any = None) -> None:
            told[name] = (clip, scene, whole_picture, progress)
            out.write_text(name)

        return draw

    monkeypatch.setattr(overlay, "overlay_clip", drawing("film"))
    monkeypatch.setattr(overlay, "overlay_still", drawing("still"))
    return told


def verdict(folder: Path, *, number: int = 2, forecast: tuple[float, float] = (0.07, -0.02)) -> Any:
    """A second push, from (1, 2) m on, turned to the left by 90 degrees; its pivot: (0.05, 0.01) m of the car."""
    cards = read_set(write(folder, test={"name": "märz"}))
    push = SimpleNamespace(
        number=number,
        start_pose=np.array([1.0, 2.0, np.pi / 2]),
        pole=np.array([0.05, 0.01]),
        pole_covariance=np.diag([4e-6, 1e-6]),
        end_time=5.0,
    )
    pushes = [SimpleNamespace(number=1, end_time=2.0), push, SimpleNamespace(number=3, end_time=8.0)]
    finger = SimpleNamespace(time=np.arange(10.0), tip=np.arange(20.0).reshape(10, 2))
    names = ("camera", "view", "time", "pose", "seen", "picture_time")
    measurement = SimpleNamespace(
        clip=folder / "clip.avi",
        track=SimpleNamespace(**{name: name for name in names}),
        floor=SimpleNamespace(dictionary=cards.bench.floor.dictionary),
        finger=finger,
        pushes=pushes,
    )
    region = SimpleNamespace(place=np.array(forecast), covariance=np.diag([9e-6, 25e-6]))
    made = SimpleNamespace(prediction=SimpleNamespace(region=region))
    return SimpleNamespace(cards=cards, measurement=measurement, push=push, forecast=made)


@pytest.mark.parametrize("whole", [True, False])
def test_film_and_still_show_one_scene(tmp_path: Path, drawn: Drawn, whole: bool) -> None:
    progress = lambda share: None  # noqa: E731
    files = draw_overlay(verdict(tmp_path), tmp_path / "out", "drawn", whole_picture=whole, progress=progress)
    assert (files.clip, files.still) == (tmp_path / "out" / "drawn.webm", tmp_path / "out" / "drawn-still.png")
    assert (files.clip.read_text(), files.still.read_text()) == ("film", "still")
    assert drawn["film"] == (tmp_path / "clip.avi", drawn["still"][1], whole, progress)
    assert drawn["still"][::2] == (tmp_path / "clip.avi", whole)
    scene = drawn["film"][1]
    names = ("camera", "view", "time", "pose", "seen", "picture_time")
    assert [getattr(scene, name) for name in names] == list(names)
    assert scene.title == "m?rz"  # what the drawing library has no letter for
    # ahead in the car is to the left of the floor's x axis: x = 1 - y, y = 2 + x; variances change places
    np.testing.assert_allclose(scene.measured.place, [0.99, 2.05], atol=1e-12)
    np.testing.assert_allclose(scene.measured.covariance, np.diag([1e-6, 4e-6]), atol=1e-18)
    np.testing.assert_allclose(scene.predicted.place, [1.02, 2.07], atol=1e-12)
    np.testing.assert_allclose(scene.predicted.covariance, np.diag([25e-6, 9e-6]), atol=1e-18)
    assert (scene.measured.label, scene.predicted.label) == ("measured", "forecast")
    # the finger from the end of the push before to the end of this one
    np.testing.assert_allclose(scene.finger_time, [2.0, 3.0, 4.0, 5.0])
    np.testing.assert_allclose(scene.finger[0], [4.0, 5.0])
    # the body reaches 70 mm ahead of the front axle, 90 mm behind the rear one, 100 mm to each side
    x, y = scene.outline.T
    np.testing.assert_allclose([x.min(), x.max(), y.min(), y.max()], [-0.09, 0.33, -0.1, 0.1], atol=1e-12)


@pytest.mark.parametrize(("x", "shown"), [(0.13 + 0.99, True), (0.13 - 0.99, True), (1.14, False), (-0.88, False)])
def test_a_forecast_beyond_a_metre_from_the_middle_is_not_drawn(
    tmp_path: Path, drawn: Drawn, x: float, shown: bool
) -> None:
    draw_overlay(verdict(tmp_path, forecast=(x, 0.0)), tmp_path, "drawn")
    assert (drawn["film"][1].predicted is not None) == shown


def test_without_a_clip_nothing_is_drawn(tmp_path: Path) -> None:
    typed = verdict(tmp_path)
    typed.measurement = None
    with pytest.raises(InputError, match="no clip to draw on"):
        draw_overlay(typed, tmp_path, "drawn")
