"""Grip and series as use cases: pushes on record whose pivots come from the closed form of a blocked car."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from rig.base.errors import InputError
from rig.cards.read import CardSet, read_set
from rig.cards.template import card_text
from rig.jobs.grip.grip import PullTest, TiltTest, combined_grip, infer_grip, measure_pull, measure_sweep, measure_tilt
from rig.jobs.series.series import analyse_plan, changes_for, ladder_of, plan_table
from rig.jobs.weighing.weights import weigh_typed
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.main import main
from rig.report.other_records import WORDS, other_parts
from tests.whole_records import whole

LENGTH, HALF = 0.257, 0.0825


def blocked_pivot(station: float, front: float, rear: float) -> float:
    """Pivot station, m, of a left/right symmetric blocked car pushed by a slippery finger at `station`.

    F[(L-X)(L-s)+h2]/sqrt((L-X)2+h2) + R[X s+h2]/sqrt(X2+h2) = 0: minimum power of four Coulomb contacts, derived by
    hand (zero of the derivative along the rotation centre).
    """

    def balance(x: float) -> float:
        return front * ((LENGTH - x) * (LENGTH - station) + HALF**2) / np.hypot(LENGTH - x, HALF) + rear * (
            x * station + HALF**2
        ) / np.hypot(x, HALF)

    null = LENGTH * front / (front + rear)
    return float(brentq(balance, -50.0, null) if station > null else brentq(balance, null, 50.0))


class Workshop:
    """Cards and log of pushes whose measured pivots are the closed form's."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.log = folder, BenchLog(folder / "log")
        exact = {f"geometry.{key}_u": 0.2 for key in ("wheelbase_mm", "track_front_mm", "track_rear_mm")}
        (folder / "car.toml").write_text(card_text("car", exact | {"geometry.front_roll_share_u": 0.0}))
        (folder / "bench.toml").write_text(card_text("bench"))

    def push(self, name: str, pct: float, ratio: float, *, off: float = 0.0, **more: object) -> CardSet:
        """Put one measured push on record: front grip `ratio` times the rear's, equal loads."""
        keys = {
            "name": name,
            "push.position_pct": pct,
            "push.position_pct_u": 0.2,
            "push.height_mm": 0.0,
            "push.height_mm_u": 0.0,
            "push.direction_deg_u": 0.0,
            "push.finger_path": "stays on the car",
            "typed.weights_g": [400.0] * 4,
        } | {key.replace("__", "."): value for key, value in more.items()}
        path = self.folder / f"{name}.toml"
        path.write_text(card_text("test", keys))
        pivot = blocked_pivot(pct / 100 * LENGTH, ratio, 1.0)
        kappa = 1.0 / (LENGTH / 2 - pivot) + off
        u = 0.01
        cards = read_set(path)
        whole(
            self.log,
            "push",
            name,
            result={
                "pushes": [
                    {
                        "number": 1,
                        "turn_deg": 10.0,
                        "pivot": {
                            "kappa_per_m": kappa,
                            "kappa_u_per_m": u,
                            "kappa_interval_per_m": [kappa - 1.96 * u, kappa + 1.96 * u],
                            "wheelbase_m": LENGTH,
                            "count": 1,
                            "method": "closed form",
                            "finding": "pivot",
                            "warnings": [],
                        },
                    }
                ]
            },
            cards=keep_cards(self.log, cards),
        )
        return cards


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    """An empty workshop."""
    return Workshop(tmp_path)


def test_a_sweep_finds_the_balance_point_and_the_grip_ratio(workshop: Workshop) -> None:
    ratio = 1.15
    sets = [workshop.push(f"at-{pct}", pct, ratio) for pct in (40.0, 45.0, 50.0, 57.0, 62.0, 67.0)]
    sweep = measure_sweep(sets, workshop.log)
    # x_c = L F / (F + R): the null of any car, whatever the wheels do (statics)
    assert sweep.null.station == pytest.approx(LENGTH * ratio / (1 + ratio), abs=1.5e-3)
    assert sweep.null.interval[0] < LENGTH * ratio / (1 + ratio) < sweep.null.interval[1]
    combined = combined_grip(sets[0], workshop.log).estimate
    assert combined.ratio == pytest.approx(ratio, rel=0.03)
    assert combined.ratio_measured
    with pytest.raises(InputError, match="no sweep"):
        measure_sweep(sets[:1], workshop.log)


def test_backwards_from_pushes_to_the_grip_ratio(workshop: Workshop) -> None:
    for ratio in (0.9, 1.2):
        sets = [workshop.push(f"r{ratio}-{pct}", pct, ratio) for pct in (40.0, 85.0)]
        found = infer_grip(sets, workshop.log)
        low, high = found.inference.grip_ratio.interval
        assert low < ratio < high
        assert high / low < 1.2  # 1.12 before grip along (1.00 ± 0.05, not measured) could differ from grip across
        assert 0 <= found.next_push.station_pct <= 100
        assert WORDS["inference"](found.record).startswith(f"grip front to rear {ratio:.2f}"[:-1])


