"""What is said and printed of results: figures by hand, every ± a 95 % half-width, every side the right one."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from .cards_typed import WEIGHTS, found, newtons, pivot, push_row, records, run, slide, take_in, write

LENGTH = 0.26
MINUS = "\u2212"  # the one sign of negative numbers that people read
NORMAL = 1.959963984540054
"""97.5 % point of the normal law (tables)."""
DEG_CM = 180 / np.pi / 100
"""Degrees over a centimetre for one radian over a metre."""
SCALE_U = 0.01 / np.sqrt(3)
"""The scale is off by up to 1 % of what it shows, either way: a rectangular distribution (JCGM 100:2008, 4.3.7)."""


def cells(page: str, first: str) -> list[str]:
    """The cells of a table's row in a report, by its first cell."""
    for row in re.findall(r"<tr>(.*?)</tr>", page, flags=re.S):
        told = re.findall(r"<td>(.*?)</td>", row, flags=re.S)
        if told and told[0] == first:
            return list(told)
    raise AssertionError(f"no row {first!r}")


# a pivot found with a ruler


@pytest.mark.parametrize(
    ("pct", "u", "push", "where", "axle"),
    [
        (-28.0, 1.5, 80.0, "73 mm behind the rear axle", "73 mm behind the rear axle, ±8 mm"),
        (12.0, 2.5, 95.0, "31 mm ahead of the rear axle", "31 mm ahead of the rear axle, ±13 mm"),
        (130.0, 1.0, 15.0, "338 mm ahead of the rear axle", "78 mm ahead of the front axle, ±5 mm"),
        (88.0, 2.0, 5.0, "229 mm ahead of the rear axle", "229 mm ahead of the rear axle, ±10 mm"),
    ],
)
def test_a_typed_pivot_in_figures_and_words(
    tmp_path: Path, pct: float, u: float, push: float, where: str, axle: str
) -> None:
    path = write(tmp_path, test={"typed.pivot_pct": pct, "typed.pivot_pct_u": u, "push.position_pct": push})
    got = found("push", path, "--log", tmp_path / "log")
    measured = got["measured"]
    arm = (50 - pct) / 100 * LENGTH  # m from pivot to the middle; kappa is one over it
    assert measured["kappa_per_m"] == pytest.approx(1 / arm)
    assert measured["kappa_u_per_m"] == pytest.approx(u / 100 * LENGTH / arm**2)
    # of the pivot, 95 % is 1.959964 standard uncertainties to either side; of kappa the ends follow
    assert measured["interval_pct"] == pytest.approx([pct - NORMAL * u, pct + NORMAL * u])
    ends = sorted(1 / (arm + side * NORMAL * u / 100 * LENGTH) for side in (-1, 1))
    assert measured["kappa_interval_per_m"] == pytest.approx(ends)
    words = run("push", path, "--log", tmp_path / "log")
    line = next(line for line in words.splitlines() if line.startswith("measured"))
    assert f"{pct:.1f} % ({pct - NORMAL * u:.1f} to {pct + NORMAL * u:.1f}), {where}".replace("-", MINUS) in line
    assert f"{1 / arm * DEG_CM:+.2f} ± {(ends[1] - ends[0]) / 2 * DEG_CM:.2f} °/cm".replace("-", MINUS) in line
    assert words.startswith(f"Swung about a point {axle}")
    forecast = slide(newtons(), [0.8] * 4, push / 100 * LENGTH)[0]
    assert got["difference_per_m"] == pytest.approx(1 / arm - forecast, abs=1e-4)
    assert got["difference_pct"] == pytest.approx(pct - 100 * (0.5 - 1 / (forecast * LENGTH)), abs=0.01)
    line = next(line for line in words.splitlines() if line.startswith("forecast"))
    assert f"{100 * (0.5 - 1 / (forecast * LENGTH)):.1f} %".replace("-", MINUS) in line
    assert float(line.split("axle")[-1].split(" ±")[0].replace(MINUS, "-")) == pytest.approx(
        forecast * DEG_CM, abs=6e-3
    )
    assert "balance point 56.5 % of the wheelbase" in words
    # the grip ratio that would reconcile both: put into the other mechanics, it gives what was measured
    if (ratio := got.get("reconciling_grip_ratio")) is not None:
        root = np.sqrt(ratio)
        assert slide(newtons(), [root, root, 1 / root, 1 / root], push / 100 * LENGTH)[0] == pytest.approx(
            1 / arm, rel=1e-3
        )


