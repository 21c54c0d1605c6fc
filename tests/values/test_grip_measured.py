"""Grip, series and changes: statics and closed forms by hand, from cards and readings to what is printed."""

import csv
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.values.figures_read import shown

from .cards_typed import WEIGHTS, G, found, newtons, push_row, run, slide, take_in, write

LENGTH = 0.26
FRONT = 870 / 1540
"""Front share of the lopsided car's weight."""


# tilt board: mu = (tan a - k (1 - s)) / s, s the axle's share of the load on the slope, k the other axle's drag: by the
# card's own words a share of those tyres' grip, and grams at each tread for the bearings


def tilted(angle: float, front: float, height: float, rolling: float, *, part: str, nose: str) -> float:
    slope = np.tan(angle)
    share = front + (height * slope if nose == "down" else -height * slope)
    share = share if part == "front" else 1 - share
    return float((slope - rolling * (1 - share)) / share)


@pytest.mark.parametrize("nose", ["up", "down"])
@pytest.mark.parametrize("part", ["front", "rear"])
def test_a_tilted_axle(tmp_path: Path, part: str, nose: str) -> None:
    car = {"geometry.cg_height_mm": 52.0, "geometry.cg_height_mm_u": 6.0, "front.drag": 0.03, "rear.drag": 0.09}
    car |= {"front.drag_u": 0.012, "rear.drag_u": 0.02, "front.drag_g": 4.0, "front.drag_g_u": 3.0, "rear.drag_g": 0.0}
    grip = {"grip.front": 0.9, "grip.rear": 0.6, "grip.level_u": 0.1}
    path = write(tmp_path, car=car, test=grip | {"typed.weights_resolution_g": 30.0})
    angles = [21.0, 23.0, 23.5]
    got = found(
        "grip",
        "tilt",
        path,
        "--log",
        tmp_path / "log",
        "--part",
        part,
        "--nose",
        nose,
        "--angle-u",
        "0.8",
        *(word for angle in angles for word in ("--angle", angle)),
    )
    # the other axle stands on rollers
    rolling = 0.09 * 0.6 if part == "front" else 0.03 * 0.9 + 2 * 4.0 / 870
    rolling_u = 0.6 * np.hypot(0.02, 0.009) if part == "front" else np.hypot(0.9 * np.hypot(0.012, 0.003), 2 * 3 / 870)
    best = np.array([np.radians(np.mean(angles)), FRONT, 52 / 260, rolling])

    def mu(*x: float) -> float:
        return tilted(*x, part=part, nose=nose)

    value = mu(*best)
    assert (got["quantity"], got["state"]) == (part, "static")
    assert got["value"] == pytest.approx(value, rel=1e-9)
    step = 1e-5 * np.eye(4)
    slope = [(mu(*best + d) - mu(*best - d)) / 2e-5 for d in step]
    own = np.hypot(slope[0] * np.radians(np.std(angles, ddof=1)) / np.sqrt(3), slope[3] * rolling_u)
    assert got["relative_u"] == pytest.approx(own / value, rel=1e-4)
    # rounded to 30 g: each of two corners moves the share by (1 - s) / total, the others by s / total
    front_u = 30 / np.sqrt(12) * np.sqrt(2 * (1 - FRONT) ** 2 + 2 * FRONT**2) / 1540
    for name, want in (
        ("tilt board, protractor", slope[0] * np.radians(0.8)),
        ("front share of weight", slope[1] * front_u),
        ("height of the centre of gravity", slope[2] * 6 / 260),
    ):
        assert got["shared"][name] == pytest.approx(want / value, rel=1e-4), name
    words = run(
        "grip",
        "tilt",
        path,
        "--log",
        tmp_path / "log",
        "--part",
        part,
        "--nose",
        nose,
        *(word for angle in angles for word in ("--angle", angle)),
    )
    assert f"{part} grip (static) {value:.3f} ± {1.96 * own:.3f} of its own" in words


