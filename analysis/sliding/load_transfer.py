"""Loads during a push at some height: the roll moment P z, shared by the axles, until wheels lift."""

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.wheels import AXLES
from analysis.sliding.finger import LoadTransfer


def load_slope(rest: FloatArray, height: FloatArray, transfer: LoadTransfer) -> FloatArray:
    """(2, 4, B): change of the loads with the push force's x and y component while all wheels stand.

    rest: (4, B), loads at rest, N.  height: (B,), m.
    A push towards +y loads the left wheels, one towards +x the front wheels, each axle in its left-right ratio.
    """
    slope = np.zeros((2, *rest.shape))
    share = np.asarray(transfer.front_roll_share)
    slope[1, 0] = share * height / np.asarray(transfer.track_front)
    slope[1, 2] = (1.0 - share) * height / np.asarray(transfer.track_rear)
    slope[1, 1], slope[1, 3] = -slope[1, 0], -slope[1, 2]
    if transfer.wheelbase is not None:
        moving = height / np.asarray(transfer.wheelbase)
        for wheels, sign in ((slice(0, 2), 1.0), (slice(2, 4), -1.0)):
            total = rest[wheels].sum(axis=0)
            part = np.where(total > 0, rest[wheels] / np.where(total > 0, total, 1.0), 0.5)
            slope[0, wheels] = sign * part * moving
    return slope


def loads_lifting(
    push: FloatArray, rest: FloatArray, height: FloatArray, transfer: LoadTransfer
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Loads (4, B), their change with the push (2, 4, B), and whether the car tips (B,), with wheels that lift.

    push: (2, B), force on the car, N. A lifted wheel's axle takes no more roll moment and the other takes the rest;
    when both are exhausted the car tips and the loads stay where they were. Loads are never below zero.
    rest: (4, B) N.  height: (B,) m, of the push.
    """
    load, slope = rest.copy(), load_slope(rest, height, transfer)
    tips = np.zeros(rest.shape[1], dtype=bool)
    if transfer.wheelbase is not None:
        front, rear = rest[:2].sum(axis=0), rest[2:].sum(axis=0)
        wanted = push[0] * height / np.asarray(transfer.wheelbase)
        moved = np.clip(wanted, -front, rear)
        tips |= np.abs(moved - wanted) > 1e-12 * (front + rear)
        slope[0] = np.where(moved == wanted, slope[0], 0.0)
        for wheels, total, sign in ((slice(0, 2), front, 1.0), (slice(2, 4), rear, -1.0)):
            part = np.where(total > 0, rest[wheels] / np.where(total > 0, total, 1.0), 0.5)
            load[wheels] += sign * part * moved
    share = np.asarray(transfer.front_roll_share)
    tracks = (np.asarray(transfer.track_front), np.asarray(transfer.track_rear))
    moment = height * np.abs(push[1])
    to_left = push[1] > 0
    spare = [np.where(to_left, load[right], load[left]) for left, right in AXLES]
    first = [moment * share / tracks[0], moment * (1.0 - share) / tracks[1]]
    most = spare[0] * tracks[0] + spare[1] * tracks[1]
    tips |= moment > most + 1e-12 * rest.sum(axis=0) * np.maximum(*tracks)
    over = [np.maximum(first[k] - spare[k], 0.0) for k in (0, 1)]
    for k, (left, right) in enumerate(AXLES):
        handed = over[1 - k] * tracks[1 - k] / tracks[k]
        wanted = first[k] + handed
        moved = np.where(to_left, 1.0, -1.0) * np.minimum(wanted, spare[k])
        load[left] += moved
        load[right] -= moved
        rate = np.where(over[1 - k] > 0, height / tracks[k], slope[1, left])
        slope[1, left] = np.where(wanted > spare[k], 0.0, rate)
        slope[1, right] = -slope[1, left]
    return np.maximum(load, 0.0), slope, tips
