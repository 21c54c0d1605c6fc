"""What every use case writes into the log in the same way: cards by version, estimates as plain JSON."""

from typing import Any

from analysis.base.pivot import PivotEstimate
from rig.cards.read import CardSet
from rig.log.store import BenchLog


def keep_cards(log: BenchLog, cards: CardSet) -> tuple[str, ...]:
    """Store the three cards as they were read; returns their hashes (test, car, bench)."""
    names = {"test": cards.test.name, "car": cards.car.name, "bench": cards.bench.name}
    return tuple(log.add_card(kind, names[kind], cards.texts[kind]) for kind in ("test", "car", "bench"))


def estimate_record(estimate: PivotEstimate) -> dict[str, Any]:
    """A pivot as people exchange it: kappa with its interval, then the station, or how straight it slid."""
    row: dict[str, Any] = {
        "kappa_per_m": estimate.kappa,
        "kappa_u_per_m": estimate.kappa_u,
        "kappa_interval_per_m": list(estimate.interval),
        "finding": estimate.finding,
        "wheelbase_m": estimate.wheelbase,
        "count": estimate.count,
        "method": estimate.method,
        "warnings": list(estimate.warnings),
    }
    if estimate.station_pct is None or estimate.interval_pct is None:
        return row | {"bound_wheelbases": estimate.bound_wheelbases}
    return row | {"station_pct": estimate.station_pct, "interval_pct": list(estimate.interval_pct)}


def estimate_from(record: dict[str, Any]) -> PivotEstimate:
    """The estimate that `estimate_record` wrote."""
    low, high = record["kappa_interval_per_m"]
    return PivotEstimate(
        kappa=record["kappa_per_m"],
        kappa_u=record["kappa_u_per_m"],
        interval=(low, high),
        wheelbase=record["wheelbase_m"],
        count=record["count"],
        method=record["method"],
        warnings=tuple(record["warnings"]),
    )
