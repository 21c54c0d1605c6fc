"""The picture of the car from above: where everything is drawn, read back from the figure in millimetres."""

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from analysis.figures.car import (
    FORECAST,
    LOAD,
    MEASURED,
    QUIET,
    CarPicture,
    PivotMark,
    body_outline,
    closed,
    moved,
    top_view,
)

PLACE = np.array([[0.26, 0.08], [0.26, -0.08], [0.0, 0.08], [0.0, -0.08]])


def picture(**more: object) -> CarPicture:
    plain: dict[str, object] = {"title": "Dunlin", "wheelbase": 0.26, "contact_place": PLACE, "body": (0.05, 0.03, 0.2)}
    return CarPicture(**(plain | more))  # type: ignore[arg-type]


def discs(figure: Figure) -> list[tuple[np.ndarray, float, str]]:
    """(places in mm, area, colour) of every group of marks."""
    return [
        (
            np.asarray(one.get_offsets()),
            float(one.get_sizes()[0]),
            to_hex(one.get_facecolor()[0]).upper() if len(one.get_facecolor()) else "",
        )
        for one in figure.axes[0].collections
        if hasattr(one, "get_sizes") and len(one.get_sizes())
    ]


def lines(figure: Figure, colour: str) -> list[np.ndarray]:
    return [np.asarray(one.get_xydata()) for one in figure.axes[0].get_lines() if one.get_color() == colour]


def labels(figure: Figure) -> list[str]:
    return [str(one) for one in figure.axes[0].get_legend_handles_labels()[1]]


def outline_of(of: CarPicture) -> np.ndarray:
    return closed(body_outline(of.wheelbase, of.body))


def test_body_and_motion_of_it() -> None:
    # overhangs of 50 mm ahead and 30 mm behind, 200 mm wide; a quarter turn takes (x, y) to (-y, x)
    corners = outline_of(picture())
    np.testing.assert_allclose(corners[[0, 2]], [[-0.03, -0.1], [0.31, 0.1]])
    np.testing.assert_array_equal(corners[0], corners[-1])
    turned = moved(corners, (0.5, 0.25, np.pi / 2))
    np.testing.assert_allclose(turned, np.stack([0.5 - corners[:, 1], 0.25 + corners[:, 0]], axis=1), atol=1e-15)


def test_a_bare_car_has_its_outline_and_four_wheels_to_scale() -> None:
    figure = top_view(picture())
    axes = figure.axes[0]
    (outline,) = lines(figure, "black")
    np.testing.assert_allclose(outline, 1e3 * outline_of(picture()))
    ((wheels, _, colour),) = discs(figure)
    np.testing.assert_allclose(wheels, 1e3 * PLACE)
    assert colour == QUIET
    assert axes.get_aspect() == 1.0
    assert axes.get_legend() is None
    assert axes.get_title(loc="left") == "Dunlin"
    assert not axes.texts
    top = axes.child_axes[0]
    assert "wheelbase" in top.get_xlabel()
    to_pct, to_mm = top._functions  # the axis people speak in: 130 mm is half of 260 mm
    assert (float(to_pct(np.array(130.0))), float(to_mm(np.array(50.0)))) == (50.0, 130.0)


def test_loads_are_areas_and_the_rest_is_where_it_is_told() -> None:
    load = np.array([400.0, 300.0, 200.0, 100.0])
    figure = top_view(
        picture(
            load_g=load,
            cg=np.array([0.15, 0.004]),
            balance=0.14,
            balance_u=0.002,
            push=np.array([0.2, -0.1]),
            verdict="agrees",
        )
    )
    axes = figure.axes[0]
    loads = next(one for one in axes.collections if len(one.get_offsets()) == 4 and len(one.get_sizes()) == 4)
    sizes = loads.get_sizes()
    np.testing.assert_allclose(sizes / sizes[3], load / 100.0)  # the eye compares areas
    words = {one.get_text(): one for one in axes.texts}
    assert set(words) == {"400 g", "300 g", "200 g", "100 g", "push"}
    for text, place in zip(("400 g", "300 g", "200 g", "100 g"), PLACE, strict=True):
        np.testing.assert_allclose(words[text].xy, 1e3 * place)
        assert np.sign(words[text].xyann[1]) == np.sign(place[1])  # outside the car
    places = [place for place, _, _ in discs(figure)]
    assert any(np.allclose(one, [[150.0, 4.0]]) for one in places)
    (balance,) = [one for one in lines(figure, FORECAST) if len(one) == 2]
    np.testing.assert_allclose(balance, [[140.0, -100.0], [140.0, 100.0]])
    (band,) = [one for one in axes.collections if isinstance(one, PolyCollection)]
    x = band.get_paths()[0].vertices[:, 0]
    assert (x.min(), x.max()) == pytest.approx((140 - 1.96 * 2, 140 + 1.96 * 2))
    # a push to the left starts at the right: the arrow's tail lies 22 % of the wheelbase below its head
    np.testing.assert_allclose(words["push"].xy, [200.0, -100.0])
    np.testing.assert_allclose(words["push"].xyann, [200.0, -100.0 - 0.22 * 260])
    assert labels(figure) == ["centre of gravity", "balance point"]
    assert figure.get_supxlabel() == "agrees"
    right = top_view(picture(push=np.array([0.2, 0.1]), push_side=-1)).axes[0].texts[0]
    np.testing.assert_allclose(right.xyann, [200.0, 100.0 + 0.22 * 260])
    assert LOAD in [to_hex(one.get_facecolor()[0]).upper() for one in axes.collections]


