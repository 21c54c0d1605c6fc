"""Height of the centre of gravity by lifting an axle, and what ballast does to the corner weights."""

from dataclasses import dataclass, replace

import numpy as np
from msgspec import structs

from analysis.base.arrays import FloatArray
from analysis.statistics.estimate import total_covariance
from analysis.statistics.quantiles import NORMAL_95
from analysis.weighing.cg_height import AxleLift, CgHeight, HeightDoubts, LiftedCar, cg_height
from analysis.weighing.parts import BallastAdvice, Target, load_of_mass, move_ballast, place_ballast
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.chassis import share_compliance
from rig.cards.keys.kinds_of_key import UNMEASURED_RADIUS_MM_U
from rig.cards.measures import MM, contact_place, wheelbase
from rig.cards.read import CardSet
from rig.jobs.weighing.bench_figures import refuse_lifts
from rig.jobs.weighing.pads import Ask, OpenPads
from rig.jobs.weighing.scale import in_wheel_order, scale_of
from rig.jobs.weighing.weights import Weighing, written
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.pads.steps import Step
from rig.records.content import numbers
from rig.records.record import Record
from rig.records.weighing import CG_HEIGHT, HeightInputs, HeightResult, LiftRow


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleLifts:
    """Which axle is lifted how high. heights_mm: of the lifted wheels over the pads."""

    heights_mm: tuple[float, ...]
    axle: str = "rear"
    battery_in: bool = False
    suspension_blocked: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifted:
    """The height found, and its record."""

    found: CgHeight
    record: Record[HeightInputs, HeightResult]


def measure_height(
    cards: CardSet,
    pads: OpenPads,
    log: BenchLog,
    weighing: Weighing,
    asked: AxleLifts,
    *,
    ask: Ask,
    progress: Progress | None = None,
) -> Lifted:
    """Lift one axle to several heights, up and down, and weigh the axle that stays on its pads each time.

    weighing: of the level car, for the total and the level axle load.
    Raises InputError for fewer than two heights, BenchError when the pads fail.
    """
    axle, heights_mm = asked.axle, set(asked.heights_mm)
    if len(heights_mm) < 2:
        raise InputError(
            "two different heights are needed at least",
            where="heights",
            remedy="Give three or more with --height, for example 40, 60, 80 and 100 mm",
        )
    refuse_lifts(asked.heights_mm, cards.car.geometry.wheelbase_mm)
    scale = scale_of(cards.bench, log, pads=pads, calibration=cards.choices.calibration)
    front_down = axle == "rear"
    down = [0, 1] if front_down else [2, 3]
    upward = sorted(heights_mm)
    run = [*((height, True) for height in upward), *((height, False) for height in reversed(upward[:-1]))]
    lifts, raw, covariance = [], [], np.zeros((4, 4))
    for height, rising in run:
        ask(
            Step(
                text=f"Lift the {axle} axle: its wheels {height:g} mm above the pads, wheels free to roll",
                action="lift",
            )
        )
        placed = scale.place_once(pads, progress=progress)
        load = scale.wheels(placed.loads.load_g)[down].sum()
        covariance = total_covariance(in_wheel_order(placed.loads.parts, scale.order), 4)
        lifts.append(
            AxleLift(lifted="rear" if front_down else "front", height=height * MM, load_down=float(load), rising=rising)
        )
        raw.append(LiftRow(**structs.asdict(placed.raw), height_mm=height, rising=rising, load_down_g=float(load)))
    group = np.isin(np.arange(4), down).astype(float)
    axle_u = float(np.sqrt(group @ covariance @ group))
    g, weights = cards.car.geometry, weighing.weights
    found = cg_height(
        lifts,
        car=LiftedCar(
            total=weights.total_g.value,
            wheelbase=wheelbase(cards.car),
            radius_front=g.wheel_radius_mm * MM,
            radius_rear=g.wheel_radius_mm * MM,
        ),
        doubts=HeightDoubts(
            load=max(axle_u, 0.5),
            load_common=axle_u,
            total=weights.total_g.u,
            wheelbase=g.wheelbase_mm_u * MM,
            radius=0.0,
            radius_common=g.wheel_radius_mm_u * MM,
        ),
        level_front=float(weights.load_g[:2].sum()),
        suspension_blocked=asked.suspension_blocked,
        battery_in=asked.battery_in,
    )
    found = replace(found, warnings=(*_radius_not_measured(cards), *found.warnings))
    record = log.record(
        CG_HEIGHT,
        cards.car.name,
        inputs=HeightInputs(axle=axle, lifts=tuple(raw), battery_in=asked.battery_in),
        result=HeightResult(
            cg_height_mm=found.height.value * 1e3,
            cg_height_mm_u=found.height.u * 1e3,
            interval_mm=(found.height.interval[0] * 1e3, found.height.interval[1] * 1e3),
            cg_station_mm=found.station.value * 1e3,
            cg_station_mm_u=found.station.u * 1e3,
            residual_g=numbers(found.residual),
            warnings=tuple(filter(None, (found.off_line, *found.warnings))),
        ),
        cards=keep_cards(log, cards),
        parents=[written(weighing, cards, log).record.id, *scale.records],
        files=[log.add_file("raw readings", pads.raw_file)],
    )
    return Lifted(found=found, record=record)


def moved_ballast(
    cards: CardSet, mass_g: float, start_mm: tuple[float, float] | None, end_mm: tuple[float, float]
) -> FloatArray:
    """(4,) g, change of the corner weights when ballast moves (or comes on, without a start)."""
    contact, end, give = contact_place(cards.car), np.array(end_mm) * MM, share_compliance(cards.car)
    if start_mm is None:
        return load_of_mass(mass_g, end, contact, compliance=give)
    return move_ballast(mass_g, np.array(start_mm) * MM, end, contact, compliance=give)


def ballast_for(
    cards: CardSet,
    weighing: Weighing,
    mass_g: float,
    target: Target,
    wanted_pct: float,
    start_mm: tuple[float, float] | None,
) -> BallastAdvice:
    """Where ballast must go for a wanted share."""
    return place_ballast(
        weighing.weights.load_g,
        mass_g,
        contact_place(cards.car),
        target=target,
        wanted_pct=wanted_pct,
        start=None if start_mm is None else np.array(start_mm) * MM,
        compliance=share_compliance(cards.car),
    )


def _radius_not_measured(cards: CardSet) -> list[str]:
    """What is said where nobody measured the wheels, whose radius is a part of the height itself."""
    size = cards.car.geometry
    if size.wheel_radius_mm_u < UNMEASURED_RADIUS_MM_U:
        return []
    return [
        f"Nobody measured the wheels: a radius of {size.wheel_radius_mm:g} ± "
        f"{NORMAL_95 * size.wheel_radius_mm_u:.0f} mm is taken, and the height is as unsure. Write wheel_radius_mm, "
        "from the axle to the floor, on the car card"
    ]