def test_a_ruler_that_cannot_tell_is_sent_back(tmp_path: Path) -> None:
    """Twice the doubt reaches the middle: 50 - 45 = 5 points, u = 2.6."""
    path = write(tmp_path, test={"typed.pivot_pct": 45.0, "typed.pivot_pct_u": 2.6})
    with pytest.raises(AssertionError, match="within its own doubt of the middle"):
        run("push", path, "--log", tmp_path / "log")
    path = write(tmp_path, test={"typed.pivot_pct": 45.0, "typed.pivot_pct_u": 2.4})
    run("push", path, "--log", tmp_path / "log")


@pytest.fixture(scope="module")
def reported(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, Any], str]:
    """A report on a typed pivot, the answer it belongs to, and the same from the log."""
    folder = tmp_path_factory.mktemp("reported")
    path = write(
        folder,
        bench={"pads.reseat_g": 5.0},
        test={
            "typed.pivot_pct": -28.0,
            "typed.pivot_pct_u": 1.5,
            "push.position_pct_u": 2.0,
            "grip.ratio_u": 0.01,
            "typed.weights_resolution_g": 30.0,
        },
    )
    got = found("push", path, "--log", folder / "log", "--out", folder / "out")
    run("log", "report", "--log", folder / "log", "--kind", "comparison", "--out", folder / "again.html")
    return (folder / "out" / "test.html").read_text(), got, (folder / "again.html").read_text()


def test_a_report_tells_the_same_figures(reported: tuple[str, dict[str, Any], str]) -> None:
    for page in (reported[0], reported[2]):
        got = reported[1]
        assert got["sentence"].replace("'", "&#x27;") in page
        for name in ("measured", "predicted"):
            one = got[name]
            row = cells(page, "measured" if name == "measured" else "forecast")
            (low, high), (k_low, k_high) = one["interval_pct"], one["kappa_interval_per_m"]
            mm = one["station_pct"] / 100 * 260
            assert row[
                1
            ] == f"{one['station_pct']:.1f} % ({low:.1f} to {high:.1f}), {-mm:.0f} mm behind the rear axle".replace(
                "-", MINUS
            )
            assert row[2] == f"{one['kappa_per_m'] * DEG_CM:+.2f} ± {(k_high - k_low) / 2 * DEG_CM:.2f} °/cm".replace(
                "-", MINUS
            )
        assert cells(page, "balance point")[1] == "56.5 %"


def test_corner_weights_in_a_report_stand_by_their_wheels(reported: tuple[str, dict[str, Any], str]) -> None:
    for name, grams in zip(("front left", "front right", "rear left", "rear right"), WEIGHTS, strict=True):
        half = 1.96 * np.sqrt(30**2 / 12 + (SCALE_U * grams) ** 2 + 25)
        assert cells(reported[0], name)[1:] == [f"{grams:.1f}", f"{half:.1f}", f"{100 * grams / 1540:.1f}"]


def test_the_budget_in_a_report_is_95_per_cent(reported: tuple[str, dict[str, Any], str]) -> None:
    """The push's place alone: slope by the other mechanics times 2 % of the wheelbase, times 1.96."""
    ends = [slide(newtons(), [0.8] * 4, 0.208 + d)[0] for d in (0.0052, -0.0052)]
    alone = abs(ends[0] - ends[1]) / 2
    row = cells(reported[0], "push position")
    assert float(row[2]) == pytest.approx(1.96 * alone * DEG_CM, rel=0.04)
    whole = reported[1]["predicted"]["kappa_u_per_m"]
    assert float(row[3].removesuffix(" %")) == pytest.approx(100 * (alone / whole) ** 2, abs=3)
    said, left = map(
        float,
        re.search(  # type: ignore[union-attr]
            r"forecast turn per travel is known to ± ([\d.]+) °/cm\..*?Without it ± ([\d.]+) would", reported[0]
        ).groups(),
    )
    assert said == pytest.approx(1.96 * whole * DEG_CM, rel=0.06)  # two digits
    assert left == pytest.approx(1.96 * np.sqrt(whole**2 - alone**2) * DEG_CM, rel=0.1)