@pytest.mark.parametrize(("nose", "sign"), [("up", -1), ("down", 1)])
def test_a_tilted_car(tmp_path: Path, nose: str, sign: int) -> None:
    """tan of the angle; the slope moves load to the lower axle by height over wheelbase times that."""
    path = write(tmp_path)
    got = found("grip", "tilt", path, "--log", tmp_path / "log", "--nose", nose, "--angle", 35, "--sliding")
    assert (got["quantity"], got["state"]) == ("mean", "sliding")
    assert got["value"] == pytest.approx(np.tan(np.radians(35)))
    assert got["front_weight"] == pytest.approx(FRONT + sign * 40 / 260 * np.tan(np.radians(35)))
    gain = 1 / np.cos(np.radians(35)) ** 2 / np.tan(np.radians(35))
    assert got["relative_u"] == pytest.approx(gain * np.radians(0.7))  # one reading: 0.7 degrees are taken
    assert got["shared"]["tilt board, protractor"] == pytest.approx(gain * np.radians(0.5))


# spring balance: mu = F cos a / (N - F sin a)


@pytest.mark.parametrize(("part", "wheels"), [("front", [0, 1]), ("rear", [2, 3]), ("car", [0, 1, 2, 3])])
def test_a_pull(tmp_path: Path, part: str, wheels: list[int]) -> None:
    place = {"place.latitude_deg": 0.0, "place.height_m": 0.0}
    g = 9.7803253359  # m/s2 on the equator (WGS84)
    path = write(tmp_path, bench=place, test={"typed.weights_resolution_g": 50.0})
    forces = [4.0, 4.4, 4.1]
    options = ["--part", part, *(word for force in forces for word in ("--force", force)), "--angle", 12]
    got = found("grip", "pull", path, "--log", tmp_path / "log", *options, "--gauge-u", 0.03)
    load = sum(WEIGHTS[k] for k in wheels) * g / 1000
    a = np.radians(12)

    def mu(force: float, weight: float, angle: float) -> float:
        return float(force * np.cos(angle) / (weight - force * np.sin(angle)))

    value = mu(np.mean(forces), load, a)
    assert (got["quantity"], got["state"]) == ("mean" if part == "car" else part, "sliding")
    assert got["value"] == pytest.approx(value, rel=1e-6)
    # load: each wheel rounded to 50 g, and the scale's 1 % at most (rectangular)
    load_u = np.hypot(np.sqrt(len(wheels)) * 0.05 / np.sqrt(12) * g, 0.01 / np.sqrt(3) * load)
    e = 1e-5
    force = float(np.mean(forces))
    parts = [
        (mu(force + e, load, a) - mu(force - e, load, a)) / 2 / e * np.std(forces, ddof=1) / np.sqrt(3),
        (mu(force, load + e, a) - mu(force, load - e, a)) / 2 / e * load_u,
        (mu(force, load, a + e) - mu(force, load, a - e)) / 2 / e * np.radians(2),
    ]
    own = np.linalg.norm(parts)
    assert got["relative_u"] == pytest.approx(own / value, rel=1e-4)
    assert got["shared"]["spring balance"] == pytest.approx(
        (mu(force * (1 + e), load, a) - mu(force * (1 - e), load, a)) / 2 / e * 0.03 / value, rel=1e-4
    )
    assert got["front_weight"] == pytest.approx(FRONT)
    words = run("grip", "pull", path, "--log", tmp_path / "log", *options, "--static")
    assert f"grip (static) {value:.3f} ± {1.96 * own:.3f} of its own" in words


def test_one_pull_is_doubted_by_three_per_cent(tmp_path: Path) -> None:
    path = write(tmp_path)
    got = found("grip", "pull", path, "--log", tmp_path / "log", "--part", "front", "--force", 5)
    load = 0.87 * G
    assert got["value"] == pytest.approx(5 / load)
    # 3 % of the force, the scale's 0.2 %, and 2 degrees of the string: d mu / mu = tan a + F / N (level)
    scale = 0.01 / np.sqrt(3)  # of a scale that is off by 1 % at most
    assert got["relative_u"] == pytest.approx(np.linalg.norm([0.03, scale, np.radians(2) * 5 / load]), rel=1e-4)
    assert got["shared"]["spring balance"] == pytest.approx(0.02)


