"""The pushing finger as its marker shows it: station, side and direction of every push, beside what the card says."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import msgspec
import numpy as np

from analysis.finger.finger_contact import PushContact, push_contact
from analysis.measured.pushes import MeasuredPush
from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.cards.measures import MM, car_markers, finger_marker, wheelbase
from rig.cards.read import CardSet
from rig.lookups.track_file import KeptTrack
from rig.records.pushing import FingerRow
from vision.base.types import MARKER_PLATE_SCALE, ClipTrack, FingerMarker, FloorLayout
from vision.tracking.finger import CAUSES, FingerPath, FingerWatch, finger_path, tilt_words

OF_THE_CAR_ALONE = (
    "height of the markers",
    MARKER_PLATE_SCALE,
    "place of the plate along the car",
    "place of the plate across the car",
    "turn of the plate on the car",
)
"""Shared causes of the car's poses that do not move the finger as well: camera and floor sheets move both alike."""
DISAGREE = 2.0
"""Standard uncertainties of a difference beyond which card and marker are said to disagree."""
LEAST_SIDE_PX = 16.0
"""px of the shorter side: below this a marker is lost now and then (found on rendered pictures: at 13 px it is seen in
one picture of four, at 17 px in nearly all)."""


def worn_marker(cards: CardSet, floor: FloorLayout) -> FingerMarker | None:
    """The finger marker on the bench card, or None. Raises InputError when its number is taken already."""
    finger = finger_marker(cards.bench, cards.test, dictionary=floor.dictionary)
    plate = car_markers(cards.car, dictionary=floor.dictionary)
    taken = {(layout.dictionary, m.id) for layout in (floor, plate) for m in layout.markers}
    if finger is not None and (finger.dictionary, finger.id) in taken:
        raise InputError(
            f"marker {finger.id} is on the floor or on the car already",
            where=f"{cards.bench.name}, finger.id",
            remedy="Give the finger a marker with a number of its own",
        )
    return finger


def seen_path(watch: FingerWatch, finger: FingerMarker, track: ClipTrack) -> FingerPath:
    """The fingertip's places. track: as `track_clip` gave it, its times still those of the stream."""
    return finger_path(*watch.corners(), finger, track)


def contacts(pushes: Sequence[MeasuredPush], track: KeptTrack) -> tuple[PushContact | None, ...]:
    """How the finger made each push; None where it was not seen well enough, did not touch, or wore no marker."""
    finger, time = track.finger, track.time
    if finger is None:
        return (None,) * len(pushes)
    _, in_track, in_path = np.intersect1d(time, finger.time, return_indices=True)
    own = [row for row, name in enumerate(track.shared_names) if name in OF_THE_CAR_ALONE]
    found = []
    for push in pushes:
        during = (time[in_track] >= push.start_time) & (time[in_track] <= push.end_time)
        car, tip = in_track[during], in_path[during]
        causes = len(own) + len(finger.shared)
        pose_shared, own_shared = np.zeros((causes, len(car), 3)), np.zeros((causes, len(car), 2))
        pose_shared[: len(own)] = track.shared[own][:, car]
        own_shared[len(own) :] = finger.shared[:, tip]
        found.append(
            push_contact(
                track.pose[car],
                track.covariance[car],
                finger.tip[tip],
                finger.covariance[tip],
                pose_shared=pose_shared,
                tip_shared=own_shared,
            )
        )
    return tuple(found)


def finger_record(
    found: Sequence[PushContact | None], shared_names: Sequence[str], cards: CardSet
) -> tuple[FingerRow | None, ...]:
    """Each push as the finger made it, and what the card says of it."""
    names = [*(name for name in shared_names if name in OF_THE_CAR_ALONE), *CAUSES]
    return tuple(None if contact is None else _row(contact, names, cards) for contact in found)


def _row(contact: PushContact, names: Sequence[str], cards: CardSet) -> FingerRow:
    push, length = cards.test.push, wheelbase(cards.car)
    # The wheelbase's own uncertainty turns a place into a percentage of the card's wheelbase only; both have the same.
    station, u = 100 * contact.station / length, 100 * contact.station_u / length
    return FingerRow(
        station_pct=station,
        station_u_pct=u,
        card_pct=push.position_pct,
        card_u_pct=push.position_pct_u,
        sigmas=(station - push.position_pct) / float(np.hypot(max(u, 1e-9), push.position_pct_u)),
        side="right" if contact.side > 0 else "left",
        card_side=push.side,
        forecast_by=push.position_from,
        direction_deg=float(np.degrees(contact.direction)),
        direction_u_deg=float(np.degrees(contact.direction_u)),
        bend_deg=float(np.degrees(contact.bend)),
        bend_u_deg=float(np.degrees(contact.bend_u)),
        slip_mm=contact.slip / MM,
        path=contact.path,
        card_path=push.finger_path,
        card_direction_u_deg=push.direction_deg_u,
        way_mm=contact.way / MM,
        frames=contact.frames,
        parts_mm=dict(zip(names, (contact.parts / MM).tolist(), strict=True)),
    )