# weighing in words


@pytest.mark.parametrize(("weights", "side"), [(WEIGHTS, "left"), ((310.0, 560.0, 250.0, 420.0), "right")])
def test_a_weighing_in_words(tmp_path: Path, weights: tuple[float, ...], side: str) -> None:
    path = write(
        tmp_path,
        bench={"pads.reseat_g": 3.0},
        car={"geometry.wheelbase_mm_u": 2.0},
        test={"typed.weights_g": weights, "typed.weights_resolution_g": 20.0, "typed.weights_scales": "one scale"},
    )
    words = run("weigh", path, "--log", tmp_path / "log")
    w = np.array(weights)
    total = w.sum()
    half = 1.96 * np.sqrt(400 / 12 + (SCALE_U * w) ** 2 + 9)
    for name, grams, doubt in zip(("front left", "front right", "rear left", "rear right"), w, half, strict=True):
        assert re.search(rf"{name}\s+{grams:.1f} g ±\s+{doubt:.1f}\s+{100 * grams / total:.1f} %", words)
    own = 400 / 12 + 9  # each wheel was on the one scale at a placing of its own
    assert re.search(rf"total\s+1540.0 g ±\s+{1.96 * np.sqrt(4 * own + (SCALE_U * total) ** 2):.1f}", words)
    front, left, cross = w[:2].sum() / total, w[[0, 2]].sum() / total, w[[1, 2]].sum() / total
    for name, share in (
        ("front", front),
        ("left", left),
        ("cross weight \\(front right \\+ rear left\\)", cross),
    ):  # the scale's error is all wheels' alike, so that no share has it
        doubt = 196 * np.sqrt(own * (2 * (1 - share) ** 2 + 2 * share**2)) / total
        assert re.search(rf"{name}\s+{100 * share:.2f} % ±\s+{doubt:.2f}", words)
    assert re.search(rf"other diagonal .front left . rear right.\s+{100 - 100 * cross:.2f} %", words)
    across = w @ [75, -75, 95, -95] / total
    assert f"{abs(across):.1f} ± " in words
    assert words.split("mm ahead of the rear axle, ")[1].split(" mm ")[1].startswith(f"{side} of the middle")
    along, doubt = map(float, re.search(r"gravity ([\d.]+) ± ([\d.]+) mm ahead", words).groups())  # type: ignore[union-attr]
    assert along == pytest.approx(260 * front, abs=0.06)
    # own doubts of the corners, and the wheelbase's 2 mm at the front contacts
    u = np.hypot(260 * np.sqrt(own * (2 * (1 - front) ** 2 + 2 * front**2)) / total, 2 * front)
    assert doubt == pytest.approx(1.96 * u, rel=0.35)
    table = run("log", "--log", tmp_path / "log")
    assert f"front {100 * front:.2f} ± " in table
    assert f"left {100 * left:.2f} ± " in table
    assert f"cross weight (front right with rear left) {100 * cross:.2f} ± " in table


# records of other kinds, brought in from elsewhere, one line each


