"""The poses behind a measured clip, kept beside the log: a result can be computed again from them without the clip."""

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.base.arrays import FloatArray
from rig.base.files import write_bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFinger:
    """The fingertip on the floor in m frames: time (m,) s, tip (m, 2) m, covariance (m, 2, 2) m².

    shared: (k, m, 2) m, how far one standard uncertainty of each shared cause moves every tip.
    """

    time: FloatArray
    tip: FloatArray
    covariance: FloatArray
    shared: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFrom:
    """Where the camera stood: camera = rotation @ floor + place. time: (k,) s.  rotation: (k, 3, 3).  place: (k, 3) m.

    picture_time: (p,) s, of every picture of the clip.
    """

    time: FloatArray
    rotation: FloatArray
    place: FloatArray
    picture_time: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptTrack:
    """Timed poses of the car on the floor in n frames, as in `vision.base.types.ClipTrack`.

    time: (n,) s.  pose: (n, 3), m, m, rad.  covariance: (n, 3, 3), own to each frame; repeating: (n, 3, 3), alike in
        neighbouring frames.  shared: (k, n, 3), what one standard uncertainty of each shared cause does to each pose.
    shutter: (n, 3), what one standard uncertainty of the rolling shutter does to each pose; None when not estimated.
    lift: (n,) m, how high the car is held over the floor; None in files of earlier versions, and where it never is.
    finger: None without a marker on the finger.  seen_from: None in files of earlier versions.
    """

    time: FloatArray
    pose: FloatArray
    covariance: FloatArray
    repeating: FloatArray
    shared: FloatArray
    shared_names: tuple[str, ...]
    shutter: FloatArray | None = None
    lift: FloatArray | None = None
    finger: SeenFinger | None = None
    seen_from: SeenFrom | None = None


def write_track(folder: Path, track: KeptTrack) -> Path:
    """Keep a track in a file named by its content; returns its path. Raises BenchError when the place refuses."""
    columns: dict[str, Any] = {
        "time_s": track.time,
        "pose": track.pose,
        "covariance": track.covariance,
        "repeating": track.repeating,
        "shared": track.shared,
        "shared_names": np.array(track.shared_names, dtype=str),
    }
    if track.shutter is not None:
        columns["shutter"] = track.shutter
    if track.lift is not None:
        columns["lift_m"] = track.lift
    if track.finger is not None:
        columns |= {
            "finger_time_s": track.finger.time,
            "finger_tip": track.finger.tip,
            "finger_covariance": track.finger.covariance,
            "finger_shared": track.finger.shared,
        }
    if track.seen_from is not None:
        columns |= {
            "view_time_s": track.seen_from.time,
            "view_rotation": track.seen_from.rotation,
            "view_place_m": track.seen_from.place,
            "picture_time_s": track.seen_from.picture_time,
        }
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **columns)
    data = buffer.getvalue()
    path = folder / f"{hashlib.sha256(data).hexdigest()[:16]}.npz"
    write_bytes(path, data)
    return path


def read_track(path: Path) -> KeptTrack:
    """The track that `write_track` kept. Raises OSError, ValueError or KeyError when the file is not one."""
    with np.load(path, allow_pickle=False) as kept:
        columns = {name: kept[name] for name in kept.files}
    return KeptTrack(
        time=columns["time_s"],
        pose=columns["pose"],
        covariance=columns["covariance"],
        repeating=columns["repeating"],
        shared=columns["shared"],
        shared_names=tuple(str(name) for name in columns["shared_names"]),
        shutter=columns.get("shutter"),
        lift=columns.get("lift_m"),
        finger=SeenFinger(
            time=columns["finger_time_s"],
            tip=columns["finger_tip"],
            covariance=columns["finger_covariance"],
            shared=columns["finger_shared"],
        )
        if "finger_tip" in columns
        else None,
        seen_from=SeenFrom(
            time=columns["view_time_s"],
            rotation=columns["view_rotation"],
            place=columns["view_place_m"],
            picture_time=columns["picture_time_s"],
        )
        if "view_time_s" in columns
        else None,
    )
