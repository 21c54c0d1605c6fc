"""What the judgement of a quick push starts from: inertia from the card or the outline, how far from the balance point.

Truth: an even box of mass m, l long and w wide has m (l² + w²) / 12 about its middle (elementary mechanics).
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import pytest

from analysis.quick.quickness import InertiaRatio, Recommendation
from rig.cards.keys.car import CarCard
from rig.cards.read import CardSet, parse_card
from rig.cards.template import card_text
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.pushing import quickness
from rig.log.store import BenchLog
from tests.rig.jobs.synthetic_pushes import CAR, cards, pushed_track, weighed


def with_car(**keys: Any) -> CardSet:
    """The cards with these keys on the car's."""
    text = card_text("car", CAR | {key.replace("__", "."): value for key, value in keys.items()})
    of = cards(push__position_pct=85.0)
    return replace(of, car=parse_card(text, CarCard, where="car.toml"), texts=of.texts | {"car": text})


def test_the_outline_is_as_long_as_the_body() -> None:
    outline = {"geometry__body_front_mm": 70.0, "geometry__body_rear_mm": 43.0, "geometry__body_width_mm": 190.0}
    found = quickness.yaw_inertia_of(with_car(**outline), 1.6)
    assert found.value == pytest.approx(1.6 * (0.370**2 + 0.190**2) / 12)
    assert found.u == pytest.approx(0.25 * found.value)


def test_what_stands_on_the_card_goes_before_the_outline() -> None:
    found = quickness.yaw_inertia_of(with_car(masses__yaw_inertia_kgm2=0.02, masses__yaw_inertia_kgm2_u=0.003), 1.6)
    assert (found.value, found.u) == (0.02, 0.003)


def test_how_far_it_was_pushed_is_counted_from_the_balance_point(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """257 mm of wheelbase, balance 128.5 mm ahead of the rear axle: a push at 85 % is 35 % further on."""
    asked: list[float | None] = []

    def heard(ratio: InertiaRatio, *, distance_pct: float | None = None) -> Recommendation:
        asked.append(distance_pct)
        return Recommendation(choice="quasi-static", reason="")

    monkeypatch.setattr(quickness, "recommend", heard)
    of, track = with_car(), pushed_track(0.09, 0.03)
    (push,) = pushes_in(track, of).pushes
    with BenchLog(tmp_path / "log") as log:
        found = quickness.judge_quickness(of, weighed(of, log), track, push, balance=0.1285)  # type: ignore[arg-type]
    assert found is not None
    assert asked == [pytest.approx(35.0)]


@pytest.mark.thorough
def test_the_mass_is_the_weight_over_gravity_at_the_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Grams weighed are kilograms wherever the bench stands; at the pole gravity is 9.8322 m/s² (WGS 84)."""
    masses: list[float] = []

    def heard(cards: CardSet, mass: float) -> Any:
        masses.append(mass)
        return yaw_inertia(cards, mass)

    yaw_inertia = quickness.yaw_inertia_of
    monkeypatch.setattr(quickness, "yaw_inertia_of", heard)
    of, track = with_car(), pushed_track(0.09, 0.03)
    place = msgspec.structs.replace(of.bench.place, latitude_deg=90.0)
    at_the_pole = replace(of, bench=msgspec.structs.replace(of.bench, place=place))
    (push,) = pushes_in(track, of).pushes
    with BenchLog(tmp_path / "log") as log:
        for where in (of, at_the_pole):
            known = weighed(where, log)
            quickness.judge_quickness(where, known, track, push, balance=0.1285)  # type: ignore[arg-type]
            assert masses[-1] == pytest.approx(1e-3 * float(known.weights.load_g.sum()), rel=1e-9)
            if where is at_the_pole:
                assert float(known.load.sum()) / masses[-1] == pytest.approx(9.832184938, rel=1e-8)
