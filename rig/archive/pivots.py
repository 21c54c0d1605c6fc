"""Every measured pivot in one table, and the poses behind each clip in another: enough to compute it again by hand."""

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from analysis.base.errors import AnalysisError, InputError
from analysis.measured.pushes import LEAST_TRAVEL
from analysis.measured.rests import SlideFrames, segment
from rig.lookups.track_file import KeptTrack, read_track
from rig.records.pushing import PUSH, PushInputs, PushResult, PushRow
from rig.records.record import AnyRecord, Record

POSE_HEADS = {
    "time_s": "time of the picture in the clip, s",
    "x_m": "middle of the rear axle on the floor, m, floor axes",
    "y_m": "the same across, m",
    "yaw_rad": "heading of the car, rad, anticlockwise seen from above",
    "var_x_m2": "variance of x_m, m²",
    "cov_x_y_m2": "covariance of x_m and y_m, m²",
    "cov_x_yaw_m_rad": "covariance of x_m and yaw_rad, m rad",
    "var_y_m2": "variance of y_m, m²",
    "cov_y_yaw_m_rad": "covariance of y_m and yaw_rad, m rad",
    "var_yaw_rad2": "variance of yaw_rad, rad²",
    "rest": "the rests that this pose was averaged in: before 1, after 1 (of push 1), …; empty: in none",
}
"""Column -> what it is."""
PIVOT_HEADS = {
    "record_id": "the record in records.jsonl",
    "at_utc": "when it was measured, UTC",
    "title": "name of the test",
    "push": "number of the push in its clip",
    "finding": "pivot, or why none is named",
    "wheelbase_m": "wheelbase, m",
    "station_pct": "swing pivot, per cent of the wheelbase ahead of the rear axle; empty where none is named",
    "station_low_pct": "lower end of its 95 % interval, per cent",
    "station_high_pct": "upper end of its 95 % interval, per cent",
    "kappa_per_m": "turn per travel of the middle of the wheelbase, 1/m",
    "turn_deg": "turn, degrees",
    "travel_mm": "sideways travel of the middle of the wheelbase, mm, to the left positive",
    "start_s": "last picture of the rest before the push, s",
    "end_s": "first picture of the rest after it, s",
    "frames_before": "pictures averaged before",
    "frames_after": "pictures averaged after",
    **{f"start_{part}": "averaged pose before the push" for part in ("x_m", "y_m", "yaw_rad")},
    **{f"end_{part}": "averaged pose after the push" for part in ("x_m", "y_m", "yaw_rad")},
    "poses": "table of the poses; empty where they are gone or were averaged by another version",
    "clip_sha256": "SHA-256 of the clip's content",
    "set_aside": "why this push counts no more; empty where it counts",
}
Pushed = Record[PushInputs, PushResult]


def pushed_clips(records: Iterable[AnyRecord]) -> list[Pushed]:
    """The records of measured clips among these."""
    return [record for record in records if PUSH.holds(record)]


def poses_name(record: AnyRecord) -> str:
    """Where the poses behind a record lie in an export."""
    return f"poses/{record.id}.csv"


def read_poses(path: Path) -> KeptTrack | None:
    """The poses that were kept of a clip; None for a file of a version that kept less, or of none."""
    try:
        return read_track(path)
    except (OSError, ValueError, KeyError, EOFError, BadZipFile):
        return None


def pose_table(track: KeptTrack, pushes: Sequence[PushRow]) -> str | None:
    """The poses of a clip as CSV (RFC 4180), columns as in POSE_HEADS, every digit kept.

    None where these poses do not give the rests that the record names (it was measured by another version): a table
    that leads to another pivot would be worse than none.
    """
    rest: list[list[str]] = [[] for _ in track.time]
    slides = _slides(track, pushes[0].pivot.wheelbase_m) if pushes else ()
    for push in pushes:
        frames = _frames(track, push, slides)
        if frames is None:
            return None
        for name, among in (("before", frames.before), ("after", frames.after)):
            for index in among:
                rest[index].append(f"{name} {push.number}")
    rows = (
        [*map(float, (time, *pose, *covariance[np.triu_indices(3)])), "; ".join(named)]
        for time, pose, covariance, named in zip(track.time, track.pose, track.covariance, rest, strict=True)
    )
    return _csv(POSE_HEADS, rows)


def _slides(track: KeptTrack, wheelbase: float) -> tuple[SlideFrames, ...]:
    """The slides of a track and their rests, as this version finds them; wheelbase: m."""
    try:
        found = segment(
            track.time,
            track.pose,
            track.covariance,
            wheelbase=wheelbase,
            least_travel=LEAST_TRAVEL,
            repeating=track.repeating,
        )
    except (AnalysisError, InputError):
        return ()
    return found.slides


def _frames(track: KeptTrack, push: PushRow, slides: Iterable[SlideFrames]) -> SlideFrames | None:
    """The pictures that a push was measured from: those of the slide with the record's times and counts."""
    fits = (
        slide
        for slide in slides
        if (track.time[slide.start], track.time[slide.end]) == (push.start_s, push.end_s)
        and (len(slide.before), len(slide.after)) == push.rest_frames
    )
    return next(fits, None)


def pivot_table(clips: Iterable[Pushed], *, posed: set[str], clip_sums: dict[str, str], aside: dict[str, str]) -> str:
    """Every push of these clips as a row of a CSV, columns as in PIVOT_HEADS.

    posed: ids of the records whose poses are in the export.  clip_sums: id of a record -> SHA-256 of its clip.
    aside: id of a record that was set aside -> why.
    """
    rows = (
        [
            *(record.id, record.at, record.title, push.number, push.pivot.finding, push.pivot.wheelbase_m),
            push.pivot.station_pct,
            *(push.pivot.interval_pct or (None, None)),
            *(push.pivot.kappa_per_m, push.turn_deg, push.travel_mm, push.start_s, push.end_s, *push.rest_frames),
            *(*push.start_pose, *push.end_pose),
            poses_name(record) if record.id in posed else "",
            clip_sums.get(record.id, ""),
            aside.get(record.id, ""),
        ]
        for record in clips
        for push in record.result.pushes
    )
    return _csv(PIVOT_HEADS, rows)


def _csv(heads: Iterable[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows([f"'{one}" if _formula(one) else one for one in row] for row in rows)
    return text.getvalue()


def _formula(value: object) -> bool:
    return isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r"))