def test_front_and_rear_pulls_together(tmp_path: Path) -> None:
    """Two axles pulled: the ratio is that of both values, its doubt their squares; the balance's error cancels."""
    path = write(tmp_path)
    for part, forces in (("front", (8.0, 8.3)), ("rear", (3.9, 4.05))):
        for state in ([], ["--static"]):
            scaled = [force * (1.2 if state else 1.0) for force in forces]
            run(
                "grip",
                "pull",
                path,
                "--log",
                tmp_path / "log",
                "--part",
                part,
                "--gauge-u",
                0.01,
                *(word for force in scaled for word in ("--force", force)),
                *state,
            )
    front, rear = 8.15 / (0.87 * G), 3.975 / (0.67 * G)

    def u(forces: tuple[float, float], grip: float) -> float:
        spread = abs(forces[0] - forces[1]) / np.sqrt(2) / np.sqrt(2)  # of the mean of two
        return float(np.linalg.norm([spread / np.mean(forces), 0.01 / np.sqrt(3), np.radians(2) * grip]))

    a, b = u((8.0, 8.3), front), u((3.9, 4.05), rear)
    got = found("grip", path, "--log", tmp_path / "log")
    assert got["count"] == 2
    assert got["measured"] is True
    # the wide assumption beforehand (30 % of the ratio, 50 % of the level) pulls by less than 3 %
    assert got["ratio"] == pytest.approx(front / rear, rel=0.025)
    assert got["front"] == pytest.approx(front, rel=0.02)
    assert got["rear"] == pytest.approx(rear, rel=0.02)
    assert got["ratio_u"] == pytest.approx(np.hypot(a, b), rel=0.03)
    assert got["level_u"] == pytest.approx(np.hypot(np.hypot(a, b) / 2, 0.01), rel=0.03)
    low, high = got["ratio_interval"]
    assert np.log(high / low) / 2 == pytest.approx(1.96 * got["ratio_u"], rel=1e-4)
    still = found("grip", path, "--log", tmp_path / "log", "--static")
    assert still["front"] == pytest.approx(1.2 * front, rel=0.03)
    words = run("grip", path, "--log", tmp_path / "log")
    for line in (
        f"front = {got['front']:.4f}",
        f"rear = {got['rear']:.4f}",
        f"ratio_u = {got['ratio_u']:.4f}",
        f"level_u = {got['level_u']:.4f}",
        "measured = true",
    ):
        assert f"\n{line}\n" in words + "\n"
    for name, value in (("front", front), ("rear ", rear), ("front / rear", front / rear)):
        told = re.search(rf"^{name} ([\d.]+) \(95 %: ([\d.]+) to ([\d.]+)\)", words, flags=re.M)
        assert told
        assert float(told[1]) == pytest.approx(value, rel=0.03)
        assert float(told[2]) < float(told[1]) < float(told[3])


# pushes on record: their turn per travel by hand or by the other mechanics


def pushed(folder: Path, tests: dict[str, tuple[dict[str, Any], float]], u: float = 0.02, **cards: Any) -> list[Path]:
    """Cards and records of pushes: name -> (keys of the test card, kappa)."""
    paths = [write(folder, test=keys, file=name, **cards) for name, (keys, _) in tests.items()]
    take_in(folder / "in", folder / "log", [push_row(name, kappa, u) for name, (_, kappa) in tests.items()], paths)
    return paths


