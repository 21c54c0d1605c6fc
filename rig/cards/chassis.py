"""From the car card's springs, dampers and bars to the shapes that the mechanics of the moving car takes."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.phases import Phase
from analysis.springs.chassis import Chassis, Standing, Stops, Suspension, Unsprung, car_at_rest
from analysis.springs.dampers import BodyInertia, Dampers, box_inertia, dampers
from analysis.weighing.warp import SpringRates, WarpResponse, response_from_rates
from rig.base.errors import InputError
from rig.cards.keys.car import CarCard
from rig.cards.keys.car import Chassis as ChassisCard
from rig.cards.keys.phases import PhasesCard
from rig.cards.measures import GRAM, MM, contact_place

PER_MM = 1e3
BODY_HEIGHT_SHARE = 1.2
"""Height of the even block that stands for the body's inertia, per height of its centre: a first guess."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """One car for the mechanics: springs, dampers, inertia."""

    chassis: Chassis
    damper: Dampers
    inertia: BodyInertia


def springs_on(card: CarCard, *, where: str) -> ChassisCard:
    """The card's chassis section, or InputError that says how to write one."""
    if card.chassis is None:
        raise InputError(
            "this car card has no springs, dampers and bars",
            where=where,
            remedy="Write [chassis.front] and [chassis.rear] with spring_n_per_mm; every key stands on a card "
            "made with: pivotbench new DIR --all",
        )
    return card.chassis


def moving_car(
    card: CarCard, load: FloatArray, *, where: str, scale: dict[str, float] | None = None, height: float | None = None
) -> Moving:
    """The car of the card, standing with wheel loads `load` (4,), N.

    scale: factors on spring_front, spring_rear, ratio_front, ratio_rear (Monte Carlo).  height: m, instead of the
    card's. A stop is as stiff as the tyre when it is met; a droop limit ten times that.
    Raises InputError where the card has no chassis section or the numbers make no car.
    """
    section = springs_on(card, where=where)
    factor = {"spring_front": 1.0, "spring_rear": 1.0, "ratio_front": 1.0, "ratio_rear": 1.0} | (scale or {})
    front, rear = section.front, section.rear

    def four(name: str, unit: float) -> FloatArray:
        return np.repeat([getattr(front, name), getattr(rear, name)], 2) * unit

    springs = four("spring_n_per_mm", PER_MM) * np.repeat([factor["spring_front"], factor["spring_rear"]], 2)
    ratio = four("motion_ratio", 1.0) * np.repeat([factor["ratio_front"], factor["ratio_rear"]], 2)
    tyre = four("tyre_n_per_mm", PER_MM)
    chassis = car_at_rest(
        Standing(
            wheelbase=card.geometry.wheelbase_mm * MM,
            track=spring_track(card),
            load=load,
            height=card.geometry.cg_height_mm * MM if height is None else height,
        ),
        Suspension(
            spring=springs,
            motion_ratio=ratio,
            tyre=tyre,
            roll_centre=[front.roll_centre_mm * MM, rear.roll_centre_mm * MM],
            bar=[front.bar_n_per_mm * PER_MM, rear.bar_n_per_mm * PER_MM],
        ),
        Unsprung(mass=four("unsprung_g", GRAM) / 2, height=four("unsprung_height_mm", MM)),
        Stops(
            bump_gap=four("bump_travel_mm", MM), bump_rate=tyre, droop=four("droop_travel_mm", MM), droop_rate=10 * tyre
        ),
    )
    knee = [np.inf if one.knee_mm_per_s is None else one.knee_mm_per_s * MM for one in (front, rear)]
    geometry = card.geometry
    return Moving(
        chassis=chassis,
        damper=dampers(
            four("bump_ns_per_m", 1.0),
            four("rebound_ns_per_m", 1.0),
            knee=np.repeat(knee, 2),
            beyond=four("beyond_knee", 1.0),
        ),
        inertia=box_inertia(
            chassis,
            (geometry.wheelbase_mm + geometry.body_front_mm + geometry.body_rear_mm) * MM,
            geometry.body_width_mm * MM,
            BODY_HEIGHT_SHARE * geometry.cg_height_mm * MM,
        ),
    )


def phases_on(card: PhasesCard) -> tuple[Phase, ...]:
    """The card's phases in SI."""
    return tuple(
        Phase(
            name=one.name,
            ax=one.ax_g * STANDARD_GRAVITY,
            ay=one.ay_g * STANDARD_GRAVITY,
            steer=float(np.radians(one.steer_deg)),
            duration=one.duration_s,
            spent=float("nan") if one.driven_grip_spent is None else one.driven_grip_spent,
        )
        for one in card.phases
    )


def spring_rates(car: CarCard) -> SpringRates:
    """Springs, tyres and bars from the car card's [chassis]. Raises InputError when it has none."""
    chassis = car.chassis
    if chassis is None:
        raise InputError(
            "the car card has no [chassis] section",
            where=car.name,
            remedy="Give spring_n_per_mm and motion_ratio of both axles, or measure with: "
            "pivotbench pads level TEST.toml --shim MM",
        )
    ends = (chassis.front, chassis.front, chassis.rear, chassis.rear)
    return SpringRates(
        spring=np.array([end.spring_n_per_mm * PER_MM for end in ends]),
        motion_ratio=np.array([end.motion_ratio for end in ends]),
        tyre=np.array([end.tyre_n_per_mm * PER_MM for end in ends]),
        # on the card: force at each wheel per difference, which is what the rate matrix takes
        bar=np.array([chassis.front.bar_n_per_mm, chassis.rear.bar_n_per_mm]) * PER_MM,
        track=spring_track(car),
    )


def share_compliance(car: CarCard) -> FloatArray | None:
    """(4, 4) m/N from body to floor, by which the wheels share a mass; None without a [chassis]: equal all round."""
    return None if car.chassis is None else spring_rates(car).compliance


def warp_response(car: CarCard) -> WarpResponse:
    """How much load a raised pad or a turned collar moves on this car."""
    return response_from_rates(spring_rates(car))


def spring_track(car: CarCard) -> FloatArray:
    """(2,) m, contact tracks front and rear."""
    contact = contact_place(car)
    return np.array([contact[0, 1] - contact[1, 1], contact[2, 1] - contact[3, 1]])