LINES: list[tuple[str, dict[str, Any], list[str]]] = [
    (
        "grip",
        {
            "quantity": "front",
            "value": 0.8,
            "relative_u": 0.05,
            "method": "by hand",
            "state": "static",
            "front_weight": 0.5,
            "shared": {},
        },
        ["front (static) 0.800 ± 0.078, by hand"],
    ),
    ("inference", {"interval": [0.7, 1.3], "grip_ratio": 0.9}, ["grip front to rear 0.900 (0.700 to 1.300)"]),
    ("cg height", {"cg_height_mm": 41.0, "cg_height_mm_u": 2.5}, ["41.0 ± 4.9 mm high"]),
    ("shim", {"cross_g_per_mm": 33.25}, ["33.2 g for each mm"]),
    (
        "drive",
        {"speed_m_s": 2.0, "speed_u_m_s": 0.1, "radius_m": 1.5, "radius_u_m": 0.25, "pivot_pct": 140.0},
        ["2.00 ± 0.20 m/s on a radius of 1.5 ± 0.5 m; pivot at 140 %"],
    ),
    (
        "plate place",
        {"shift_mm": [1.5, -0.25], "place_mm_u": 0.5, "turn_deg": -0.75},
        ["+1.50 mm along and −0.25 mm across, each ± 0.98 mm; turned by −0.75°"],
    ),
    ("floor layout", {"markers": [{}, {}, {}], "place_u_mm": 0.5}, ["3 sheets, each within 0.98 mm"]),
    (
        "calibration",
        {"pads": [{"lightest_g": 100.0, "heaviest_g": 900.0}, {"lightest_g": 50.0, "heaviest_g": 800.0}]},
        ["2 pads from 50 to 900 g"],
    ),
    (
        "push",
        {"pushes": [{"number": 1, "turn_deg": 8.0, "pivot": pivot(-4.0, 0.1)}]},
        # 0.13 + 0.25 m is 146.2 %; ends by hand: 0.13 + 1 / 4.196 and 0.13 + 1 / 3.804
        ["146.2 % (141.7 to 151.1), 380 mm ahead of the rear axle"],
    ),
    (
        "prediction",
        {"pivot": pivot(6.25, 0.05)},
        # 0.13 - 0.16 m is -11.5 %; ends: 0.13 - 1 / 6.152 and 0.13 - 1 / 6.348
        ["−11.5 % (−12.5 to −10.6), 30 mm behind the rear axle"],
    ),
    (
        "push",
        {"pushes": [{"number": 1, "turn_deg": 0.1, "pivot": pivot(0.05, 0.05)}]},
        # the steep end 0.148 per metre lies 6.76 m away, 26 wheelbases
        ["straight: pivot farther than 26 wheelbases"],
    ),
    (
        "push",
        {"pushes": [{"number": 1, "turn_deg": 1.0, "pivot": pivot(-0.5, 0.4)}]},
        # the steep end is 1.284 per metre: 0.779 m, 3.0 wheelbases
        ["cannot tell: somewhere farther than 3.0 wheelbases"],
    ),
]


def test_every_kind_of_record_in_one_line(tmp_path: Path) -> None:
    rows = [{"kind": kind, "title": f"t{n}", "result": result} for n, (kind, result, _) in enumerate(LINES)]
    take_in(tmp_path / "in", tmp_path / "log", rows)
    table = {line.split()[0]: line for line in run("log", "--log", tmp_path / "log").splitlines()[2:]}
    for number, (_, _, wanted) in enumerate(LINES, start=1):
        for words in wanted:
            assert words in table[str(number)]
    run("log", "report", "--log", tmp_path / "log", "--out", tmp_path / "report.html", "--kind", "grip")
    assert cells((tmp_path / "report.html").read_text(), "1")[2:] == [
        "grip",
        "t0",
        "front (static) 0.800 ± 0.078, by hand",
    ]


SERIES = {
    "effects": [
        {
            "factor": "tyre",
            "level": "hard",
            "reference": "soft",
            "change_per_m": 0.5,
            "interval_per_m": [0.2, 0.8],
            "clear": True,
        },
        {
            "factor": "ballast",
            "level": "rear",
            "reference": "front",
            "change_per_m": -1.0,
            "interval_per_m": [-2.5, 0.5],
            "clear": False,
        },
    ],
    "push_u_per_m": 0.2,
    "block_u_per_m": 0.1,
    "pushes": 12,
    "drift": None,
    "warnings": [],
}
LADDER = {
    "sentence": "new grips most",
    "rungs": [
        {"name": "new", "grip": 1.2, "interval": [1.1, 1.31], "ranks": [1, 1]},
        {"name": "old", "grip": 0.9, "interval": [0.8, 1.02], "ranks": [2, 3]},
    ],
}


def test_a_series_and_a_ladder_in_a_report(tmp_path: Path) -> None:
    rows = [{"kind": "series", "title": "plan", "result": SERIES}, {"kind": "ladder", "title": "car", "result": LADDER}]
    take_in(tmp_path / "in", tmp_path / "log", rows)
    run("log", "report", "--log", tmp_path / "log", "--out", tmp_path / "report.html")
    page = (tmp_path / "report.html").read_text()
    # 0.5 per metre is 0.29 degrees per centimetre (180 / pi / 100)
    assert cells(page, "tyre")[1:] == ["soft → hard", "+0.29", "+0.11 to +0.46", "clear"]
    assert cells(page, "ballast")[1:] == ["front → rear", "−0.57", "−1.43 to +0.29", "cannot tell"]
    assert "scatters by 0.11 °/cm" in page
    assert "Clear: tyre (soft → hard)." in page
    assert cells(page, "new")[1:] == ["1.200", "1.100 to 1.310", "1"]
    assert cells(page, "old")[1:] == ["0.900", "0.800 to 1.020", "2 to 3"]


