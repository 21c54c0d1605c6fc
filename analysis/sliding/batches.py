"""Batches made flat, and parts of them."""

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.base.arrays import BoolArray
from analysis.sliding.contacts import GroundArrays
from analysis.sliding.finger import FingerArrays, LoadTransfer

Rows = slice | npt.NDArray[np.intp] | BoolArray


def flatten_ground(ground: GroundArrays) -> GroundArrays:
    """Leading axes made one: fields (B, n), places (B, n, 2)."""
    flat = (math.prod(ground.batch), ground.load.shape[-1])
    return replace(
        ground,
        place=ground.place.reshape(*flat, 2),
        load=ground.load.reshape(flat),
        grip=ground.grip.reshape(flat),
        drag=ground.drag.reshape(flat),
        bearing=ground.bearing.reshape(flat),
        fall=ground.fall.reshape(flat[0], 2),
        along=ground.along.reshape(flat),
        heading=ground.heading.reshape(flat),
        coupling=ground.coupling.reshape(flat),
        sensitivity=ground.sensitivity.reshape(flat),
        nominal_load=ground.nominal_load.reshape(flat),
    )


def pick_ground(ground: GroundArrays, rows: Rows) -> GroundArrays:
    """Some samples of a flat batch."""
    return replace(
        ground,
        place=ground.place[rows],
        load=ground.load[rows],
        grip=ground.grip[rows],
        drag=ground.drag[rows],
        bearing=ground.bearing[rows],
        fall=ground.fall[rows],
        along=ground.along[rows],
        heading=ground.heading[rows],
        coupling=ground.coupling[rows],
        sensitivity=ground.sensitivity[rows],
        nominal_load=ground.nominal_load[rows],
    )


def flatten_finger(touch: FingerArrays, batch: tuple[int, ...]) -> FingerArrays:
    """Broadcast to the batch, leading axes made one."""
    return replace(
        touch,
        place=np.broadcast_to(touch.place, (*batch, 2)).reshape(-1, 2),
        direction=np.broadcast_to(touch.direction, (*batch, 2)).reshape(-1, 2),
        motion=np.broadcast_to(touch.motion, (*batch, 2)).reshape(-1, 2),
        friction=np.broadcast_to(touch.friction, batch).reshape(-1),
        height=np.broadcast_to(touch.height, batch).reshape(-1),
    )


def pick_finger(touch: FingerArrays, rows: Rows) -> FingerArrays:
    """Some samples of a flat batch."""
    return replace(
        touch,
        place=touch.place[rows],
        direction=touch.direction[rows],
        motion=touch.motion[rows],
        friction=touch.friction[rows],
        height=touch.height[rows],
    )


def transfer_shape(transfer: LoadTransfer) -> tuple[int, ...]:
    """Shape of the leading axes."""
    base = () if transfer.wheelbase is None else np.shape(transfer.wheelbase)
    return np.broadcast_shapes(
        np.shape(transfer.track_front), np.shape(transfer.track_rear), np.shape(transfer.front_roll_share), base
    )


def flatten_transfer(transfer: LoadTransfer, batch: tuple[int, ...]) -> LoadTransfer:
    """Broadcast to the batch, leading axes made one."""
    return LoadTransfer(
        track_front=np.broadcast_to(transfer.track_front, batch).reshape(-1),
        track_rear=np.broadcast_to(transfer.track_rear, batch).reshape(-1),
        front_roll_share=np.broadcast_to(transfer.front_roll_share, batch).reshape(-1),
        wheelbase=None if transfer.wheelbase is None else np.broadcast_to(transfer.wheelbase, batch).reshape(-1),
    )


def pick_transfer(transfer: LoadTransfer, rows: Rows) -> LoadTransfer:
    """Some samples of a flat batch."""
    return LoadTransfer(
        track_front=np.asarray(transfer.track_front)[rows],
        track_rear=np.asarray(transfer.track_rear)[rows],
        front_roll_share=np.asarray(transfer.front_roll_share)[rows],
        wheelbase=None if transfer.wheelbase is None else np.asarray(transfer.wheelbase)[rows],
    )
