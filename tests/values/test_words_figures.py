"""What is drawn: places, bars and intervals read off the finished figures, wherever they were made."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from .cards_typed import WEIGHTS, found, newtons, push_row, run, slide, take_in, write
from .test_words_results import LADDER, SERIES

LENGTH = 0.26
DEG_CM = 180 / np.pi / 100


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[Figure]:
    """Every figure that a command writes, in order; pixels are left out where only the picture is wanted."""
    figures: list[Figure] = []
    svg = FigureCanvasSVG.print_svg

    def keep_svg(self: Any, *args: Any, **more: Any) -> Any:
        figures.append(self.figure)
        return svg(self, *args, **more)

    def keep(self: Figure, file: Any, **more: Any) -> None:
        figures.append(self)
        file.write(b"a picture")

    monkeypatch.setattr(FigureCanvasSVG, "print_svg", keep_svg)
    monkeypatch.setattr(Figure, "savefig", keep)
    return figures


def by_label(figures: list[Figure], label: str) -> Axes:
    """The axes whose horizontal axis is called so."""
    return next(axes for one in figures for axes in one.axes if label in axes.get_xlabel())


def point(axes: Axes, label: str) -> list[float]:
    """Place of the dot with this label."""
    (at,) = (one.get_offsets() for one in axes.collections if one.get_label() == label)
    return [float(value) for value in np.asarray(at)[0]]


def bars(axes: Axes) -> list[tuple[float, list[float]]]:
    """(value, ends) of every row of intervals, top to bottom: a line and a dot."""
    lines = [one for one in axes.get_lines() if len(one.get_xdata()) == 2 and one.get_ydata()[0] == one.get_ydata()[1]]
    dots = [one for one in axes.get_lines() if len(one.get_xdata()) == 1]
    rows = zip(lines, dots, strict=True)
    return [(float(dot.get_xdata()[0]), [float(x) for x in line.get_xdata()]) for line, dot in rows]


@pytest.mark.parametrize("how", ["at once", "from the log"])
def test_the_car_from_above(tmp_path: Path, drawn: list[Figure], how: str) -> None:
    path = write(
        tmp_path,
        test={
            "typed.pivot_pct": -28.0,
            "typed.pivot_pct_u": 1.5,
            "push.side": "left",
            "push.position_pct_u": 1.0,
            "typed.weights_resolution_g": 40.0,
        },
    )
    found("push", path, "--log", tmp_path / "log", "--out", tmp_path / "out")
    if how == "from the log":
        drawn.clear()
        run("log", "report", "--log", tmp_path / "log", "--out", tmp_path / "report.html")
    axes = by_label(drawn, "mm ahead of the rear axle")
    assert point(axes, "measured pivot") == pytest.approx([-72.8, 0.0])
    _, pole, _ = slide(newtons(), [0.8] * 4, 0.8 * LENGTH, side=-1)
    assert point(axes, "forecast pivot") == pytest.approx([1000 * float(one) for one in pole], abs=1.5)
    across = np.array(WEIGHTS) @ [75, -75, 95, -95] / 1540
    assert point(axes, "centre of gravity") == pytest.approx([260 * 870 / 1540, across])
    balance = next(line for line in axes.get_lines() if line.get_label() == "balance point")
    assert balance.get_xdata()[0] == pytest.approx(260 * 870 / 1540, abs=0.3)
    push = next(text for text in axes.texts if text.get_text() == "push")
    assert push.xy == pytest.approx((208, 100))  # type: ignore[attr-defined]
    assert push.get_position()[1] > 100  # the arrow comes from the left side
    loads = {text.get_text(): text.xy for text in axes.texts if text.get_text().endswith(" g")}  # type: ignore[attr-defined]
    assert loads["560 g"] == pytest.approx((260, 75))
    assert loads["310 g"] == pytest.approx((260, -75))
    assert loads["420 g"] == pytest.approx((0, 95))
    assert loads["250 g"] == pytest.approx((0, -95))
    # x_c = L F / (F + R), each reading rounded to 40 g: the shade is 95 %
    u = 260 * 40 / np.sqrt(12) * np.sqrt(2 * 670**2 + 2 * 870**2) / 1540**2
    at = balance.get_xdata()[0]
    shade = [one.get_paths()[0].get_extents() for one in axes.collections if one.get_paths()]
    assert any(
        one.x1 - at == pytest.approx(1.96 * u, rel=0.05) and at - one.x0 == pytest.approx(1.96 * u, rel=0.05)
        for one in shade
    )
    body = next(line for line in axes.get_lines() if len(line.get_xdata()) == 5)
    assert (min(body.get_xdata()), max(body.get_xdata())) == pytest.approx((-90, 330))


def test_bars_of_a_budget_are_95_per_cent(tmp_path: Path, drawn: list[Figure]) -> None:
    path = write(tmp_path, test={"push.position_pct_u": 2.0})
    run("push", "forecast", path, "--log", tmp_path / "log")
    run("log", "report", "--log", tmp_path / "log", "--kind", "prediction", "--out", tmp_path / "report.html")
    axes = by_label(drawn, "this cause alone")
    ends = [slide(newtons(), [0.8] * 4, 0.208 + d)[0] for d in (0.0052, -0.0052)]
    assert axes.patches[0].get_width() == pytest.approx(1.96 * abs(ends[0] - ends[1]) / 2 * DEG_CM, rel=0.04)
    assert axes.get_yticklabels()[0].get_text() == "push position (forecast)"


def test_intervals_of_several_experiments(tmp_path: Path, drawn: list[Figure]) -> None:
    paths = [write(tmp_path, test={"push.position_pct": pct}, file=name) for name, pct in (("a", 20.0), ("b", 85.0))]
    take_in(tmp_path / "in", tmp_path / "log", [push_row("a", -4.0, 0.3), push_row("b", 6.25, 0.1)], paths)
    run("log", "report", "--log", tmp_path / "log", "--out", tmp_path / "report.html")
    axes = by_label(drawn, "0: slides straight")
    want = [(-4.0, 0.3), (6.25, 0.1)]
    for (value, ends), (kappa, u) in zip(bars(axes), want, strict=True):
        assert value == pytest.approx(kappa * DEG_CM)
        assert ends == pytest.approx([(kappa - 1.96 * u) * DEG_CM, (kappa + 1.96 * u) * DEG_CM])


def test_intervals_of_a_series_and_a_ladder(tmp_path: Path, drawn: list[Figure]) -> None:
    rows = [{"kind": "series", "title": "plan", "result": SERIES}, {"kind": "ladder", "title": "car", "result": LADDER}]
    take_in(tmp_path / "in", tmp_path / "log", rows)
    run("log", "report", "--log", tmp_path / "log", "--out", tmp_path / "report.html")
    axes = by_label(drawn, "change of turn per travel")
    close: Callable[[list[float]], Any] = lambda values: pytest.approx([v * DEG_CM for v in values])  # noqa: E731
    told = bars(axes)
    assert [value for value, _ in told] == close([0.5, -1.0])
    assert told[0][1] == close([0.2, 0.8])
    assert told[1][1] == close([-2.5, 0.5])
    told = bars(by_label(drawn, "grip of the front pair"))
    assert told == [(1.2, [1.1, 1.31]), (0.9, [0.8, 1.02])]


def test_the_map_marks_this_test(tmp_path: Path, drawn: list[Figure]) -> None:
    path = write(tmp_path, test={"push.position_pct": 80.0, "grip.front": 0.9, "grip.rear": 0.6})
    run("aim", path, "--log", tmp_path / "log", "--pivot", -60, "--out", tmp_path / "out")
    axes = by_label(drawn, "push position")
    here = next(line for line in axes.get_lines() if line.get_label() == "this test")
    assert (here.get_xdata()[0], here.get_ydata()[0]) == pytest.approx((80.0, 1.5))
    # the line of the straight slide runs where push position is the front share of grip: x_c = L F / (F + R)
    lines = next(
        one
        for one in axes.collections
        if getattr(one, "levels", None) is not None and 0.0 in one.levels and len(one.levels) < 15
    )
    zero = lines.get_paths()[list(lines.levels).index(0.0)].vertices  # type: ignore[attr-defined]
    station, ratio = np.asarray(zero).T
    want = 100 * ratio * 870 / (ratio * 870 + 670)
    np.testing.assert_allclose(station, want, atol=0.6)
