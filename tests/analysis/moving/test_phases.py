"""A drift as phases: the table, the path, and its pictures."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.base.errors import InputError
from analysis.figures.moving import drift_page, path_figure, region_figure
from analysis.moving.phases import DRIFT, DriftPath, Phase, drift_path, phase_table, profile
from analysis.moving.region import reachable
from analysis.moving.setup_changes import with_bars
from analysis.moving.tyres import Driveline, friction_centre, tyres_like
from analysis.springs.chassis import stacked
from analysis.springs.dampers import BodyInertia, dampers
from analysis.springs.equilibrium import equilibrium
from tests.analysis.springs.sprung_cars import G, dunlin

INERTIA = BodyInertia(roll=np.array(0.0035), pitch=np.array(0.011))


def test_every_phase_is_its_own_equilibrium_for_many_set_ups_at_once() -> None:
    soft = dunlin()
    stiff = with_bars(soft, (800.0, 0.0))
    tyres = tyres_like(soft, front=0.8, rear=0.75, sensitivity=0.15)
    table = phase_table(stacked([soft, stiff]), tyres, DRIFT)
    assert table.load.shape == (2, 5, 4)
    for s, car in enumerate((soft, stiff)):
        for p, phase in enumerate(DRIFT):
            alone = equilibrium(car, phase.ax, phase.ay)
            np.testing.assert_allclose(table.load[s, p], alone.load, atol=1e-9)
            np.testing.assert_allclose([table.pitch[s, p], table.roll[s, p]], [alone.pitch, alone.roll], atol=1e-12)
            np.testing.assert_allclose(table.centre[s, p], friction_centre(car, tyres, alone.load), atol=1e-12)
    # statics: the floor carries the weight, and its moment about the rear axle is that of weight and acceleration
    np.testing.assert_allclose(table.load.sum(-1), 1.6 * G, rtol=1e-9)
    # mirrored accelerations give mirrored loads on a symmetrical car
    mirror = phase_table(soft, tyres, [Phase(name="m", ax=p.ax, ay=-p.ay, steer=0, duration=1) for p in DRIFT])
    np.testing.assert_allclose(mirror.load[:, [1, 0, 3, 2]], table.load[0], atol=1e-9)


def test_the_drift_that_is_shipped() -> None:
    """Typed in again from the page's table: accelerations in g, steer in degrees (rounded), seconds."""
    table = {
        "approach": (0.15, 0, 0, 0.8),
        "initiation": (-0.25, 0.35, 12, 0.3),
        "hold": (0.05, 0.5, -18, 1.2),
        "transition": (0, -0.45, 15, 0.5),
        "exit": (0.25, -0.1, 3, 0.7),
    }
    for phase, (name, (ax, ay, steer, seconds)) in zip(DRIFT, table.items(), strict=True):
        assert (phase.name, phase.duration) == (name, seconds)
        assert (phase.ax / G, phase.ay / G) == pytest.approx((ax, ay))
        assert np.degrees(phase.steer) == pytest.approx(steer, abs=0.25)


def test_the_drift_that_is_shipped_drifts() -> None:
    """A 1:10 car of grip 0.8 at half a g: its rear only steps out since its wheels spin (friction circle); with the
    throttle closed, or as much grip spent at the front, it does not."""
    car = dunlin()
    tyres = tyres_like(car, front=0.8, rear=0.8)
    words = phase_table(car, tyres, DRIFT).balance.words.tolist()
    assert words == ["holds", "steps out at the rear", "steps out at the rear", "holds", "holds"]
    closed = [replace(one, spent=float("nan")) for one in DRIFT]
    assert set(phase_table(car, tyres, closed).balance.words.tolist()) == {"holds"}
    pulled = phase_table(car, tyres, DRIFT, driveline=Driveline(drive_front=1.0)).balance.words.tolist()
    assert pulled[2] == "pushes on at the front"


def test_a_wheel_in_the_air_is_told_in_the_phase() -> None:
    car = dunlin(bar=[4000.0, 0.0], height=0.06)
    table = phase_table(car, tyres_like(car, front=1.2, rear=1.2), [Phase(name="x", ax=0, ay=9, steer=0, duration=1)])
    assert table.lifted[0].tolist() == [True, False, False, False]
    assert table.balance.words.tolist() == ["holds"]


