"""Every push in a track, fresh or kept: its poses as the analysis takes them, and the pushes found in them."""

from dataclasses import dataclass, replace

from analysis.finger.finger_contact import PushContact
from analysis.measured.path_cause import CauseInMotion, with_cause_in_motion
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, measure_pivot
from analysis.measured.speeds import SPEEDS
from analysis.measured.wind_up import TURNS
from rig.cards.measures import MM, wheelbase
from rig.cards.read import CardSet
from rig.jobs.measuring.by_hand import on_the_floor
from rig.jobs.measuring.finger import contacts
from rig.jobs.measuring.setup_doubts import setup_doubt
from rig.jobs.measuring.springbacks import own_pushes
from rig.jobs.measuring.under_load import pivot_under_load
from rig.lookups.track_file import KeptTrack, SeenFinger, SeenFrom
from vision.base.types import ClipTrack
from vision.tracking.finger import FingerPath


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPushes:
    """Every push in a track. causes: what the shutter may do to each; empty where it was not estimated.

    contacts: how the finger made each; None without a marker on it.
    """

    pushes: tuple[MeasuredPush, ...]
    causes: tuple[CauseInMotion, ...]
    contacts: tuple[PushContact | None, ...] | None


def kept_track(track: ClipTrack, finger: FingerPath | None = None) -> KeptTrack:
    """What is kept of a track and of the finger's path."""
    return KeptTrack(
        time=track.time,
        pose=track.pose,
        covariance=track.covariance,
        repeating=track.repeating,
        shared=track.shared,
        shared_names=track.shared_names,
        shutter=None if track.shutter is None else track.shutter.standard,
        lift=track.lift if track.lift.any() else None,
        finger=None
        if finger is None
        else SeenFinger(time=finger.time, tip=finger.tip, covariance=finger.covariance, shared=finger.shared),
        seen_from=SeenFrom(
            time=track.view.time,
            rotation=track.view.rotation,
            place=track.view.place,
            picture_time=track.picture_time,
        ),
    )


def poses_of(track: ClipTrack | KeptTrack) -> PoseTrack:
    """The poses of a track, fresh or kept, as the analysis takes them."""
    return PoseTrack(time=track.time, pose=track.pose, covariance=track.covariance, repeating=track.repeating)


def pushes_in(track: KeptTrack, cards: CardSet, *, speeds: int = SPEEDS, turns: int = TURNS) -> FoundPushes:
    """Every push in a track, fresh or kept, with the uncertainties of the cards. A springback is none,
    nor is a car that was lifted and set down.

    speeds, turns: how they are found, as the push's record says.

    The shutter enters the uncertainty of paths and speeds only: it moves poses along the way that the car goes.
    """
    poses = poses_of(track)
    moved = measure_pivot(
        poses,
        wheelbase=wheelbase(cards.car),
        wheelbase_u=cards.car.geometry.wheelbase_mm_u * MM,
        shared=track.shared,
        speeds=speeds,
    )
    pushes = on_the_floor(own_pushes(moved, cards), track.time, track.lift)
    causes: tuple[CauseInMotion, ...] = ()
    if track.shutter is not None:
        pushes, causes = with_cause_in_motion(
            pushes, poses, track.shutter, wheelbase=wheelbase(cards.car), speeds=speeds
        )
    made = contacts(pushes, track)
    seen = (
        replace(push, finger_pct=None if one is None else 100.0 * one.station / wheelbase(cards.car))
        for push, one in zip(pushes, made, strict=True)
    )
    pushes = tuple(seen)
    if turns >= 2:
        pushes = tuple(pivot_under_load(push, poses, track.shared, cards) for push in pushes)
    pushes = tuple(replace(push, setup_doubt=setup_doubt(push, cards)) for push in pushes)
    return FoundPushes(pushes=pushes, causes=tuple(causes), contacts=None if track.finger is None else made)