def test_pivots_differ_in_shape_line_and_colour() -> None:
    square = np.array([[-0.08, -0.01], [-0.06, -0.01], [-0.06, 0.01], [-0.08, 0.01]])
    figure = top_view(
        picture(
            measured=PivotMark(place=np.array([-0.07, 0.002]), region=square),
            forecast=PivotMark(place=np.array([-0.05, 0.0]), region=square + 0.02),
        )
    )
    axes = figure.axes[0]
    assert labels(figure) == ["forecast pivot", "measured pivot"]
    regions = {}
    for colour, shift, line in ((MEASURED, 0.0, "-"), (FORECAST, 0.02, "--")):
        (drawn,) = [one for one in axes.get_lines() if one.get_color() == colour]
        np.testing.assert_allclose(drawn.get_xydata(), 1e3 * (np.vstack([square, square[:1]]) + shift))
        assert drawn.get_linestyle() == line
        regions[colour] = [one for one in axes.patches if to_hex(one.get_facecolor()).upper() == colour]
        assert len(regions[colour]) == 1
    marks = {
        to_hex(one.get_edgecolor()[0]).upper(): np.asarray(one.get_offsets())
        for one in axes.collections
        if len(one.get_offsets()) == 1
    }
    np.testing.assert_allclose(marks[MEASURED], [[-70.0, 2.0]])
    np.testing.assert_allclose(marks[FORECAST], [[-50.0, 0.0]])
    shapes = {len(one.get_paths()[0].vertices) for one in axes.collections if len(one.get_offsets()) == 1}
    assert len(shapes) == 2  # a disc and a diamond
    assert len(top_view(picture(measured=PivotMark(place=np.array([-0.07, 0.0])))).axes[0].patches) == 0


@pytest.mark.parametrize(
    ("place", "wheelbases", "drawn"),
    [
        ((-0.4, 0.0), "2.0 wheelbases", -1),
        ((0.7, 0.0), "2.2 wheelbases", 1),
        ((-0.07, 0.5), "0.8 wheelbases", -1),
        ((0.13 - 1.59 * 0.26, 0.0), None, 0),
        ((0.13, 1.59 * 0.26), None, 0),
    ],
)
def test_a_far_pivot_is_an_arrow_with_its_distance(
    place: tuple[float, float], wheelbases: str | None, drawn: int
) -> None:
    figure = top_view(picture(measured=PivotMark(place=np.array(place))))
    arrows = figure.axes[0].texts
    if wheelbases is None:
        assert labels(figure) == ["measured pivot"]
        assert not arrows
        return
    assert labels(figure) == [f"measured pivot, {wheelbases} away"]
    (arrow,) = arrows
    end = 130 + drawn * 1.6 * 260
    np.testing.assert_allclose([arrow.xy, arrow.xyann], [[end, 0], [130 + 0.86 * (end - 130), 0]])


def test_the_way_of_the_car_grows_darker() -> None:
    poses = np.array([[0.0, 0.01, 0.05], [0.0, 0.02, 0.1], [0.0, 0.03, 0.15]])
    figure = top_view(picture(swept=poses))
    ways = [one for one in figure.axes[0].get_lines() if one.get_color() == MEASURED]
    assert [one.get_alpha() for one in ways] == pytest.approx([0.15 + 0.35 / 3, 0.15 + 0.7 / 3, 0.5])
    for one, pose in zip(ways, poses, strict=True):
        np.testing.assert_allclose(one.get_xydata(), 1e3 * moved(outline_of(picture()), pose))
