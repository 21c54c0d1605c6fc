"""Cars from above: every line where the push puts it, read back from the figure in millimetres; nose up."""

from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from analysis.base.errors import InputError
from analysis.figures.car import FORECAST, MEASURED
from analysis.figures.pushed_cars import END, START, CarFromAbove, cars_from_above

PLACE = np.array([[0.26, 0.08], [0.26, -0.08], [0.0, 0.07], [0.0, -0.07]])

BOTH = (MEASURED, FORECAST)


def car(**more: object) -> CarFromAbove:
    """Pushed to the left at 195 mm, touched on its right; it went 60 mm and turned a little clockwise."""
    plain: dict[str, Any] = {
        "title": "Dunlin",
        "wheelbase": 0.26,
        "body": (0.06, 0.03, 0.20),
        "contact_place": PLACE,
        "end": np.array([0.002, 0.06, -0.05]),
        "push": np.array([0.195, -0.10]),
        "side": 1,
        "nose_mm": 47.0,
        "tail_mm": 60.0,
        "balance": (0.14, 0.003),
        "forecast": 0.13,
    }
    return CarFromAbove(**(plain | more))


def lines(figure: Figure, colour: str) -> list[np.ndarray]:
    return [np.asarray(one.get_xydata()) for one in figure.axes[0].get_lines() if one.get_color() == colour]


def shape(points: np.ndarray) -> np.ndarray:
    """Relative to the first point: the cars' place in the picture does not matter."""
    relative: np.ndarray = points - points[0]
    return relative


def test_outlines_are_to_scale_with_the_nose_up_and_left_on_the_left() -> None:
    figure = cars_from_above([car()])
    (start,), (end,) = lines(figure, START), lines(figure, END)
    # 350 mm long, 200 mm wide, by hand: rear right, front right, front left, rear left
    np.testing.assert_allclose(shape(start), [[0, 0], [0, 350], [-200, 350], [-200, 0], [0, 0]], atol=1e-9)
    # The car went 60 mm to its left and 2 ahead, then turned clockwise about its rear axle by 0.05 rad: complex numbers
    corners = np.array([-0.03 - 0.1j, 0.32 - 0.1j, 0.32 + 0.1j, -0.03 + 0.1j, -0.03 - 0.1j])
    went = corners * np.exp(-0.05j) + 0.002 + 0.06j
    expected = np.stack([-1000 * went.imag, 1000 * went.real], axis=-1)
    before = np.stack([-1000 * corners.imag, 1000 * corners.real], axis=-1)
    np.testing.assert_allclose(end - start[0], expected - before[0], atol=1e-9)
    assert figure.axes[0].get_aspect() == 1.0


def test_balance_lines_cross_the_moved_car_and_differ_in_style() -> None:
    figure = cars_from_above([car()])
    (outline,) = lines(figure, START)
    origin = outline[0] + [-100, 30]  # rear axle's middle: 100 mm left of and 30 mm ahead of the rear right corner
    for colour, station in ((MEASURED, 0.14), (FORECAST, 0.13)):
        line = lines(figure, colour)[0]
        ends = np.array([station + 0.1j, station - 0.1j]) * np.exp(-0.05j) + 0.002 + 0.06j
        expected = np.stack([-1000 * ends.imag, 1000 * ends.real], axis=-1)
        np.testing.assert_allclose(line - origin, expected, atol=1e-9)
    first = {colour: next(one for one in figure.axes[0].get_lines() if one.get_color() == colour) for colour in BOTH}
    assert first[MEASURED].get_linestyle() == "-"
    assert first[FORECAST].get_linestyle() == "--"


@pytest.mark.parametrize(("side", "y"), [(1, -0.10), (-1, 0.10)])
def test_the_arrow_comes_from_the_pushed_side_and_ends_where_it_was_pushed(side: int, y: float) -> None:
    figure = cars_from_above([car(side=side, push=np.array([0.195, y]), end=np.array([0.0, side * 0.06, 0.0]))])
    (outline,) = lines(figure, START)
    (arrow,) = [one for one in figure.axes[0].texts if getattr(one, "arrow_patch", None) is not None]
    touch, tail = np.array(arrow.xy), np.array(arrow.get_position())  # type: ignore[attr-defined]
    # rear right corner at (0, 0): 195 mm ahead of the rear axle is 225 up; the left side is 200 to the left
    np.testing.assert_allclose(touch - outline[0], [0.0 if side == 1 else -200.0, 225.0], atol=1e-9)
    assert tail[1] == touch[1]
    assert np.sign(tail[0] - touch[0]) == side  # touched on its right: the finger comes from the right


def test_nose_and_tail_stand_at_their_own_ends() -> None:
    figure = cars_from_above([car(), car(title="other", nose_mm=-0.3, tail_mm=71.4)])
    place = {str(one.get_text()): np.array(one.xy) for one in figure.axes[0].texts}  # type: ignore[attr-defined]
    assert place["nose 47 mm"][1] > place["tail 60 mm"][1] + 250
    assert place["nose 0 mm"][1] > place["tail 71 mm"][1] + 250
    assert place["nose 0 mm"][0] > place["nose 47 mm"][0]  # in the order given, left to right
    first, second = lines(figure, START)
    np.testing.assert_allclose(shape(first), shape(second), atol=1e-9)  # one scale
    assert second[:, 0].min() > first[:, 0].max()


def test_what_is_not_known_is_not_drawn() -> None:
    figure = cars_from_above([car(balance=None, forecast=None)])
    assert not lines(figure, MEASURED)
    assert not lines(figure, FORECAST)
    assert not any("balance" in str(one.get_text()) for one in figure.axes[0].texts)


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(InputError, match="no pushed car"):
        cars_from_above([])
    with pytest.raises(InputError, match="not finite"):
        cars_from_above([car(nose_mm=float("nan"))])


@pytest.mark.parametrize("count", [1, 2])
def test_all_words_stand_inside_the_picture(count: int) -> None:
    figure = cars_from_above([car()] * count)
    figure.draw_without_rendering()
    width, height = figure.bbox.width, figure.bbox.height
    words = [text for text in figure.axes[0].texts if text.get_text()]
    assert {"balance by the push", "by weights and grip", "Dunlin"} <= {text.get_text() for text in words}
    for text in words:
        box = text.get_window_extent()
        assert box.x0 >= 0.0
        assert box.x1 <= width
        assert box.y0 >= 0.0
        assert box.y1 <= height


def test_the_key_under_one_car_stands_in_two_lines_and_within_its_width() -> None:
    """A phone is 390 points wide: beside each other its two parts would be cut off."""
    for number, rows in ((1, 2), (3, 1)):
        figure = cars_from_above([car()] * number)
        axes = figure.axes[0]
        words = [text for text in axes.texts if text.get_text() in ("balance by the push", "by weights and grip")]
        assert len({round(text.xy[1], 3) for text in words}) == rows
        figure.draw_without_rendering()
        assert all(text.get_window_extent().x1 <= figure.bbox.x1 for text in words)
    assert cars_from_above([car()]).get_size_inches()[0] < 4.0
