"""The turn and the pivot of a push between the poses under load that its clip shows."""

from dataclasses import replace

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.measured.loaded import LoadedTurn, loaded_turn
from analysis.measured.loaded_pivot import loaded_pivot
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush
from analysis.measured.stick_slip import jumps_seen
from analysis.measured.wind_up import TURNS
from rig.cards.measures import MM, wheelbase
from rig.cards.read import CardSet


def under_load(
    push: MeasuredPush, poses: PoseTrack, *, station: float, length: float, turns: int = TURNS
) -> LoadedTurn | None:
    """The turn between loaded poses, or None where too few pictures show the push.

    station: m, of the touched place.  length: m, wheelbase.  turns: see `TURNS`.
    """
    try:
        return loaded_turn(
            poses,
            start_time=push.start_time,
            end_time=push.end_time if push.sprung_until is None else push.sprung_until,
            wheelbase=length,
            station=station,
            turns=turns,
        )
    except InputError:
        return None


def pivot_under_load(push: MeasuredPush, poses: PoseTrack, shared: FloatArray, cards: CardSet) -> MeasuredPush:
    """The push with its pivot between poses under load, and a warning where the car went in jumps.

    It is touched where the finger's marker was seen, or by the card.
    """
    length = wheelbase(cards.car)
    pct = cards.test.push.position_pct if push.finger_pct is None else push.finger_pct
    station = pct / 100.0 * length
    end = push.end_time if push.sprung_until is None else push.sprung_until
    jumps = jumps_seen(poses, start_time=push.start_time, end_time=end, station=station)
    if jumps is not None:
        noted = (*push.warnings, jumps.sentence)
        push = replace(push, warnings=noted, estimate=replace(push.estimate, warnings=noted))
    return loaded_pivot(
        poses,
        push,
        under_load(push, poses, station=station, length=length),
        station=station,
        wheelbase_u=cards.car.geometry.wheelbase_mm_u * MM,
        shared=shared,
    )