def test_braking_moves_the_balance_point_forward_and_driving_rearward() -> None:  # common practice
    car = dunlin()
    tyres = tyres_like(car, front=0.8, rear=0.8, sensitivity=0.1)
    brake, drive = (Phase(name="x", ax=ax, ay=0, steer=0, duration=1) for ax in (-4.0, 4.0))
    table = phase_table(car, tyres, [brake, drive])
    rest = friction_centre(car, tyres, equilibrium(car).load)[0]
    assert table.centre[0, 0] > rest > table.centre[1, 0]


def test_the_profile_spends_each_phase_at_its_value_and_blends_between() -> None:  # by hand
    two = [Phase(name="a", ax=1, ay=1, steer=0.2, duration=1), Phase(name="b", ax=3, ay=-4, steer=0.1, duration=1)]
    time, phase, value = profile(two, blend=0.2, step=0.01)
    assert time[-1] == pytest.approx(2.0)
    np.testing.assert_allclose(value[time <= 0.89], [[1, 1, 0.2]] * int((time <= 0.89).sum()), atol=1e-12)
    np.testing.assert_allclose(value[np.isclose(time, 1.0)][0], [2, -1.5, 0.15], atol=1e-9)
    np.testing.assert_allclose(value[time >= 1.11], [[3, -4, 0.1]] * int((time >= 1.11).sum()), atol=1e-12)
    assert list(np.unique(phase)) == [0, 1]
    assert phase[np.isclose(time, 1.0)].tolist() == [1]  # at the joint the next one begins
    # 0.3 s of blend, but no longer than either phase: 0.1 s about 0.5 s, then 0.2 s about 0.6 s
    three = [replace(two[0], duration=0.5), replace(two[1], duration=0.1), replace(two[0], ax=9.0, duration=0.2)]
    time, _, value = profile(three, blend=0.3, step=0.05)
    assert len(time) == 17
    assert value[[8, 9, 10, 11, 12, 13, 14], 0] == pytest.approx([1, 1, 2, 3 + 0, 6, 9, 9])
    sharp = profile(two, blend=0.0, step=0.01)[2]
    assert set(np.round(sharp[:, 0], 9)) == {1.0, 3.0}


def test_a_damped_path_ends_each_long_phase_where_the_settled_one_does() -> None:
    car = dunlin()
    tyres = tyres_like(car, front=0.8, rear=0.8)
    long = [Phase(name=p.name, ax=p.ax, ay=p.ay, steer=0, duration=1.5) for p in DRIFT[:3]]
    quick = drift_path(car, tyres, long, step=0.01)
    damped = drift_path(car, tyres, long, step=0.01, damper=dampers(20.0, 25.0), inertia=INERTIA)
    assert quick.settled
    assert not damped.settled
    for k in range(3):
        last = np.flatnonzero(quick.phase == k)[-8]
        np.testing.assert_allclose(damped.load[last], quick.load[last], atol=2e-3 * car.weight)
    # it begins as the first phase holds it, at 0.15 g forward, not at rest
    np.testing.assert_allclose(damped.load[0], equilibrium(car, 0.15 * G, 0.0).load, atol=1e-6)
    change = np.flatnonzero(quick.phase == 1)[2]
    assert np.abs(damped.load[change] - quick.load[change]).max() > 0.02  # load is still on its way


def test_roll_over_in_one_phase_leaves_the_others() -> None:
    car = dunlin(height=0.11)
    tyres = tyres_like(car, front=0.8, rear=0.8)
    hard = [Phase(name="hard", ax=0, ay=14.0, steer=0, duration=0.5), DRIFT[0]]
    table = phase_table(car, tyres, hard)
    assert list(table.rolls_over) == [True, False]
    assert np.isnan(table.load[0]).all()
    assert np.isfinite(table.load[1]).all()
    path = drift_path(car, tyres, hard, damper=dampers(20.0, 20.0), inertia=INERTIA)
    assert bool(path.rolls_over)
    assert bool(drift_path(car, tyres, hard).rolls_over)
    assert not drift_path(car, tyres, [DRIFT[0]]).rolls_over


