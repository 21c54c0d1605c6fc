"""Loads during a push at some height: the roll moment P z, shared by the axles, until wheels lift."""

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.sliding.finger import LoadTransfer


def loads_during(
    push: FloatArray, rest: FloatArray, height: FloatArray, transfer: LoadTransfer
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Loads (4, B), their change with the push's x and y component (2, 4, B), and whether the car tips (B,).

    push: (2, B), force on the car, N.  rest: (4, B), loads at rest, N.  height: (B,), m.
    A push towards +y loads the left wheels, one towards +x the front wheels. Loads never fall below zero.
    """
    load, slope = rest.copy(), np.zeros((2, *rest.shape))
    tips = np.zeros(rest.shape[1], dtype=bool)
    if transfer.wheelbase is not None:
        base = np.asarray(transfer.wheelbase)
        wanted = push[0] * height / base
        front, rear = rest[:2].sum(axis=0), rest[2:].sum(axis=0)
        moved = np.clip(wanted, -front, rear)
        tips |= moved != wanted
        moving = np.where(moved == wanted, height / base, 0.0)
        for wheels, total, gain in ((slice(0, 2), front, 1.0), (slice(2, 4), rear, -1.0)):
            part = np.where(total > 0, rest[wheels] / np.where(total > 0, total, 1.0), 0.5)
            load[wheels] += gain * part * moved
            slope[0, wheels] = gain * part * moving
    arm, share = height * push[1], np.asarray(transfer.front_roll_share)
    tracks = np.asarray(transfer.track_front), np.asarray(transfer.track_rear)
    away = np.where(arm > 0, 1, 0)  # the side that loses load: right for a push towards the left
    spare = [np.where(away == 1, load[right], load[left]) for left, right in ((0, 1), (2, 3))]
    wanted_each = [np.abs(arm) * share / tracks[0], np.abs(arm) * (1.0 - share) / tracks[1]]
    over = [np.maximum(wanted_each[k] - spare[k], 0.0) for k in (0, 1)]
    extra = [over[1] * tracks[1] / tracks[0], over[0] * tracks[0] / tracks[1]]
    sign = np.where(arm < 0, -1.0, 1.0)
    for k, (left, right) in enumerate(((0, 1), (2, 3))):
        total = wanted_each[k] + extra[k]
        moved = np.minimum(total, spare[k])
        tips |= total > spare[k] * (1.0 + 1e-12) + 1e-300
        other = 1 - k
        rate = (share if k == 0 else 1.0 - share) * height / tracks[k]
        rate = np.where(over[other] > 0, height / tracks[k], rate)
        rate = np.where(total > spare[k], 0.0, rate)
        # the wheel that gains and the one that loses; the push's sign cancels in the slope
        load[left] += sign * moved
        load[right] -= sign * moved
        slope[1, left] += rate
        slope[1, right] -= rate
    return np.maximum(load, 0.0), slope, tips
