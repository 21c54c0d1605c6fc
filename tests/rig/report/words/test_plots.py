"""The figures of a report, read back from their axes: which number stands where, in which unit, on which side.

Truth: by hand; one turn per metre is 0.57296 degrees per centimetre (a hundredth of 180 over pi).
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.base.pivot import PivotEstimate
from rig.jobs.pushing.picture import PushedPoses
from rig.jobs.record.experiments import Contribution
from rig.report.words.plots import budget_figure, overview_figure, slide_figure

DEG_CM = 180 / np.pi / 100


def near(value: float) -> Any:
    return pytest.approx(value, rel=1e-6)


def test_the_slide_shows_way_and_turn_from_its_first_pose_and_shades_the_rests() -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0])
    pose = np.array([[0.5, -0.2, 0.1], [0.5, -0.2, 0.1], [0.53, -0.16, 0.3], [0.53, -0.16, 0.3]])
    way, turned = slide_figure(PushedPoses(time=time, pose=pose, start=0.9, end=2.2)).get_axes()
    (line,) = way.get_lines()
    assert list(line.get_ydata()) == [0.0, 0.0, near(50.0), near(50.0)]  # 30 and 40 mm: 50 mm
    assert (way.get_ylabel(), turned.get_ylabel(), way.get_xlabel()) == ("mm", "degrees", "s")
    (line,) = turned.get_lines()
    assert list(line.get_ydata()) == [0.0, 0.0, near(np.degrees(0.2)), near(np.degrees(0.2))]
    spans = [(patch.get_x(), patch.get_x() + patch.get_width()) for patch in way.patches]
    assert spans == [(0.0, near(0.9)), (near(2.2), near(3.0))]


def cause(name: str, u: float, share: float) -> Contribution:
    return Contribution(name=name, u=u, share=share)


def test_budgets_show_what_counts_with_its_95_percent_on_either_side() -> None:
    many = [cause(f"cause {n}", 0.5 - 0.05 * n, 0.2) for n in range(9)]
    found = budget_figure(
        SimpleNamespace(  # type: ignore[arg-type]
            measured_budget=[cause("wheelbase", 0.3, 0.9), cause("next to nothing", 0.01, 0.004)], forecast_budget=many
        )
    )
    assert found is not None
    (axes,) = found.get_axes()
    bars = [(patch.get_y() + patch.get_height() / 2, patch.get_width()) for patch in axes.patches]
    assert bars[0] == (0.0, near(1.959964 * 0.3 * DEG_CM))
    # a place left empty between the sides, and the seven largest of the nine
    assert bars[1:] == [(2.0 + n, near(1.959964 * (0.5 - 0.05 * n) * DEG_CM)) for n in range(7)]
    labels = [label.get_text() for label in axes.get_yticklabels()]
    assert labels == ["wheelbase (measured)", *(f"cause {n} (forecast)" for n in range(7))]
    assert axes.yaxis_inverted()


def test_no_budget_no_figure() -> None:
    assert budget_figure(SimpleNamespace(measured_budget=[], forecast_budget=[])) is None  # type: ignore[arg-type]


def estimate(kappa: float, low: float, high: float) -> PivotEstimate:
    return PivotEstimate(kappa=kappa, kappa_u=0.1, interval=(low, high), wheelbase=0.26, count=1, method="by hand")


def test_the_overview_has_a_row_for_each_push_and_both_sides_of_it() -> None:
    pushes = [
        SimpleNamespace(
            record=SimpleNamespace(number=number),
            cards=SimpleNamespace(test=SimpleNamespace(name=name)),
            measured=measured,
            predicted=predicted,
        )
        for number, name, measured, predicted in (
            (4, "first", estimate(2.0, 1.7, 2.6), estimate(3.0, 2.9, 3.2)),
            (9, "second", None, estimate(-1.0, -1.5, -0.8)),
        )
    ]
    (axes,) = overview_figure(pushes).get_axes()  # type: ignore[arg-type]
    lines = [(list(line.get_xdata()), list(line.get_ydata())) for line in axes.get_lines()][:6]
    wanted = [(2.0, 1.7, 2.6, -0.13), (3.0, 2.9, 3.2, 0.13), (-1.0, -1.5, -0.8, 1.13)]
    for k, (kappa, low, high, row) in enumerate(wanted):
        assert lines[2 * k] == ([near(low * DEG_CM), near(high * DEG_CM)], [near(row), near(row)])
        assert lines[2 * k + 1] == ([near(kappa * DEG_CM)], [near(row)])
    assert [label.get_text() for label in axes.get_yticklabels()] == ["4: first", "9: second"]
    assert axes.yaxis_inverted()
    legend = axes.get_legend()
    assert legend is not None
    assert [text.get_text() for text in legend.get_texts()] == ["measured", "forecast"]
    measured, forecast = axes.get_lines()[1], axes.get_lines()[3]
    keys = [(line.get_color(), line.get_marker()) for line in legend.get_lines()]
    assert keys == [(one.get_markeredgecolor(), one.get_marker()) for one in (measured, forecast)]
