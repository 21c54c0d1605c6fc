"""What pushes on record bring along: where the finger marker saw the finger, and the conditions of each test."""

from pathlib import Path

import numpy as np
import pytest

from .cards_typed import found, push_row, run, slide, take_in, write

LENGTH = 0.26


def finger(pct: float, u: float, side: str) -> dict[str, object]:
    """What a finger marker showed of one push."""
    return {"station_pct": pct, "station_u_pct": u, "side": side}


def test_a_sweep_goes_by_the_finger_marker_where_the_card_asks_for_it(tmp_path: Path) -> None:
    """The cards say 50 % each time; the marker saw five places: kappa = 20 per m² times (station - 146 mm)."""
    stations = np.array([0.35, 0.45, 0.55, 0.62, 0.80])
    rows, paths = [], []
    for n, share in enumerate(stations):
        name = f"s{n}"
        paths.append(
            write(
                tmp_path,
                file=name,
                test={"push.position_pct": 50.0, "push.position_pct_u": 9.0, "push.position_from": "finger marker"},
            )
        )
        row = push_row(name, 20 * (share * LENGTH - 0.146), 0.02)
        row["result"]["finger"] = [finger(100 * share, 0.4, "left")]
        rows.append(row)
    take_in(tmp_path / "in", tmp_path / "log", rows, paths)
    got = found("grip", "sweep", *paths, "--log", tmp_path / "log")
    assert got["null_m"] == pytest.approx(0.146, abs=1e-6)
    x = stations * LENGTH
    u = (
        np.hypot(0.02, 20 * 0.004 * LENGTH)
        / 20
        * np.sqrt(1 / 5 + (0.146 - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum())
    )
    low, high = got["null_interval_m"]
    assert (high - low) / 2 == pytest.approx(1.96 * u, rel=0.02)


@pytest.mark.parametrize("side", ["left", "right"])
def test_inference_pushes_from_the_side_that_the_marker_showed(tmp_path: Path, side: str) -> None:
    """30 mm above the floor the side decides which wheels gain load: kappa of the other mechanics, grip ratio 1.15."""
    root = np.sqrt(1.15)
    grip = 0.8 * np.array([root, root, 1 / root, 1 / root])
    kappa = slide(
        np.array([560, 310, 420, 250]) * 9.80665e-3,
        list(grip),
        0.85 * LENGTH,
        height=0.03,
        side=1 if side == "right" else -1,
    )[0]
    other = "right" if side == "left" else "left"
    path = write(
        tmp_path,
        test={
            "push.position_pct": 60.0,
            "push.side": other,
            "push.height_mm": 30.0,
            "push.position_from": "finger marker",
        },
    )
    row = push_row("test", kappa, 0.01)
    row["result"]["finger"] = [finger(85.0, 0.1, side)]
    take_in(tmp_path / "in", tmp_path / "log", [row], [path])
    assert found("grip", "infer", path, "--log", tmp_path / "log")["grip_ratio"] == pytest.approx(1.15, rel=0.015)


CONDITIONS = [
    ("surface", "oak", "slate", 'surface differs: "oak" and "slate"'),
    ("dust", "none", "some", 'dust differs: "none" and "some"'),
    ("cleaning", "water", "spirit", 'cleaning differs: "water" and "spirit"'),
    ("treatment", "oil", "wax", 'treatment differs: "oil" and "wax"'),
    ("treatment_minutes", 3.0, 13.0, "time the treatment stood differs: 3 min and 13 min"),
    ("runs", 4, 14, "runs on the tyres differs: 4 and 14"),
    ("rest_minutes", 5.0, 25.0, "time since the last push differs: 5 min and 25 min"),
    ("floor_temperature_c", 17.0, 27.0, "floor temperature differs: 17 °C and 27 °C"),
    ("air_temperature_c", 19.0, 29.0, "air temperature differs: 19 °C and 29 °C"),
    ("humidity_pct", 30.0, 60.0, "humidity differs: 30 % and 60 %"),
]


def test_each_condition_that_differs_is_told_by_its_name(tmp_path: Path) -> None:
    """Ten conditions, each with its own figures; tyres front and rear in one compound."""
    rows, paths = [], []
    for n, share in enumerate((0.35, 0.55, 0.75)):
        keys = {f"conditions.{key}": second if n == 1 else first for key, first, second, _ in CONDITIONS}
        keys |= {"conditions.compound_front": "F1" if n == 1 else "F0", "conditions.compound_rear": "R0"}
        paths.append(write(tmp_path, file=f"s{n}", test=keys | {"push.position_pct": 100 * share}))
        rows.append(push_row(f"s{n}", 20 * (share * LENGTH - 0.146), 0.02))
    take_in(tmp_path / "in", tmp_path / "log", rows, paths)
    words = run("grip", "sweep", *paths, "--log", tmp_path / "log").splitlines()
    notes = [line for line in words if line.startswith("note: s0 / s1: ")]
    for _, _, _, said in CONDITIONS:
        assert f"note: s0 / s1: {said}" in notes
    assert 'note: s0 / s1: compound differs: "F0 / R0" and "F1 / R0"' in notes
    assert len(notes) == 11
    assert not [line for line in words if line.startswith("note: s0 / s2")]