def test_a_sweep_crosses_zero_where_the_line_does(tmp_path: Path) -> None:
    """kappa = 20 per m² times (station - 146 mm): the null is 146 mm whatever the weights; ratio by moments."""
    stations = np.array([0.35, 0.45, 0.55, 0.62, 0.80]) * LENGTH
    tests = {
        f"s{n}": ({"push.position_pct": 100 * s / LENGTH, "push.position_pct_u": 0.4}, 20 * (s - 0.146))
        for n, s in enumerate(stations)
    }
    paths = pushed(tmp_path, tests, car={"geometry.wheelbase_mm_u": 1.0})
    got = found("grip", "sweep", *paths, "--log", tmp_path / "log")
    assert got["null_m"] == pytest.approx(0.146, abs=1e-6)
    ratio = 0.146 / (LENGTH - 0.146) * (1 - FRONT) / FRONT  # F / R of grip times load, over that of the loads
    assert got["value"] == pytest.approx(ratio, rel=1e-5)
    assert got["quantity"] == "ratio"
    # a straight line through five points (least squares): doubt of its zero
    u = np.hypot(0.02, 20 * 0.004 * LENGTH)
    away = 0.146 - stations.mean()
    null_u = u / 20 * np.sqrt(1 / 5 + away**2 / ((stations - stations.mean()) ** 2).sum())
    low, high = got["null_interval_m"]
    assert (high - low) / 2 == pytest.approx(1.96 * null_u, rel=0.02)
    per_m = LENGTH / (0.146 * (LENGTH - 0.146))
    assert got["relative_u"] == pytest.approx(np.hypot(per_m * null_u, 0.001 / (LENGTH - 0.146)), rel=0.02)
    words = run("grip", "sweep", *paths, "--log", tmp_path / "log")
    assert "balance point 146.0 mm ahead of the rear axle" in words
    assert f"grip ratio {ratio:.3f} ± {1.96 * ratio * got['relative_u']:.3f}" in words


@pytest.mark.parametrize("ratio", [1.25, 0.85])
def test_grip_is_inferred_the_right_way_round(tmp_path: Path, ratio: float) -> None:
    root = np.sqrt(ratio)

    def kappa(pct: float, by: float = 0.0) -> float:
        f, r = root * np.exp(by / 2), np.exp(-by / 2) / root
        return float(slide(newtons(), [f, f, r, r], pct / 100 * LENGTH)[0])

    tests = {f"at {pct:g}": ({"push.position_pct": pct}, kappa(pct)) for pct in (85.0, 20.0)}
    paths = pushed(tmp_path, tests)
    got = found("grip", "infer", *paths, "--log", tmp_path / "log")
    assert got["grip_ratio"] == pytest.approx(ratio, rel=0.01)
    slopes = [(kappa(pct, 1e-3) - kappa(pct, -1e-3)) / 2e-3 for pct in (85.0, 20.0)]
    u = 0.02 / np.linalg.norm(slopes)  # two measurements of one unknown, weights by their slopes
    low, high = got["interval"]
    assert np.log(high / low) / 2 == pytest.approx(1.96 * u, rel=0.25)
    assert low < ratio < high
    assert 0 <= got["next_station_pct"] <= 100
    assert f"{got['grip_ratio']:.2f}" in run("grip", "infer", *paths, "--log", tmp_path / "log")


def test_a_ladder_ranks_what_grips_more_in_front(tmp_path: Path) -> None:
    """Three front pairs, 1, 1.3 and 0.8 of the first pair's grip."""
    tests = {}
    for name, grip in (("first", 1.1), ("sticky", 1.1 * 1.3), ("slick", 1.1 * 0.8)):
        kappa = slide(newtons(), [grip, grip, 1, 1], 0.85 * LENGTH)[0]
        tests[f"t-{name}"] = (
            {"push.position_pct": 85.0, "conditions.compound_front": name, "conditions.compound_rear": "rear"},
            kappa,
        )
    paths = pushed(tmp_path, tests)
    rungs = found("grip", "ladder", *paths, "--log", tmp_path / "log")["rungs"]
    assert [one["name"] for one in rungs] == ["sticky", "first", "slick"]
    assert [one["grip"] for one in rungs] == pytest.approx([1.3, 1.0, 0.8], rel=0.01)
    assert [one["ranks"] for one in rungs] == [[1, 1], [2, 2], [3, 3]]
    assert rungs[0]["interval"][0] < 1.3 < rungs[0]["interval"][1]
    words = run("grip", "ladder", *paths, "--log", tmp_path / "log")
    assert re.search(r"sticky\s+1\.[23]\d\d .*1\n", words)
    assert "grip over first" in words