@pytest.mark.parametrize(
    ("phases", "says"),
    [
        ([], "no phase"),
        ([Phase(name="hold", ax=0, ay=1, steer=0, duration=0)], '"hold" has no duration'),
        ([Phase(name="hold", ax=0, ay=1, steer=0, duration=float("nan"))], "no duration"),
        ([Phase(name="hold", ax=0, ay=1, steer=0, duration=1, spent=1.5)], "spends 1.5"),
        ([Phase(name="hold", ax=float("nan"), ay=1, steer=0, duration=1)], "not one"),
    ],
)
def test_phases_that_cannot_be_are_named(phases: list[Phase], says: str) -> None:
    car = dunlin()
    with pytest.raises(InputError, match=says):
        phase_table(car, tyres_like(car, front=0.8, rear=0.8), phases)


def made_up(shift: float = 0.0) -> DriftPath:
    """Six moments, three of each of two phases, the last with a wheel up and one nowhere."""
    time = 0.02 * np.arange(6)
    load = 4.0 + np.arange(24.0).reshape(6, 4) / 10 + shift
    lifted = np.zeros((6, 4), dtype=bool)
    lifted[5, 2] = True
    centre = np.stack([0.12 + 0.01 * time + shift / 100, 0.001 * np.arange(6.0)], axis=1)
    load[1], centre[1] = np.nan, np.nan
    return DriftPath(
        time=time,
        phase=np.repeat([0, 1], 3),
        ax=0 * time + G,
        ay=G * time,
        steer=np.radians(10 * time),
        load=load,
        lifted=lifted,
        centre=centre,
        settled=True,
        rolls_over=np.array(False),
    )


def test_the_page_holds_every_moment_that_is_shown() -> None:
    path, place = made_up(), dunlin().contact_place
    page = drift_page("T & t", ["one", "two"], [("as is", path)], place)
    assert "<title>T &amp; t</title>" in page
    data = json.loads(re.search(r"const D=(\{.*?\}),NS=", page).group(1))  # type: ignore[union-attr]
    some = slice(0, None, 2)  # at 20 pictures a second of the 50 there are
    assert data["step"] == pytest.approx(0.04)
    assert data["names"] == ["one", "two"]
    assert data["phase"] == path.phase[some].tolist()
    assert data["most"] == pytest.approx(np.nanmax(path.load))
    np.testing.assert_allclose(data["time"], path.time[some], atol=5e-5)
    np.testing.assert_allclose(data["ax"], 1.0, atol=5e-5)
    np.testing.assert_allclose(data["ay"], path.time[some], atol=5e-5)
    np.testing.assert_allclose(data["steer"], 10 * path.time[some], atol=5e-5)
    np.testing.assert_allclose(data["place"], 1e3 * place, atol=5e-5)
    (car,) = data["cars"]
    assert car["up"] == path.lifted[some].tolist()
    for told, load, centre, true in zip(car["load"], path.load[some], car["centre"], path.centre[some], strict=True):
        if np.isnan(load).any():
            assert told == [None] * 4
            assert centre == [None] * 2
        else:
            np.testing.assert_allclose(told, load, atol=5e-5)
            np.testing.assert_allclose(centre, 1e3 * true, atol=5e-5)


