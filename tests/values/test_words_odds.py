"""Margins and numbers of report pages, the lesson's pushes: by hand."""

from unittest import mock

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from rig.base.errors import InputError
from rig.page.bench.lesson_steps import STEPS
from rig.report.method import method_part
from rig.report.pdf import Pages
from rig.virtual.push_truth import simulate_push
from rig.virtual.pushed_car import FingerPush, PushedCar


@pytest.fixture(scope="module")
def sheets() -> list[Figure]:
    """A long text on sheets of 6 by 4 inches with margins of half an inch."""
    kept: list[Figure] = []
    with mock.patch.object(PdfPages, "savefig", lambda _, figure: kept.append(figure)):
        pages = Pages("Lopsided, weighed and pushed", width=6.0, height=4.0, margin=0.5)
        pages.text("The car swung about a point behind the middle of the wheelbase. " * 60, size=10)
        pages.close()
    return kept


def test_pages_are_numbered_from_one(sheets: list[Figure]) -> None:
    assert len(sheets) >= 3
    told = [[text.get_text() for text in sheet.texts if text.get_text().isdigit()] for sheet in sheets]
    assert told == [[str(number)] for number in range(1, len(sheets) + 1)]


def test_a_paragraph_fills_the_width_between_the_margins(sheets: list[Figure]) -> None:
    lines = [text for text in sheets[0].texts if "wheelbase" in text.get_text()]
    sheets[0].set_dpi(600)  # widths unrounded by the screen's pixels
    canvas = FigureCanvasAgg(sheets[0])
    ends = [text.get_window_extent(canvas.get_renderer()) for text in lines]
    inches = np.array([[end.x0, end.x1] for end in ends]) / sheets[0].dpi
    np.testing.assert_allclose(inches[:, 0], 0.5, atol=0.03)
    # lines end by a letter's mean width at 6 - 0.5 inches: within a word (0.75) below, half a margin above
    assert 4.75 < inches[:, 1].max() < 5.75


def test_assumptions_are_numbered_from_one() -> None:
    (table,) = [one for one in method_part().tables if one.caption == "Assumptions"]
    assert [row[0] for row in table.rows][:3] == ["1", "2", "3"]


def test_each_step_of_the_lesson_is_pushed_where_it_says() -> None:
    at = {step.name: step.setup.test["push.position_pct"] for step in STEPS if step.setup is not None}
    asked = {step.name: step.question for step in STEPS}
    assert at.pop("straight") == pytest.approx(100 * 0.96 / (0.96 + 0.80), abs=0.1)  # front share of grip, by hand
    for name, words in (("ahead", "pushed at 85 % of the wheelbase"), ("solid", "pushed near the nose")):
        assert at.pop(name) == 85.0
        assert words in asked[name]
    assert set(at.values()) == {50.0}


def car() -> PushedCar:
    return PushedCar(
        contacts=np.array([[0.25, 0.08], [0.25, -0.08], [0.0, 0.075], [0.0, -0.075]]),
        loads=np.array([4.2, 3.8, 4.0, 3.6]),
        grip=np.array([0.9, 0.9, 0.7, 0.7]),
        drag=np.ones(4),
        heading=np.zeros(4),
        mass=1.59,
        yaw_inertia=0.012,
        cg=np.array([0.128, 0.002]),
    )


def test_a_push_of_its_two_ramps_alone_is_possible() -> None:
    # each ramp takes speed x ramp / 2 of travel: 0.03 m/s x 0.4 s = 12 mm for both
    shortest = {"station": 0.2, "side_y": -0.1, "speed": 0.03, "ramp": 0.4, "rest": 0.1}
    moved = simulate_push(car(), FingerPush(distance=0.0125, **shortest), rate=60.0, tolerance=1e-5)
    far = np.linalg.norm(moved.finger - moved.finger[0], axis=1).max()
    assert far == pytest.approx(0.0125, abs=2e-5)  # then the finger backs off
    with pytest.raises(InputError, match="too short"):
        simulate_push(car(), FingerPush(distance=0.0115, **shortest))