def test_effects_of_two_changes(tmp_path: Path) -> None:
    """Two factors in all four combinations: kappa = 3, +0.7 for hard tyres, -0.4 for ballast behind (by hand)."""
    tests, rows = {}, []
    number = 0
    for block, (tyre, ballast) in enumerate(
        [("soft", "front"), ("hard", "rear"), ("hard", "front"), ("soft", "rear"), ("soft", "front"), ("hard", "rear")],
        start=1,
    ):
        for wobble in (0.011, -0.011):
            number += 1
            kappa = 3.0 + 0.7 * (tyre == "hard") - 0.4 * (ballast == "rear") + wobble * (1 if block % 2 else -1)
            tests[f"p{number}"] = ({"push.position_pct": 85.0}, kappa)
            rows.append([number, block, "push", "right", 85, 0, "yes", "", f"p{number}.toml", tyre, ballast])
    # a push that only ran the tyres in must not count, nor one without a card
    rows.append([number + 1, 6, "run-in", "right", 85, 0, "no", "", "p1.toml", "hard", "rear"])
    rows.append([number + 2, 6, "push", "right", 85, 0, "yes", "", "", "hard", "rear"])
    pushed(tmp_path, tests, u=0.012)
    plan = tmp_path / "plan.csv"
    with plan.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(
            [
                "number",
                "block",
                "role",
                "side",
                "station_pct",
                "board_turn_deg",
                "recorded",
                "do_first",
                "test",
                "tyre",
                "ballast",
            ]
        )
        writer.writerows(rows)
    got = found("change", "effects", plan, "--log", tmp_path / "log")
    assert got["pushes"] == 12
    by = {(one["factor"], one["reference"], one["level"]): one for one in got["effects"]}
    assert set(by) == {("tyre", "soft", "hard"), ("ballast", "front", "rear")}
    assert by["tyre", "soft", "hard"]["change_per_m"] == pytest.approx(0.7, abs=0.02)
    assert by["ballast", "front", "rear"]["change_per_m"] == pytest.approx(-0.4, abs=0.02)
    for one in by.values():
        low, high = one["interval_per_m"]
        assert low < one["change_per_m"] < high
        assert one["clear"] is True
    words = run("change", "effects", plan, "--log", tmp_path / "log")
    # per metre as degrees per centimetre: 180 / pi / 100 times 0.7 and 0.4; these clips have no poses, so no points
    assert re.search(r"tyre +soft → hard +\+0\.(39|40|41) +\+0\.\d+ to \+0\.\d+ +clear", words)
    assert re.search(r"ballast +front → rear +−0\.(22|23|24) +−0\.\d+ to −0\.\d+ +clear", words)
    assert "measure its clip again for an answer in points" in words
    needed = int(re.search(r"apart: (\d+) pushes", words).group(1))  # type: ignore[union-attr]
    # 2 % of 260 mm at kappa 3.15: d kappa = kappa² times 5.2 mm; some pushes of scatter 0.012 to 0.03 tell it apart
    assert 2 <= needed <= 16


