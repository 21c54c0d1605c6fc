"""What springs, bars and heights are worth at a stated sideways acceleration, from the cards."""

from dataclasses import dataclass

import numpy as np

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.region import grip_limit
from analysis.moving.tyres import Tyres, tyres_like
from analysis.moving.worth import MovingWorth, moving_worth
from analysis.weighing.corner_weights import newtons_from_grams
from rig.base.errors import InputError
from rig.cards.chassis import moving_car
from rig.cards.mechanics import mean_load_sensitivity
from rig.cards.read import CardSet
from rig.jobs.moving.drawn_cars import drawn_cars
from rig.jobs.weighing.weights import Weighing

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


def worth_on_the_move(cards: CardSet, weighing: Weighing, acceleration_g: float, *, seed: int = 0) -> OnTheMove:
    """What each change of springs, bars and height is worth. Writes nothing.

    Raises InputError for an acceleration that cannot be meant, or a car card without springs.
    """
    if not 0.0 < acceleration_g <= MOST_G:
        likely = acceleration_g / STANDARD_GRAVITY
        meant = f"Did you mean {likely:.2g} g ({acceleration_g:g} m/s²)" if 0.0 < likely <= MOST_G else "Give 0.1 to 1"
        raise InputError(f"{acceleration_g:g} g is no cornering of a car", where="--sideways", remedy=meant)
    where, grip = str(cards.folder / cards.test.car), cards.test.grip
    load = newtons_from_grams(weighing.weights.load_g)
    fall, _ = mean_load_sensitivity(cards.car)
    best = moving_car(cards.car, load, where=where).chassis
    tyres = tyres_like(best, front=grip.front, rear=grip.rear, sensitivity=min(fall, 0.99))
    drawn = drawn_cars(cards.car, load, where=where, count=CAR_DRAWS, rng=np.random.default_rng(seed))
    ratio = np.concatenate([[1.0], drawn.ratio])[:, None]
    every = Tyres(
        grip=tyres.grip * np.concatenate([ratio, ratio, 1 / ratio, 1 / ratio], axis=1),
        sensitivity=np.repeat(np.concatenate([tyres.sensitivity[:1], drawn.sensitivity])[:, None], 4, axis=1),
        nominal=np.repeat(np.asarray(tyres.nominal)[None], CAR_DRAWS + 1, axis=0),
    )
    found = moving_worth([best, *drawn.cars], every, acceleration_g * STANDARD_GRAVITY)
    limit = float(grip_limit(best, tyres, np.array([np.pi / 2]))[0][0]) / STANDARD_GRAVITY
    remarks = list(weighing.remarks)
    if acceleration_g > limit:
        remarks.append(f"These tyres hold about {limit:.2g} g sideways: at {acceleration_g:g} g the car slides already")
    if not grip.measured:
        remarks.append("The grip on the test card was not measured")
    return OnTheMove(
        acceleration_g=acceleration_g,
        worth=found,
        sensitive=fall > 0.0,
        remarks=tuple(dict.fromkeys(remarks)),
    )
