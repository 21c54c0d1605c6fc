"""Every kind of record that there is."""

from types import MappingProxyType
from typing import Any

from rig.records import aside, balance, camera, classroom, force, grip, moving, pushing, series, weighing
from rig.records.record import Kind

RECORD_KINDS: MappingProxyType[str, Kind[Any, Any]] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            weighing.CALIBRATION,
            weighing.ZERO,
            weighing.WEIGHING,
            weighing.CG_HEIGHT,
            weighing.CROSS_WEIGHT,
            weighing.SHIM,
            weighing.LIVE_READING,
            camera.CAMERA_CALIBRATION,
            camera.FLOOR_LAYOUT,
            camera.PLATE_PLACE,
            camera.CAR_MARKERS,
            pushing.PUSH,
            pushing.PREDICTION,
            pushing.COMPARISON,
            force.FINGER_CELL,
            force.PUSH_FORCE,
            grip.GRIP,
            grip.GRIP_ALONG,
            grip.INFERENCE,
            series.SERIES,
            series.LADDER,
            moving.DRIVE,
            moving.TILTED_PADS,
            moving.LOAD_SENSITIVITY,
            classroom.FIRST_TRY,
            classroom.GUESS,
            aside.ASIDE,
            balance.BALANCE,
            balance.CHANGE,
        )
    }
)
"""Name -> kind."""