def test_a_plan_holds_every_combination(tmp_path: Path) -> None:
    run(
        "change",
        "plan",
        tmp_path / "plan.csv",
        "--factor",
        "tyre=soft,hard",
        "--factor",
        "ballast=front,middle,rear",
        "--repeats",
        4,
        "--run-in",
        1,
        "--position",
        72,
        "--seed",
        3,
    )
    with (tmp_path / "plan.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [int(row["number"]) for row in rows] == list(range(1, len(rows) + 1))
    assert {float(row["station_pct"]) for row in rows} == {72.0}
    first = {(row["tyre"], row["ballast"]) for row in rows if row["block"] == rows[0]["block"]}
    last = {(row["tyre"], row["ballast"]) for row in rows if row["block"] == rows[-1]["block"]}
    assert first == last == {("soft", "front")}  # the baseline: each factor's first level
    seen: dict[tuple[str, str], list[dict[str, str]]] = {}
    for row in rows:
        seen.setdefault((row["tyre"], row["ballast"]), []).append(row)
    assert len(seen) == 6
    for setup, of in seen.items():
        recorded = [row for row in of if row["recorded"] == "yes"]
        blocks = len({row["block"] for row in of})
        assert len(recorded) == 4 * blocks, setup
        assert len(of) - len(recorded) == blocks
        assert [row["side"] for row in recorded].count("left") == 2 * blocks
        assert {row["test"] for row in of} == {""}


def test_what_is_slow_to_change_is_changed_as_rarely_as_it_can_be(tmp_path: Path) -> None:
    """Two tyres and three places of ballast: one change of the slow factor, or two, between the visits by lot."""
    given = ["--factor", "tyre=soft,hard", "--factor", "ballast=front,middle,rear", "--repeats", 2, "--run-in", 0]

    def changes(factor: str, seed: int, *slow: str) -> int:
        path = tmp_path / f"{factor}-{seed}-{'-'.join(slow)}.csv"
        run("change", "plan", path, *given, "--seed", seed, *(word for one in slow for word in ("--slow", one)))
        with path.open(newline="") as file:
            level = [row[factor] for row in csv.DictReader(file) if row["role"] == "test"]
        return sum(one != other for one, other in pairwise(level))

    for factor, fewest in (("tyre", 1), ("ballast", 2)):
        assert [changes(factor, seed, factor) for seed in range(3)] == [fewest] * 3
        assert max(changes(factor, seed) for seed in range(3)) > fewest  # the case can tell
    assert changes("tyre", 1, "tyre", "ballast") == 1  # the slowest comes first
    assert changes("ballast", 1, "ballast", "tyre") == 2


# changes: what they do, put back into the other mechanics


def test_changes_that_reach_a_pivot(tmp_path: Path) -> None:
    wanted = -20.0
    path = write(tmp_path, test={"grip.front": 0.9, "grip.rear": 0.8})
    got = found("aim", path, "--log", tmp_path / "log", "--pivot", wanted, "--ballast", 150, "--ballast-at", 240)
    by = {one["kind"]: one for one in got["changes"]}
    aim = 1 / ((0.5 - wanted / 100) * LENGTH)
    grip = [0.9, 0.9, 0.8, 0.8]
    assert by["push station"]["before"] == pytest.approx(0.208)
    assert slide(newtons(), grip, by["push station"]["after"])[0] == pytest.approx(aim, rel=2e-3)
    assert by["grip ratio"]["before"] == pytest.approx(0.9 / 0.8)
    root = np.sqrt(by["grip ratio"]["after"])
    assert slide(newtons(), [root, root, 1 / root, 1 / root], 0.208)[0] == pytest.approx(aim, rel=2e-3)
    assert by["ballast"]["before"] == pytest.approx(0.240)
    after = by["ballast"]["after"]
    moved = 0.150 * G * (after - 0.240) / LENGTH / 2  # to each front wheel, by levers
    load = newtons() + moved * np.array([1, 1, -1, -1])
    assert slide(load, grip, 0.208)[0] == pytest.approx(aim, rel=4e-3)
    assert after < 0.240  # weight goes back, and the pivot comes nearer
    # it may lie within the body: 90 mm behind the rear axle to 70 mm ahead of the front one
    assert by["ballast"]["effort"] == pytest.approx(abs(after - 0.240) / 0.420, rel=1e-3)
    assert by["ballast"]["reachable"] is bool(-0.09 <= after <= 0.33)
    words = run("aim", path, "--log", tmp_path / "log", "--pivot", wanted, "--ballast", 150, "--ballast-at", 240)
    assert words.startswith(f"1. {got['changes'][0]['sentence'].replace(' -', ' −')}")
    assert f"{1000 * after:.0f} mm".replace("-", "−") in words


def test_ballast_by_levers(tmp_path: Path) -> None:
    path = write(tmp_path)
    on = np.array(found("aim", "ballast", path, "--mass", 100, "--to", 195, 30)["change_g"])
    across = np.array([75, -75, 95, -95])
    assert on.sum() == pytest.approx(100)
    assert on[:2].sum() == pytest.approx(75)  # 195 of 260 mm
    assert on @ across == pytest.approx(3000)
    moved = np.array(found("aim", "ballast", path, "--mass", 100, "--from", 130, -40, "--to", 195, 30)["change_g"])
    assert moved.sum() == pytest.approx(0, abs=1e-9)
    assert moved[:2].sum() == pytest.approx(25)
    assert moved @ across == pytest.approx(7000)
    words = run("aim", "ballast", path, "--mass", 100, "--from", 130, -40, "--to", 195, 30)
    for name, grams in zip(("front left", "front right", "rear left", "rear right"), moved, strict=True):
        assert re.search(rf"{name}\s+{re.escape(f'{grams:+.1f}'.replace('-', '−'))} g", words)


@pytest.mark.parametrize(("target", "wheels", "want"), [("front", [0, 1], 54.0), ("left", [0, 2], 62.0)])
def test_where_ballast_must_go(tmp_path: Path, target: str, wheels: list[int], want: float) -> None:
    path = write(tmp_path)
    got = found("aim", "ballast", path, "--log", tmp_path / "log", "--mass", 200, f"--{target}", want)
    load = np.array(got["load_g"])
    assert load.sum() == pytest.approx(1740)
    assert 100 * load[wheels].sum() / 1740 == pytest.approx(want)
    x, y = np.array(got["place_m"]) * 1000
    before = np.array(WEIGHTS)
    # moments about the rear axle and the middle line, by hand
    assert load[:2].sum() * 260 == pytest.approx(before[:2].sum() * 260 + 200 * x)
    across = np.array([75, -75, 95, -95])
    assert load @ across == pytest.approx(before @ across + 200 * y)
    assert got["text"].startswith(
        f"200 g at {x:.0f} mm ahead of the rear axle and {abs(y):.0f} mm to the {'left' if y >= 0 else 'right'}"
    )


# rates at the bench


def rates(*arguments: object) -> dict[str, Any]:
    return found("moving", "rates", *arguments)


def test_springs_and_ratios_with_their_doubts() -> None:
    """Hooke: 0.6 kg shorten it by 4 mm; doubt of two loads and two lengths as squares, over the way between them."""
    got = rates("spring", "--at", 100, 40, "--at", 700, 36, "--load-u", 3, "--length-u", 0.1)
    rate = 0.6 * G / 4
    assert got["spring_n_per_mm"] == pytest.approx(rate)
    u = np.sqrt(2) * np.hypot(0.003 * G, rate * 0.1) / 4
    assert got["spring_n_per_mm_u"] == pytest.approx(u)
    words = run("moving", "rates", "spring", "--at", 100, 40, "--at", 700, 36, "--load-u", 3, "--length-u", 0.1)
    assert f"# ± {1.96 * u:.2g} N/mm (95 %)" in words
    assert f"spring_n_per_mm_u = {u:.2g}" in words
    got = rates("ratio", "--at", 0, 52, "--at", 12, 45, "--read-u", 0.1)
    assert got["motion_ratio"] == pytest.approx(7 / 12)
    assert got["motion_ratio_u"] == pytest.approx(np.sqrt(2) * 0.1 * np.hypot(1, 7 / 12) / 12)


def test_a_shim_under_the_front_of_unequal_axles() -> None:
    """Two torsion springs in series: moment gained times the front track, twist shim over the front track."""
    gained, track, shim, roll = 0.030 * G, 0.150, 0.0012, np.radians(0.11)
    moment = gained * track
    front, rear = moment / (shim / track - roll), moment / roll
    got = rates("shim", "--gained", 30, "--shim", 1.2, "--track", 150, 190, "--body-roll", 0.11)
    assert got["front"]["value"] == pytest.approx(front)
    assert got["rear"]["value"] == pytest.approx(rear)
    assert got["front_share"]["value"] == pytest.approx(front / (front + rear))
    blocked = rates("shim", "--gained", 30, "--shim", 1.2, "--track", 150, 190, "--blocked", 50)
    front = 0.050 * G * track**2 / shim
    rear = 1 / (1 / (gained * track**2 / shim) - 1 / front)
    assert blocked["front"]["value"] == pytest.approx(front)
    assert blocked["rear"]["value"] == pytest.approx(rear)
    # the load's doubt of 1 g moves the rear by its slope, the shim by its own 0.02 mm
    words = run("moving", "rates", "shim", "--gained", 30, "--shim", 1.2, "--track", 150, 190, "--blocked", 50)
    assert shown(words, "front", " N m/rad", value=front, u=blocked["front"]["u"])
    assert shown(words, "rear", " N m/rad", value=rear, u=blocked["rear"]["u"])
    share = blocked["front_share"]
    assert shown(words, "front share", " %", value=100 * share["value"], u=100 * share["u"])
    wide = rates("shim", "--gained", 30, "--shim", 1.2, "--track", 150, 190, "--blocked", 50, "--load-u", 2)
    e = 0.002 * G
    assert wide["front"]["u"] == pytest.approx(np.hypot(e * track**2 / shim, front * 0.02 / 1.2), rel=1e-3)


def test_a_bar_by_difference() -> None:
    """Roll stiffness of a bar: track² times its rate for each metre of left-right difference (by hand)."""
    got = rates("bar", "--with-bar", 14, 0.3, "--without", 9, 0.4, "--track", 150)
    assert got["bar_n_per_mm"] == pytest.approx(5 / 0.15**2 / 1000)
    assert got["bar_n_per_mm_u"] == pytest.approx(0.5 / 0.15**2 / 1000)


def test_a_bounce_is_told_with_95_per_cent(tmp_path: Path) -> None:
    """Closed form of a damped swing, 2.5 Hz and 0.15, heights in the first column; ± is 1.96 of the stated u."""
    time = np.arange(0, 1.5, 1 / 60)
    w, zeta = 2 * np.pi * 2.5, 0.15
    noise = 0.05 * np.random.default_rng(1).standard_normal(len(time))
    height = 6 * np.exp(-zeta * w * time) * np.cos(w * np.sqrt(1 - zeta**2) * time) + noise
    table = tmp_path / "bounce.csv"
    table.write_text("height_mm,time_s\n" + "\n".join(f"{h},{t}" for t, h in zip(time, height, strict=True)))
    got = found("moving", "rates", "bounce", table)
    assert got["frequency_hz"]["value"] == pytest.approx(2.5, rel=0.01)
    assert got["damping_ratio"]["value"] == pytest.approx(0.15, rel=0.05)
    words = run("moving", "rates", "bounce", table)
    for name in ("frequency_hz", "damping_ratio"):
        one = got[name]
        assert one["u"] > 0
        assert shown(words, name, " ", value=one["value"], u=one["u"])


def test_a_bounce_without_noise_is_not_told_as_certain(tmp_path: Path) -> None:
    """A made swing leaves a residual of rounding only: its ± is "under", never 0.000."""
    time = np.arange(0, 1.5, 1 / 60)
    height = 6 * np.exp(-0.15 * 2 * np.pi * 2.5 * time) * np.cos(2 * np.pi * 2.5 * np.sqrt(1 - 0.15**2) * time)
    table = tmp_path / "bounce.csv"
    table.write_text("height_mm,time_s\n" + "\n".join(f"{h},{t}" for t, h in zip(time, height, strict=True)))
    words = run("moving", "rates", "bounce", table)
    assert re.search(r"frequency_hz\s+2\.500 ± under 0\.001 ", words)
    assert "± 0.000" not in words
