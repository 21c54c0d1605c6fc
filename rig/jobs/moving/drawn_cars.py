"""Cars as their cards leave them open: set-ups drawn from every uncertainty that stands on the cards."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.moving.as_measured import Correction, Readings, corrected, correction
from analysis.moving.tyres import Tyres, axle_capacity
from analysis.springs.chassis import Chassis
from analysis.statistics.monte_carlo import balanced_normals, square_root
from rig.cards.chassis import Moving, moving_car, springs_on
from rig.cards.keys.car import CarCard
from rig.cards.mechanics import mean_load_sensitivity

FEW_CARS, MOST_CARS = 60, 400
"""Cars that what is slow to compute is drawn with: draws balanced among so many know a ± to a tenth; and more than are
ever drawn."""
GRIP_RATIO_U = 0.05
"""Of front to rear grip, relative, until measured (as on the test card)."""
GRIP_LEVEL_U = 0.2
"""Of the common level of grip, relative, until measured (as on the test card)."""
DRAWN = (
    "drawn for the ±: weights, springs, motion ratios, height of the centre of gravity, load sensitivity, grip; taken "
    "as they stand on the card: bars, dampers, tyre rates, roll centres, stops"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredTransfer:
    """Load transfer as tilted pads showed it, with standard uncertainties. share, share_u: front axle's, of 1.

    height, height_u: m, effective transfer height sideways.  ay: m/s2, at which.  pitch, pitch_u: m, the same along, at
    ax, m/s2; None: not read.  number: of the record.  read_on: card and (4,) N at rest of the car as it was read, where
    bars or springs were changed since; None: it is the same.  lean: whether what the pads said of front against rear
    springs still holds.
    """

    share: float
    share_u: float
    height: float
    height_u: float
    ay: float
    number: int
    pitch: float | None = None
    pitch_u: float = 0.0
    ax: float = 0.0
    read_on: tuple[CarCard, FloatArray] | None = None
    lean: bool = True

    def applied(self, chassis: Chassis) -> tuple[Chassis, bool]:
        """The best known car set so, and whether it could be."""
        read = Readings(share=self.share, height=self.height, ay=self.ay, pitch=self.pitch, ax=self.ax)
        then = chassis if self.read_on is None else moving_car(*self.read_on, where="car as read").chassis
        found, fits = correction(then, read)
        return corrected(chassis, self._kept(found)), bool(np.all(fits))

    def drawn(self, many: Chassis, seed: int, then: Chassis | None = None) -> Chassis:
        """Cars (n,) set so, each by a draw of what the pads leave open. The first are the same whatever n is, and the
        draws of one record are the same for every set-up that goes by it.

        then: (n,) the same draws of the car as it was read, where it was changed since.
        """
        rng = np.random.default_rng([seed, 4, self.number])
        z = balanced_normals(rng, MOST_CARS, 3, block=FEW_CARS)[: many.shape[0]]
        read = Readings(
            share=np.clip(self.share + self.share_u * z[:, 0], 0.02, 0.98),
            height=np.maximum(self.height + self.height_u * z[:, 1], 0.1 * self.height),
            ay=self.ay,
            pitch=None if self.pitch is None else np.maximum(self.pitch + self.pitch_u * z[:, 2], 0.1 * self.pitch),
            ax=self.ax,
        )
        return corrected(many, self._kept(correction(many if then is None else then, read)[0]))

    def _kept(self, found: Correction) -> Correction:
        return found if self.lean else replace(found, leaned=np.zeros_like(found.leaned))


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenTo:
    """What the cards of a car leave open beside its springs.

    load_covariance: (4, 4) N², None: the wheel loads are taken as known.  ratio_u: of front to rear grip, relative.
    level_u: of the common level of grip, relative.  sensitivity, sensitivity_u: measured ones, instead of the card's.
    balance, balance_u: measured balance point at rest, of 1 of the wheelbase: whatever the weights and the load
    sensitivity of a draw are, its tyres are such that it balances there; ratio_u is not asked then.
    balance_by: what says so, in words.  transfer: as measured on tilted pads, instead of what the card's height and
    springs make of it.  own_loads: the grip factors are those under the wheels' own loads at rest, as they are where
    they were measured; otherwise under a quarter of the car's weight.  balance_shift: (4,) N more at rest when the
    balance was measured, on another set-up with these tyres; None: as now.
    """

    load_covariance: FloatArray | None = None
    ratio_u: float = GRIP_RATIO_U
    level_u: float = GRIP_LEVEL_U
    sensitivity: float | None = None
    sensitivity_u: float = 0.0
    balance: float | None = None
    balance_u: float = 0.0
    balance_by: str = "weights and grip"
    transfer: MeasuredTransfer | None = None
    own_loads: bool = False
    balance_shift: FloatArray | None = None

    def fall_with_load(self, car: CarCard) -> tuple[float, float]:
        """Load sensitivity and its standard uncertainty: the measured one, else that on the card."""
        if self.sensitivity is None:
            return mean_load_sensitivity(car)
        return self.sensitivity, self.sensitivity_u


NOTHING_ELSE = OpenTo()


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnCars:
    """cars: n set-ups.  whole: the same with dampers and inertia.  sensitivity: (n,) load sensitivity.  ratio: (n,)
    factor on the front grip, its inverse on the rear.  level: (n,) factor on both.  balance: (n,) of 1 of the
    wheelbase, where it was measured.  own_loads, balance_shift: as in `OpenTo`.
    """

    cars: tuple[Chassis, ...]
    whole: tuple[Moving, ...]
    sensitivity: FloatArray
    ratio: FloatArray
    level: FloatArray
    balance: FloatArray | None = None
    own_loads: bool = False
    balance_shift: FloatArray | None = None

    def tyres(self, best: Tyres) -> Tyres:
        """Tyres (n, 4) of the drawn cars around the best known ones (4,)."""
        count = len(self.cars)
        load = np.array([car.tyre_force for car in self.cars])
        worn = Tyres(
            grip=np.asarray(best.grip) * self.level[:, None],
            sensitivity=np.repeat(self.sensitivity[:, None], 4, axis=1),
            nominal=load if self.own_loads else np.broadcast_to(np.asarray(best.nominal), (count, 4)),
        )
        if self.balance is not None:
            return balanced_at(worn, load if self.balance_shift is None else load + self.balance_shift, self.balance)
        each = np.stack([self.ratio, self.ratio, 1 / self.ratio, 1 / self.ratio], -1)
        return replace(worn, grip=worn.grip * each)


def balanced_at(tyres: Tyres, load: FloatArray, share: FloatArray | float) -> Tyres:
    """Tyres whose front share of grip under `load` (..., 4) N is `share` (...), their level as it was.

    tyres: fields (4,) or (..., 4). What the front gains the rear loses, by the same factor.
    Source: centre of friction, x_c / L = F / (F + R).
    """
    axle = axle_capacity(tyres, load)
    wanted = np.asarray(share, dtype=float)
    factor = np.sqrt(wanted / (1 - wanted) * axle[..., 1] / axle[..., 0])
    each = np.stack([factor, factor, 1 / factor, 1 / factor], -1)
    return replace(tyres, grip=np.asarray(tyres.grip) * each)


def drawn_cars(
    card: CarCard,
    load: FloatArray,
    *,
    count: int,
    rng: np.random.Generator,
    open_to: OpenTo = NOTHING_ELSE,
    built: int | None = None,
) -> DrawnCars:
    """Cars as the card leaves open. Drawn: springs, motion ratios, height of the centre of gravity, load sensitivity,
    front to rear grip, and what `open_to` says.  load: (4,) N.  built: only the first so many of `count` draws become
    cars, the same as without it.  Source: Monte Carlo (JCGM 101:2008), normal inputs.
    """
    section = springs_on(card, where=card.name)
    fall, fall_u = open_to.fall_with_load(card)
    car = moving_car(card, load, where=card.name).chassis
    masses = np.asarray(car.unsprung_mass)
    mass = float(load.sum()) / STANDARD_GRAVITY
    least = float((masses * car.unsprung_height).sum()) / mass * 1.05 + 1e-3
    z, weighed, common = np.split(balanced_normals(rng, count, 12, block=FEW_CARS), [7, 11], axis=1)
    loads = np.repeat(np.asarray(load, dtype=float)[None], count, axis=0)
    if open_to.load_covariance is not None:
        loads = loads + weighed @ square_root(open_to.load_covariance).T
        # a wheel that carries less than itself is no car: such a draw stands just on it
        loads = np.maximum(loads, 1.02 * masses * STANDARD_GRAVITY + 1e-3)
    level = np.exp(open_to.level_u * common[:, 0])[:built]
    z, loads = z[:built], loads[:built]
    whole = []
    for row, carried in zip(z, loads, strict=True):
        scale = {}
        for i, (axle, name) in enumerate(((section.front, "front"), (section.rear, "rear"))):
            spring, motion = axle.spring_n_per_mm_u / axle.spring_n_per_mm, axle.motion_ratio_u / axle.motion_ratio
            scale[f"spring_{name}"] = max(1 + spring * row[i], 0.1)
            scale[f"ratio_{name}"] = max(1 + motion * row[2 + i], 0.1)
        height = max((card.geometry.cg_height_mm + card.geometry.cg_height_mm_u * row[4]) * 1e-3, least)
        whole.append(moving_car(card, carried, where=card.name, scale=scale, height=height))
    return DrawnCars(
        cars=tuple(one.chassis for one in whole),
        whole=tuple(whole),
        sensitivity=np.clip(fall + fall_u * z[:, 5], 0.0, 0.99),
        ratio=np.exp(open_to.ratio_u * z[:, 6] / 2),
        level=level,
        own_loads=open_to.own_loads,
        balance=None if open_to.balance is None else _balances(open_to.balance, open_to.balance_u, count)[:built],
        balance_shift=open_to.balance_shift,
    )


def _balances(measured: float, u: float, count: int) -> FloatArray:
    """(count,) of 1: draws of one measured balance point.

    One measurement has the same draws in every set-up that goes by it, so that it cancels between them; another one
    has others, since two measurements err each for itself.
    """
    rng = np.random.default_rng([round(1e9 * measured), round(1e9 * u)])
    z = balanced_normals(rng, count, 1, block=FEW_CARS)[:, 0]
    return np.asarray(np.clip(measured + u * z, 0.02, 0.98))
