"""The region that the balance can reach on the move, beside the balance at rest, as it is and as it is tried."""

import threading
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.wheel_names import WHEELS
from analysis.figures.car import body_outline
from analysis.moving.region import INSET
from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.cards.keys.car import CarCard
from rig.cards.measures import MM
from rig.cards.read import CardSet
from rig.jobs.moving.drawn_cars import DRAWN, FEW_CARS
from rig.jobs.moving.driven_car import DrivenCar, driven_cards, pushed_balance
from rig.jobs.moving.reach import (
    AS_IT_IS,
    Cast,
    Reached,
    RegionChange,
    Tried,
    cast_of,
    reached_by,
    region_change,
    tried_values,
)
from rig.jobs.series.aim import balance_by_pushes
from rig.log.store import LOG_FILE
from rig.page.bench.state import BenchState
from rig.report.moving import SHOWN_DRAWS
from rig.report.words.moving.as_json import region_json
from rig.report.words.moving.on_the_move import (
    FEW_DRAWN,
    NOT_SEEN_AT_REST,
    change_sentence,
    lift_line,
    moved_line,
    ranged,
    region_rows,
)

SEED = 0
"""As the command's own."""
AS_NOW, AS_TRIED = "the car as it is", "what is tried"
IN_THE_TERMINAL = "In the terminal pivotbench moving says the same of these cards, and the phases of a drift"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A car made ready once: what is asked of it again and again needs only its region. now: as it is."""

    key: Hashable
    cards: CardSet
    car: DrivenCar
    remarks: tuple[str, ...]
    cast: Cast
    now: Reached


@dataclass(frozen=True, slots=True, kw_only=True)
class Both:
    """A car as it is and as it is tried (None: nothing is). contacts: (4, 2) m.  change: tried less now."""

    card: CarCard
    contacts: FloatArray
    now: Reached
    tried: Reached | None
    change: RegionChange | None
    remarks: tuple[str, ...]


class RegionView:
    """Answers for a slider that moves. Any thread; one answer at a time."""

    def __init__(self, bench: BenchState) -> None:
        self._bench = bench
        self._lock = threading.Lock()
        self._known: Known | None = None

    def both(self, tried: Tried) -> Both:
        """The region as it is and, where anything is tried, as it would be. Raises InputError for what cannot be."""
        with self._lock:
            known = self._ready()
            other = None if tried == AS_IT_IS else reached_by(known.cast, tried)
        return Both(
            card=known.cards.car,
            contacts=known.cast.car.chassis.contact_place,
            now=known.now,
            tried=other,
            change=None if other is None else region_change(known.now, other, shared=True),
            remarks=known.remarks,
        )

    def ask(self, tried: Tried) -> Json:
        """The same for the page."""
        return regions_json(self.both(tried))

    def known(self) -> Known:
        """The car as it is asked about now. Raises InputError where it is not known enough."""
        with self._lock:
            return self._ready()

    def put_on_card(self, tried: Tried) -> str:
        """Write springs, bars and height onto the car card. Raises InputError where there is nothing to write."""
        with self._lock:
            known = self._ready()
            chassis = known.cast.car.chassis
            values = tried_values(
                known.cards.car, tried, mass=float(chassis.mass), sprung_mass=float(chassis.sprung_mass)
            )
        if not values:
            raise InputError(
                "springs, bars and height are as on the card",
                where="what is tried",
                remedy="Move a slider first; ballast goes onto the car, and the car onto the pads",
            )
        saved = self._bench.save_card("car", dict(values))
        left = " The ballast is not on it: put it on the car and weigh it." if tried.ballast_g else ""
        return f"{saved}{left}"

    def _ready(self) -> Known:
        bench = self._bench
        cards, weighing = bench.cards(), bench.need_weights()
        log_file = bench.folder / LOG_FILE
        stamps = [p.stat().st_mtime_ns if p.exists() else 0 for p in (log_file, log_file.with_name(f"{LOG_FILE}-wal"))]
        key = (str(cards.folder), cards.texts["car"], cards.texts["test"], weighing.record.id, *stamps)
        if self._known is not None and self._known.key == key:
            return self._known
        path = cards.folder / "test.toml"
        with bench.log() as log:
            pushed, balance_remarks = pushed_balance(cards, log, balance_by_pushes)
            car = driven_cards(cards, log, path=path, by_pushes=pushed)
        cast = cast_of(
            car.card,
            car.load,
            grip=car.grip,
            open_to=car.open_to,
            where="the car card (section Cards, car)",
            seed=SEED,
            built=FEW_CARS,
        )
        self._known = Known(
            key=key, cards=cards, car=car, remarks=(*balance_remarks, *car.remarks), cast=cast, now=reached_by(cast)
        )
        return self._known


def regions_json(found: Both) -> Json:
    """One region or two, in figures, in words and as what is drawn (car axes, mm)."""
    card, now, other, change = found.card, found.now, found.tried, found.change
    geometry = card.geometry
    springs = card.chassis
    body = (geometry.body_front_mm * MM, geometry.body_rear_mm * MM, geometry.body_width_mm * MM)
    news: Json = {
        "car": card.name,
        "wheelbase": now.wheelbase / MM,
        "outline": body_outline(now.wheelbase, body) / MM,
        "bars": [] if springs is None else [springs.front.bar_n_per_mm, springs.rear.bar_n_per_mm],
        "springs": [] if springs is None else [springs.front.spring_n_per_mm, springs.rear.spring_n_per_mm],
        "draws": FEW_CARS,
        "now": region_json(now) | {"rows": region_rows(now), "lifts": lift_line(now), "drawn": _drawn(now)},
        "tried": None,
        "remarks": list(found.remarks),
        "closing": [DRAWN, FEW_DRAWN, NOT_SEEN_AT_REST, IN_THE_TERMINAL],
    }
    if other is not None and change is not None:
        news["tried"] = region_json(other) | {
            "rows": region_rows(other),
            "lifts": lift_line(other),
            "drawn": _drawn(other),
            "change": change_sentence(AS_NOW, AS_TRIED, change),
            "moved": moved_line(change),
        }
    return news


def _drawn(found: Reached) -> Json:
    """What is drawn of a region, mm: its line, thin lines of draws, the bar at rest, its widths, wheels that lift."""
    region, reach = found.region, found.reach
    low, high = found.rest.pair()
    rear, front = region.station
    inset = INSET * (front - rear)
    lifts = region.lifted.any(-1)
    return {
        "loops": [_mm(loop) for loop in region.outline or (np.concatenate([region.edge, region.edge[:1]]),)],
        "draws": [_mm(edge) for edge in reach.many.edge[:SHOWN_DRAWS]],
        "rest": (region.rest / MM).round(2).tolist(),
        "rest_bar": [low / MM, high / MM],
        "rest_words": ranged(found.rest, unit="%", factor=100 / found.wheelbase),
        "widths": [
            {
                "at": at / MM,
                "half": width / MM / 2,
                "words": f"{ranged(reach.width, k, unit='mm', factor=1 / MM)} wide",
            }
            for k, (at, width) in enumerate(zip((rear + inset, front - inset), region.width, strict=True))
        ],
        "lifts": _mm(region.edge[lifts]) if lifts.any() else [],
        "lifting": [WHEELS[k] for k in range(4) if region.lifted[:, k].any()],
    }


def _mm(points: FloatArray) -> list[list[float]]:
    """Points (n, 2) in mm, those that are known; as finely as a screen shows."""
    good: list[list[float]] = (points[np.isfinite(points).all(-1)] / MM).round(2).tolist()
    return good
