"""The loads of the moving car from the tilted pads, up to the angles that were reached, and where its balance goes."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.statistics.estimate import Estimate
from analysis.tilted.transfer import NOSE_SIGN, SIDE_SIGN, AxleTransfer, LevelCar, PitchTransfer


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadMap:
    """Loads at accelerations that the board reached. car: at rest.  sideways, lengthways: measured, angles rising."""

    car: LevelCar
    sideways: tuple[AxleTransfer, ...]
    lengthways: tuple[PitchTransfer, ...]

    def loads(self, ax: float, ay: float) -> FloatArray:
        """(4,) N at ax ahead and ay to the left, m/s2: straight between the angles, both transfers added.

        Raises InputError beyond the angles that were read: what a stop or a lifting wheel does there nobody saw.
        """
        moved = np.zeros(4)
        ends = [found[-1].acceleration if found else 0.0 for found in (self.sideways, self.lengthways)]
        for asked, reached in zip((ay, ax), ends, strict=True):
            if not abs(asked) <= reached * (1 + 1e-9):
                raise InputError(
                    f"{abs(asked) / STANDARD_GRAVITY:.2f} g was not reached on the board",
                    where="load map",
                    remedy=f"Ask for at most {reached / STANDARD_GRAVITY:.2f} g, or tilt further where it is safe",
                )
        at = [0.0, *(one.acceleration for one in self.sideways)]
        square = [1.0 / np.cos(one.angle) for one in self.sideways]  # from the board's loads to the flat's
        front = np.interp(abs(ay), at, [0.0, *(one.front * c for one, c in zip(self.sideways, square, strict=True))])
        rear = np.interp(abs(ay), at, [0.0, *(one.rear * c for one, c in zip(self.sideways, square, strict=True))])
        moved += np.sign(ay) * SIDE_SIGN * np.array([front, front, rear, rear])
        if self.lengthways:
            at = [0.0, *(one.acceleration for one in self.lengthways)]
            to_rear = np.interp(abs(ax), at, [0.0, *(one.moved / np.cos(one.angle) for one in self.lengthways)])
            moved += np.sign(ax) * NOSE_SIGN * to_rear / 2
        return np.asarray(self.car.load + moved, dtype=float)


def balance_ends(front_share: Estimate, pitch_height: Estimate, wheelbase: float, grip: float) -> tuple[Estimate, ...]:
    """The rear and the front end of the region of balance points, of 1 of the wheelbase: driving and braking with all
    the grip there is.

    front_share: of grip, at rest.  pitch_height: m, as measured nose up.  wheelbase: m.  grip: mean factor.
    Tyres that lose grip with load move the ends by less than the pads tell. Source: moment balance; for tyres alike in
    grip the balance point is the centre of pressure.
    """
    shift = grip * pitch_height.value / wheelbase
    u = float(np.hypot(front_share.u, grip * pitch_height.u / wheelbase))
    return (
        Estimate(value=front_share.value - shift, u=u),
        Estimate(value=front_share.value + shift, u=u),
    )