def test_pictures_of_made_up_paths_and_regions_to_the_millimetre() -> None:
    place = dunlin().contact_place
    two = [("as is", made_up()), ("other", made_up(1.0))]
    upper, lower = path_figure(["one", "two"], two, place).axes
    for (name, path), line in zip(two, ("-", "--"), strict=True):
        for i, wheel in enumerate(("front left", "front right", "rear left", "rear right")):
            (drawn,) = [one for one in upper.get_lines() if one.get_label() == f"{wheel}, {name}"]
            np.testing.assert_array_equal(drawn.get_xydata(), np.stack([path.time, path.load[:, i]], axis=1))
            assert drawn.get_linestyle() == line
        (way,) = [one for one in lower.get_lines() if one.get_label() == name]
        np.testing.assert_allclose(way.get_xydata(), 1e3 * path.centre)
    joints = [one.get_xdata() for one in upper.get_lines() if np.shape(one.get_xdata()) == (2,)]
    np.testing.assert_allclose(joints, [[0.06, 0.06]])
    words = {one.get_text(): one.get_position()[0] for one in upper.texts}
    assert words == {"one": pytest.approx(0.02), "two": pytest.approx(0.08)}
    numbers = [(one.get_text(), *one.xy) for one in lower.texts]
    assert [one[0] for one in numbers] == ["1", "2", "1", "2"]
    np.testing.assert_allclose(numbers[1][1:], 1e3 * made_up().centre[4])
    (middle,) = [one for one in lower.get_lines() if one.get_label() == "middle of the wheelbase"]
    np.testing.assert_allclose(middle.get_xydata(), [[128.5, 0.0]])
    (alone, _) = path_figure(["one", "two"], two[:1], place).axes
    assert "front left" in alone.get_legend_handles_labels()[1]
    loop = np.array([[0.1, 0.0], [0.12, 0.0], [0.12, 0.01], [0.1, 0.0]])
    region = replace(
        reachable(dunlin(), tyres_like(dunlin(), front=0.8, rear=0.8), directions=8, shares=2, outline=False),
        outline=(loop, loop + 0.03),
        area=2e-4,
    )
    axes = region_figure(place, [("as is", region)]).axes[0]
    drawn_loops = [one.get_xydata() for one in axes.get_lines() if len(one.get_xdata()) == 4]
    np.testing.assert_allclose(drawn_loops, [1e3 * loop, 1e3 * (loop + 0.03)])
    assert axes.get_legend_handles_labels()[1] == ["as is: 2.0 cm²"]
    (cross,) = [one for one in axes.get_lines() if one.get_marker() == "x"]
    np.testing.assert_allclose(cross.get_xydata(), [1e3 * np.asarray(region.rest)])
    axles = [one.get_xydata() for one in axes.get_lines() if len(one.get_xdata()) == 2]
    np.testing.assert_allclose(axles[:3], [1e3 * place[:2], 1e3 * place[2:], [[0, 0], [257, 0]]])
    tyres = [one for one in axes.patches if hasattr(one, "get_width")]
    centres = [(one.get_x() + one.get_width() / 2, one.get_y() + one.get_height() / 2) for one in tyres]
    np.testing.assert_allclose(centres, 1e3 * place)
    assert axes.get_aspect() == 1.0
    edge = region_figure(place, [("as is", replace(region, outline=()))]).axes[0]
    assert any(
        np.allclose(one.get_xydata(), 1e3 * np.vstack([region.edge, region.edge[:1]]))
        for one in edge.get_lines()
        if len(one.get_xdata()) == len(region.edge) + 1
    )


def test_pictures_and_the_animation_hold_what_was_computed() -> None:
    car = dunlin()
    other = with_bars(car, (800.0, 0.0))
    tyres = tyres_like(car, front=0.8, rear=0.8, sensitivity=0.2)
    names = [p.name for p in DRIFT]
    paths = [(name, drift_path(one, tyres, DRIFT, step=0.05)) for name, one in (("as is", car), ("front <bar>", other))]
    page = drift_page("a </script> title", names, paths, car.contact_place)
    assert page.count("</script>") == 1  # nothing that people name can end the script
    data = json.loads(re.search(r"const D=(\{.*?\}),NS=", page).group(1))  # type: ignore[union-attr]
    assert [one["name"] for one in data["cars"]] == ["as is", "front <bar>"]
    k = len(data["time"]) // 2
    at = np.argmin(np.abs(paths[0][1].time - data["time"][k]))
    np.testing.assert_allclose(data["cars"][0]["load"][k], paths[0][1].load[at], atol=1e-4)
    assert sum(data["cars"][1]["load"][k]) == pytest.approx(1.6 * G, abs=1e-3)
    figure = path_figure(names, paths, car.contact_place)
    lines = figure.axes[0].get_lines()
    drawn = [line for line in lines if str(line.get_label()) == "front left, as is"]
    np.testing.assert_array_equal(np.asarray(drawn[0].get_ydata()), paths[0][1].load[:, 0])
    regions = [("as is", reachable(car, tyres, directions=24, shares=12))]
    area = region_figure(car.contact_place, regions).axes[0]
    assert area.get_legend() is not None
    assert f"{1e4 * regions[0][1].area:.1f} cm²" in area.get_legend().get_texts()[0].get_text()