# a filmed push beside its forecast, told from the log


def filmed(folder: Path) -> tuple[Path, str]:
    """A log with a clip of two pushes and a comparison of the second; and the report on it."""
    path = write(folder, test={"push.position_pct_u": 0.2})
    run("push", "forecast", path, "--log", folder / "first")
    weighing, prediction = (records(folder / "first", kind)[0]["result"] for kind in ("weighing", "prediction"))
    second = {"number": 2, "turn_deg": 9.0, "pivot": pivot(-3.2, 0.2)}
    push = push_row("test", 4.9, 0.1)
    push["result"]["pushes"].append(second)
    rows = [
        {"kind": "weighing", "title": "Lopsided", "name": "w", "cards": "test", "result": weighing},
        push | {"name": "p", "on": ["w"]},
        {"kind": "prediction", "title": "test", "name": "f", "on": ["w"], "result": prediction},
        {
            "kind": "comparison",
            "title": "test",
            "on": ["w", "p", "f"],
            "inputs": {"push_number": 2},
            "result": {"verdict": "disagrees", "sentence": "It parts."},
        },
    ]
    take_in(folder / "in", folder / "log", rows, [path])
    run("log", "report", "--log", folder / "log", "--out", folder / "report.html")
    return path, (folder / "report.html").read_text()


def test_the_second_push_of_a_clip_is_told_with_its_own_figures(tmp_path: Path) -> None:
    _, page = filmed(tmp_path)
    row = cells(page, "measured")
    # 0.13 + 1 / 3.2 = 0.4425 m; ends at 3.592 and 2.808 per metre
    assert row[1] == "170.2 % (157.1 to 187.0), 442 mm ahead of the rear axle"
    assert row[2] == f"−1.83 ± {1.96 * 0.2 * DEG_CM:.2f} °/cm"
    assert cells(page, "forecast")[1].endswith("83 mm behind the rear axle")
    assert "It parts." in page


def test_an_overview_sets_each_test_on_its_line(tmp_path: Path) -> None:
    rows, paths = [], []
    for name, pct, kappa in (("a", 20.0, -4.0), ("b", 85.0, 6.25)):
        paths.append(write(tmp_path, test={"push.position_pct": pct}, file=name))
        rows.append(push_row(name, kappa, 0.05))
    take_in(tmp_path / "in", tmp_path / "log", rows, paths)
    run("log", "report", "--log", tmp_path / "log", "--out", tmp_path / "report.html")
    page = (tmp_path / "report.html").read_text()
    assert cells(page, "1")[3:6] == ["20 %", "146.2 % (143.9 to 148.6), 380 mm ahead of the rear axle", "no forecast"]
    assert cells(page, "2")[3:5] == ["85 %", "−11.5 % (−12.5 to −10.6), 30 mm behind the rear axle"]
    assert "2 experiments." in page


@pytest.mark.parametrize(
    ("push", "wheels", "will"),
    [
        (80.0, "blocked", ": pushed at 80 % the nose should lead"),
        (30.0, "blocked", ": pushed at 30 % the tail should lead"),
        (57.0, "blocked", ": pushed at 57 % it should go almost straight"),
        (80.0, "as on the car card", ""),  # rolling wheels swing it about an axle: no end is foretold
    ],
)
def test_a_forecast_says_which_end_will_lead(tmp_path: Path, push: float, wheels: str, will: str) -> None:
    """Grip alike all round: the balance point is the centre of gravity, 870 of 1540 g."""
    card = write(tmp_path, test={"push.position_pct": push, "push.wheels": wheels})
    lines = run("push", "forecast", card, "--log", tmp_path / "log").splitlines()
    assert lines[0] == f"balance point {100 * 870 / 1540:.1f} % ± 0.0{will}"
    assert "weights: as typed on this test card, 56.5 % in front" in lines
    (share,) = [line for line in lines if "of the variance" in line] or ["  corner weights 100 %"]
    assert share.split()[:4] == ["corner", "weights", "100", "%"]
