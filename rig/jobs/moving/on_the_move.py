"""What springs, bars and heights are worth at a stated sideways acceleration, from the cards."""

from dataclasses import dataclass

import numpy as np

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.signs import two_digits
from analysis.moving.region import grip_limit
from analysis.moving.tyres import Tyres
from analysis.moving.worth import MovingWorth, moving_worth
from analysis.weighing.corner_weights import newtons_from_grams
from rig.base.errors import InputError
from rig.cards.read import CardSet
from rig.jobs.moving.by_tilted_pads import measured_car
from rig.jobs.moving.drawn_cars import OpenTo
from rig.jobs.moving.reach import cast_of
from rig.jobs.weighing.weights import Weighing
from rig.log.store import BenchLog

MOST_G = 3.0
"""No scale car on tyres corners harder."""
CAR_DRAWS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class OnTheMove:
    """acceleration_g: sideways, as asked.  worth: largest first.  sensitive: whether the card's tyres lose grip with
    load at all.  remarks: to be told first.
    """

    acceleration_g: float
    worth: tuple[MovingWorth, ...]
    sensitive: bool
    remarks: tuple[str, ...]


def worth_on_the_move(
    cards: CardSet, weighing: Weighing, log: BenchLog, acceleration_g: float, *, seed: int = 0
) -> OnTheMove:
    """What each change of springs, bars and height is worth. Writes nothing.

    Raises InputError for an acceleration that cannot be meant, or a car card without springs.
    """
    if not 0.0 < acceleration_g <= MOST_G:
        likely = acceleration_g / STANDARD_GRAVITY
        meant = (
            f"Did you mean {two_digits(likely)} g ({acceleration_g:g} m/s²)"
            if 0.0 < likely <= MOST_G
            else "Give 0.1 to 1"
        )
        raise InputError(f"{acceleration_g:g} g is no cornering of a car", where="--sideways", remedy=meant)
    where, grip = str(cards.folder / cards.test.car), cards.test.grip
    load = newtons_from_grams(weighing.weights.load_g)
    asked = OpenTo(ratio_u=grip.ratio_u, level_u=grip.level_u, own_loads=grip.measured)
    open_to, of_tilted_pads = measured_car(cards, log, load, asked)
    fall, _ = open_to.fall_with_load(cards.car)
    cast = cast_of(
        cards.car, load, grip=(grip.front, grip.rear), open_to=open_to, where=where, seed=seed, built=CAR_DRAWS
    )
    best, tyres, worn = cast.car.chassis, cast.tyres, cast.many_tyres
    every = Tyres(
        grip=np.concatenate([[tyres.grip], worn.grip]),
        sensitivity=np.concatenate([[tyres.sensitivity], worn.sensitivity]),
        nominal=np.concatenate([[tyres.nominal], worn.nominal]),
    )
    found = moving_worth([best, *cast.drawn.cars], every, acceleration_g * STANDARD_GRAVITY)
    limit = float(grip_limit(best, tyres, np.array([np.pi / 2]))[0][0]) / STANDARD_GRAVITY
    remarks = [*weighing.remarks, *of_tilted_pads]
    if acceleration_g > limit:
        remarks.append(
            f"These tyres hold about {two_digits(limit)} g sideways: at {acceleration_g:g} g the car slides already"
        )
    if not grip.measured:
        remarks.append("The grip on the test card was not measured")
    return OnTheMove(
        acceleration_g=acceleration_g,
        worth=found,
        sensitive=fall > 0.0,
        remarks=tuple(dict.fromkeys(remarks)),
    )
