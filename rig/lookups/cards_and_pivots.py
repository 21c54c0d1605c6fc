"""What every use case writes into the log in the same way: cards by version, pivots as people exchange them."""

from dataclasses import replace

from analysis.base.pivot import PivotEstimate
from rig.cards.read import CardSet
from rig.log.store import BenchLog
from rig.records.pushing import PivotRow


def keep_cards(log: BenchLog, cards: CardSet) -> tuple[str, ...]:
    """Store the three cards as they were read; returns their hashes (test, car, bench)."""
    names = {"test": cards.test.name, "car": cards.car.name, "bench": cards.bench.name}
    return tuple(log.add_card(kind, names[kind], cards.texts[kind]) for kind in ("test", "car", "bench"))


def estimate_record(estimate: PivotEstimate) -> PivotRow:
    """A pivot as people exchange it: kappa with its interval, then the station, or how straight it slid."""
    named = estimate.station_pct is not None and estimate.interval_pct is not None
    return PivotRow(
        kappa_per_m=estimate.kappa,
        kappa_u_per_m=estimate.kappa_u,
        kappa_interval_per_m=estimate.interval,
        finding=estimate.finding,
        wheelbase_m=estimate.wheelbase,
        count=estimate.count,
        method=estimate.method,
        warnings=estimate.warnings,
        station_pct=estimate.station_pct if named else None,
        interval_pct=estimate.interval_pct if named else None,
        bound_wheelbases=None if named else estimate.bound_wheelbases,
    )


def estimate_from(row: PivotRow) -> PivotEstimate:
    """The estimate that `estimate_record` wrote."""
    estimate = PivotEstimate(
        kappa=row.kappa_per_m,
        kappa_u=row.kappa_u_per_m,
        interval=row.kappa_interval_per_m,
        wheelbase=row.wheelbase_m,
        count=row.count,
        method=row.method,
        warnings=row.warnings,
    )
    # a turn that was not told from zero must not become a pivot by being written down
    return estimate if estimate.finding == row.finding else replace(estimate, turned=False)