def station_words(row: FingerRow) -> str:
    """Where a push was made by marker and by card."""
    return (
        f"pushed at {row.station_pct:.1f} ± {NORMAL_95 * row.station_u_pct:.1f} % by the finger marker, "
        f"{row.card_pct:.1f} ± {NORMAL_95 * row.card_u_pct:.1f} % by the card; the forecast goes by the "
        f"{row.forecast_by}"
    )


def finger_notes(
    path: FingerPath, finger: FingerMarker, rows: Mapping[int, FingerRow | None], side_px: float
) -> list[str]:
    """What the marker showed, for people. rows: number of the push -> row."""
    if not len(path.time):
        return ["The finger marker was seen in no frame."]
    notes = [
        f"The finger marker was seen in {len(path.time)} frames, its shorter side {side_px:.0f} px.",
        tilt_words(path, finger),
    ]
    for number, row in rows.items():
        if row is None:
            notes.append(
                f"Push {number}: the finger marker was not seen well enough while the car moved, or did not go with "
                "it. Is it on the tool that pushed?"
            )
            continue
        bend = row.bend_deg
        turned = abs(bend) > max(3.0 * row.bend_u_deg, 3.0)
        notes.append(
            f"Push {number}: {station_words(row)}. Touched on the {row.side}, {row.direction_deg:+.1f} ± "
            f"{NORMAL_95 * row.direction_u_deg:.1f}° off square (anticlockwise); the tip "
            f"{f'turned by {bend:+.0f}°' if turned else 'went straight'} and slipped {abs(row.slip_mm):.1f} mm "
            f"{'forwards' if row.slip_mm >= 0 else 'backwards'} along the car."
        )
    return notes


def finger_warnings(rows: Mapping[int, FingerRow | None], side_px: float) -> list[str]:
    """Where marker and card disagree, and what to do. rows: number of the push -> row."""
    warnings = []
    if 0.0 < side_px < LEAST_SIDE_PX:
        warnings.append(
            f"The finger marker's shorter side is only {side_px:.0f} px: print a larger one, or film from nearer."
        )
    for number, row in rows.items():
        if row is None:
            continue
        if row.side != row.card_side:
            warnings.append(f"Push {number} touched the car on the {row.side}, the card says {row.card_side}.")
        elif abs(row.sigmas) > DISAGREE:
            remedy = (
                "The forecast goes by the marker, as the card asks."
                if row.forecast_by == "finger marker"
                else 'Correct the card, or let the forecast go by the marker with position_from = "finger marker".'
            )
            warnings.append(
                f"Push {number} was made at {row.station_pct:.1f} % by the finger marker, but the card says "
                f"{row.card_pct:.1f} %: {abs(row.sigmas):.1f} standard uncertainties apart. {remedy}"
            )
        off = float(np.hypot(row.direction_u_deg, row.card_direction_u_deg))
        if abs(row.direction_deg) > DISAGREE * off:
            warnings.append(
                f"Push {number} started {row.direction_deg:+.1f}° off square, more than the card's "
                "direction_deg_u allows: push square to the car, or state a larger doubt."
            )
        if row.path not in ("cannot tell", row.card_path):
            warnings.append(f'Push {number}: the finger\'s path was "{row.path}", the card says "{row.card_path}".')
    return warnings


def track_with_finger(
    track: ClipTrack, watch: FingerWatch, path: FingerPath, finger: FingerMarker, rows: Mapping[int, FingerRow | None]
) -> ClipTrack:
    """The track with the finger's words among its own. rows: number of the push -> row."""
    _, corner = watch.corners()
    edges = np.linalg.norm(np.diff(corner, axis=1), axis=-1)
    side = float(np.median(edges, axis=0).min()) if len(corner) else 0.0
    return replace(
        track,
        notes=(*track.notes, *filter(None, finger_notes(path, finger, rows, side))),
        warnings=(*track.warnings, *finger_warnings(rows, side)),
    )


def pushed_as_seen(cards: CardSet, row: FingerRow | None, number: int) -> CardSet:
    """The cards with the station and side that the finger marker showed, where the test card asks for them.

    row: of the push as `finger_record` wrote it, None when the marker was not seen.  number: of the push, from 1.
    Raises InputError when the card asks for the marker and the clip does not show it.
    """
    push = cards.test.push
    if push.position_from == "card":
        return cards
    if row is None:
        raise InputError(
            f"push {number} of the clip does not show where the finger pushed",
            where=f"{cards.test.name}, push.position_from",
            remedy="Film with the finger marker in view, on the tool that pushes (finger on the bench card), or set "
            'position_from = "card"',
        )
    return pushed_at(cards, row.station_pct, row.station_u_pct, row.side)


def pushed_at(cards: CardSet, station_pct: float, station_u_pct: float, side: str) -> CardSet:
    """The cards with another push position."""
    push = msgspec.structs.replace(cards.test.push, position_pct=station_pct, position_pct_u=station_u_pct, side=side)
    return replace(cards, test=msgspec.structs.replace(cards.test, push=push))