def test_tilt_and_pull_give_the_grip_of_an_inclined_plane(workshop: Workshop) -> None:
    cards = workshop.push("grip", 85.0, 1.0)
    weighing = weigh_typed(cards, workshop.log)
    # whole car on a slope: grip factor = tan(angle), elementary statics
    found, _ = measure_tilt(cards, workshop.log, weighing, TiltTest(part="car", angles_deg=(39.0, 40.0, 41.0)))
    assert found.value == pytest.approx(np.tan(np.radians(40.0)), rel=1e-3)
    assert found.state == "static"
    # horizontal pull: grip factor = force / weight
    found, record = measure_pull(cards, workshop.log, weighing, PullTest(part="car", forces=(12.0, 12.2)))
    assert found.value == pytest.approx(12.1 / (1.6 * 9.80665), rel=1e-3)
    assert found.state == "sliding"
    assert "(sliding) 0.771 ± " in WORDS["grip"](record)


def test_a_series_says_which_change_did_what(workshop: Workshop) -> None:
    text = plan_table({"tyre": ["hard", "soft"]}, station_pct=85.0, repeats=4, run_in=1, rounds=1, seed=3)
    rows = list(csv.DictReader(text.splitlines()))
    assert rows[0]["tyre"] == rows[-1]["tyre"] == "hard"  # the baseline comes first and again at the end
    rng = np.random.default_rng(0)
    for row in rows:
        if row["recorded"] == "yes":
            ratio = 1.3 if row["tyre"] == "soft" else 1.0
            cards = workshop.push(
                f"push-{row['number']}", 85.0, ratio, off=float(rng.normal(0, 0.03)), push__side=row["side"]
            )
            row["test"] = f"{cards.test.name}.toml"
    plan = workshop.folder / "series.csv"
    with plan.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    series = analyse_plan(plan, workshop.log)
    truth = [1 / (LENGTH / 2 - blocked_pivot(0.85 * LENGTH, ratio, 1.0)) for ratio in (1.0, 1.3)]
    (effect,) = series.result.effects
    assert (effect.reference, effect.level, effect.clear) == ("hard", "soft", True)
    assert effect.change < 0  # more front grip lowers kappa (common practice, no source)
    assert effect.interval[0] < truth[1] - truth[0] < effect.interval[1]
    assert effect.interval[1] - effect.interval[0] < 0.4
    told = other_parts([series.record])[-1]
    assert told.verdict == "Clear: tyre (hard → soft)."
    # radians per metre as degrees per centimetre: 180 / pi / 100
    assert told.tables[0].rows[0][2] == f"{effect.change * 1.8 / np.pi:+.2f}"
    assert told.figure is not None
    plan.write_text(plan.read_text().replace("station_pct", "place"))
    with pytest.raises(InputError, match="station_pct is missing"):
        analyse_plan(plan, workshop.log)


def test_the_grip_ladder_ranks_tyres(workshop: Workshop) -> None:
    sets = [
        workshop.push(name, 85.0, ratio, conditions__compound_front=name, conditions__surface=surface)
        for name, ratio, surface in (("hard", 0.85, "board"), ("medium", 1.0, "board"), ("soft", 1.3, "carpet"))
    ]
    ladder, record, remarks = ladder_of(sets, workshop.log)
    assert remarks == ()
    rows = other_parts([record])[0].tables[0].rows
    assert [row[0] for row in rows] == ["soft", "medium", "hard"]
    assert [row[1] for row in rows] == [f"{rung.grip:.3f}" for rung in ladder.rungs]
    assert [rung.name for rung in ladder.rungs] == ["soft", "medium", "hard"]
    assert any("carpet" in text for text in ladder.warnings)


def test_a_wanted_pivot_is_reached_by_the_change_that_is_told(workshop: Workshop) -> None:
    cards = workshop.push("reach", 85.0, 1.0)
    changes = changes_for(cards, weigh_typed(cards, workshop.log), -30.0)
    station = next(change for change in changes if change.kind == "push station").after
    assert 100 * blocked_pivot(station, 1.0, 1.0) / LENGTH == pytest.approx(-30.0, abs=0.3)
    ratio = next(change for change in changes if change.kind == "grip ratio").after
    assert 100 * blocked_pivot(0.85 * LENGTH, ratio, 1.0) / LENGTH == pytest.approx(-30.0, abs=0.3)


@pytest.mark.thorough
def test_the_commands_tell_the_same(workshop: Workshop, capfd: pytest.CaptureFixture[str]) -> None:
    for pct in (40.0, 46.0, 52.0, 58.0, 64.0, 85.0):
        workshop.push(f"at-{pct:g}", pct, 1.1)
    logs = ["--log", str(workshop.log.folder)]
    tests = [str(workshop.folder / f"at-{pct}.toml") for pct in (40, 46, 52, 58, 64, 85)]
    drawn = str(workshop.folder / "map")
    for arguments in (
        ["grip", "infer", *tests, "--json"],
        ["grip", "sweep", *tests[:5]],
        ["grip", tests[0]],
        ["grip", "pull", tests[0], "--force", "12"],
        ["grip", "tilt", tests[0], "--angle", "39"],
        ["aim", tests[5], "--pivot", "-30", "--out", drawn],
    ):
        with pytest.raises(SystemExit) as ended:
            main([*arguments, *logs])
        told = capfd.readouterr()
        assert not ended.value.code, told.err
        assert told.out
        if "infer" in arguments:
            assert json.loads(told.out)["interval"][0] < 1.1 < json.loads(told.out)["interval"][1]
    assert (workshop.folder / "map" / "at-85-map.png").stat().st_size > 10_000
    with pytest.raises(SystemExit) as ended:
        main(["change", "plan", str(workshop.folder / "p.csv"), "--factor", "tyre"])
    assert ended.value.code == 2
