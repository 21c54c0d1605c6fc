"""A filmed push told from the log: the way from the poses to the number, its doubts, and the slide's picture."""

import re
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from .cards_typed import run, take_in, write

LENGTH = 0.26
POLE = np.array([-0.05, 0.04])
"""m, car axes of the start: behind the rear axle and left of the middle."""
TURN = np.radians(-9.0)
"""Clockwise: pushed from the left near the nose, the car swings to the right."""
TRUE_U = 0.04


def turned(turn: float) -> np.ndarray:
    """Pose of the rear axle's middle after a turn about the pole."""
    cos, sin = np.cos(turn), np.sin(turn)
    place = POLE - np.array([[cos, -sin], [sin, cos]]) @ POLE
    return np.array([*place, turn])


def kappa(start: np.ndarray, end: np.ndarray) -> float:
    """2 sin(turn / 2) over the sideways way of mid-wheelbase across the mean heading (definition)."""
    at = [p[:2] + LENGTH / 2 * np.array([np.cos(p[2]), np.sin(p[2])]) for p in (start, end)]
    mean = (start[2] + end[2]) / 2
    return float(2 * np.sin((end[2] - start[2]) / 2) / ((at[1] - at[0]) @ [-np.sin(mean), np.cos(mean)]))


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, list[Figure]]:
    """The report on one push, and its figures."""
    folder = tmp_path_factory.mktemp("story")
    time = np.arange(90) / 30
    pose = np.stack([turned(TURN * np.clip(t - 1.0, 0, 1)) for t in time])
    shared = np.zeros((3, 90, 3))
    shared[0, 60:, 2] = 4e-4  # the turn is seen too large at the end
    shared[1, :30, 1] = 1e-4  # the start is seen too far left
    shared[2, 60:, 0] = 3e-4  # the end too far ahead
    shared[:, :8] *= 7.0  # none of the 20 pictures that end at 0.9 s
    shared[:, 78:] *= 5.0  # none of the 15 that begin at 2.1 s
    track = folder / "track.npz"
    np.savez(
        track,
        time_s=time,
        pose=pose,
        covariance=np.zeros((90, 3, 3)),
        shared=shared,
        repeating=np.zeros((3, 3)),
        shared_names=np.array(["camera 1", "floor 1", "floor 2"]),
    )
    found = kappa(pose[0], pose[-1])
    row = {
        "number": 1,
        "turn_deg": float(np.degrees(TURN)),
        "turn_u_deg": 0.05,
        "travel_mm": -28.25,
        "travel_u_mm": 0.125,
        "start_s": 0.9,
        "end_s": 2.1,
        "start_pose": pose[0].tolist(),
        "end_pose": pose[-1].tolist(),
        "rest_frames": [20, 15],
        "pivot": {
            "kappa_per_m": found,
            "kappa_u_per_m": TRUE_U,
            "finding": "pivot",
            "count": 1,
            "method": "by hand",
            "warnings": [],
            "kappa_interval_per_m": [found - 1.96 * TRUE_U, found + 1.96 * TRUE_U],
            "wheelbase_m": LENGTH,
        },
    }
    clip = {"frames_read": 90, "frames_left_out": 3, "warnings": ["a remark"]}
    path = write(folder)
    record = {"kind": "push", "title": "test", "result": {"pushes": [row], "track": clip}}
    take_in(folder / "in", folder / "log", [record], [path], [("track", track)])
    figures: list[Figure] = []
    svg = FigureCanvasSVG.print_svg

    def keep(self: Any, *args: Any, **more: Any) -> Any:
        figures.append(self.figure)
        return svg(self, *args, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(FigureCanvasSVG, "print_svg", keep)
        run("log", "report", "--log", folder / "log", "--out", folder / "report.html")
    return (folder / "report.html").read_text(), figures


def test_the_way_from_the_poses_to_the_number(story: tuple[str, list[Figure]]) -> None:
    """The pole lies 180 mm behind the middle: at -50 mm, -19.2 % of 260 mm."""
    page, _ = story
    assert kappa(turned(0), turned(TURN)) == pytest.approx(1 / 0.18)
    assert "90 pictures were read, 3 left out" in page
    assert "until 0.90 s (20 pictures averaged) and again from 2.10 s (15 pictures averaged)" in page
    assert "went 28.25 ± 0.24 mm sideways and the car turned 9.00 ± 0.10 degrees" in page  # 1.96 u
    assert "28.25 mm over 9.00 degrees puts the pivot 180.0 mm behind the middle of the wheelbase" in page
    assert "which lies 130.0 mm ahead of the rear axle; so the pivot is at −50.0 mm, or −19.2 % of the" in page
    assert "Note: a remark" in page


def test_the_budget_of_a_measured_push(story: tuple[str, list[Figure]]) -> None:
    """Each cause by differences of the definition; causes of one kind add as squares; the rest is scatter."""
    page, figures = story
    start, end = turned(0), turned(TURN)

    def moved(at: int, pose: int, by: float) -> float:
        step = by * (np.arange(3) == at) * 1e-3
        one, two = (start + step, end) if pose == 0 else (start, end + step)
        return (kappa(one, two) - kappa(start, end)) / 1e-3

    camera = abs(moved(2, 1, 4e-4))
    floor = np.hypot(moved(1, 0, 1e-4), moved(0, 1, 3e-4))
    left = np.sqrt(TRUE_U**2 - camera**2 - floor**2)
    degrees = 1.96 * 180 / np.pi / 100
    for name, u in (("camera", camera), ("floor", floor), ("scatter of the poses at rest", left)):
        row = re.search(rf"<tr><td>{name}</td><td>.*?</td><td>([\d.]+)</td><td>(.*?)</td>", page)
        assert row
        assert float(row[1]) == pytest.approx(u * degrees, abs=6e-4)
        share = 100 * (u / TRUE_U) ** 2
        assert row[2] == (f"{share:.1f} %" if share >= 0.05 else "&lt; 0.1 %")
    axes = next(axes for one in figures for axes in one.axes if "this cause alone" in axes.get_xlabel())
    widths = sorted(patch.get_width() for patch in axes.patches)
    assert widths[-1] == pytest.approx(max(camera, floor, left) * degrees, rel=1e-4)  # the derivative by differences


def test_the_slide_in_time(story: tuple[str, list[Figure]]) -> None:
    """Way of the rear axle's middle, mm: a chord about the pole; turn, degrees; rests shaded."""
    axes = next(one.axes for one in story[1] if one.axes[0].get_xlabel() == "s")
    way, turn = axes[0].get_lines()[0], axes[1].get_lines()[0]
    radius = float(np.hypot(*POLE))
    assert way.get_ydata()[-1] == pytest.approx(1000 * 2 * radius * np.sin(abs(TURN) / 2))
    assert turn.get_ydata()[-1] == pytest.approx(-9.0)
    assert way.get_xdata()[-1] == pytest.approx(89 / 30)
    spans = sorted((patch.get_x(), patch.get_x() + patch.get_width()) for patch in axes[0].patches)  # type: ignore[attr-defined]
    assert spans == [pytest.approx((0.0, 0.9)), pytest.approx((2.1, 89 / 30))]


def test_the_car_on_its_way_from_above(story: tuple[str, list[Figure]]) -> None:
    """Outlines along the way: the last one is the body turned about the pole."""
    axes = next(axes for one in story[1] for axes in one.axes if axes.get_xlabel() == "mm ahead of the rear axle")
    outlines = [
        np.stack([line.get_xdata(), line.get_ydata()], -1) for line in axes.get_lines() if len(line.get_xdata()) == 5
    ]
    corners = np.array([[-90, -100], [330, -100], [330, 100], [-90, 100], [-90, -100]])
    cos, sin = np.cos(TURN), np.sin(TURN)
    last = (corners - 1000 * POLE) @ np.array([[cos, sin], [-sin, cos]]) + 1000 * POLE
    assert any(np.allclose(one, last, atol=0.01) for one in outlines)
