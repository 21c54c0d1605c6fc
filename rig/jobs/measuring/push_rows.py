"""A measured push, its track and its camera as records hold them, and the camera read back."""

import numpy as np

from analysis.measured.pushes import MeasuredPush
from rig.lookups.cards_and_pivots import estimate_record
from rig.records.camera import CameraRow
from rig.records.content import matrix, numbers, pair, triple
from rig.records.pushing import PushRow, TrackRow
from vision.base.types import Camera, ClipTrack


def push_record(push: MeasuredPush) -> PushRow:
    """A measured push as a record holds it."""
    return PushRow(
        number=push.number,
        pivot=estimate_record(push.estimate),
        turn_deg=float(np.degrees(push.turn)),
        turn_u_deg=float(np.degrees(push.turn_u)),
        travel_mm=push.travel * 1e3,
        travel_u_mm=push.travel_u * 1e3,
        start_s=push.start_time,
        end_s=push.end_time,
        start_pose=triple(push.start_pose),
        end_pose=triple(push.end_pose),
        peak_speed_mm_s=push.peak_speed * 1e3,
        peak_speed_u_mm_s=push.peak_speed_u * 1e3,
        rest_frames=push.rest_frames,
        outliers=push.outliers,
        place_m=None if push.pole is None else pair(push.pole),
        place_covariance_m2=None if push.pole_covariance is None else matrix(push.pole_covariance),
        wind_up=push.wind_up or None,
        pivot_from_s=push.pivot_from,
        warnings=push.warnings,
    )


def track_record(track: ClipTrack) -> TrackRow:
    """How well the clip could be followed."""
    return TrackRow(
        frames_read=track.frames_read,
        frames_left_out=track.frames_left_out,
        left_out=track.left_out,
        corner_noise_px=track.corner_noise,
        ink_shift_px=track.ink_shift,
        lean_deg=pair(np.degrees(np.abs(track.lean).max(axis=0))) if len(track.lean) else None,
        camera=camera_record(track.camera),
        notes=track.notes,
        warnings=track.warnings,
    )


def camera_record(camera: Camera) -> CameraRow:
    """A camera's numbers as a record holds them."""
    return CameraRow(
        matrix=matrix(camera.matrix),
        distortion=numbers(camera.distortion),
        size=camera.size,
        known=camera.known,
        u=numbers(camera.u),
    )


def camera_from(row: CameraRow) -> Camera:
    """The camera that `camera_record` wrote."""
    return Camera(
        matrix=np.array(row.matrix),
        distortion=np.array(row.distortion),
        size=row.size,
        known=row.known,
        u=np.array(row.u),
    )
