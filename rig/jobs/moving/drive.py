"""From the bench to the floor: a filmed drive read from the same sheets, beside what the model says of the set-up."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.moving.floor_drive import Drive, SteadyDrive, drive, steady, with_shared_causes
from analysis.moving.tyres import capacity, friction_centre, tyres_like
from analysis.springs.equilibrium import equilibrium
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.measures import car_markers, floor_layout, readout, wheelbase
from rig.cards.read import CardSet
from rig.jobs.measuring.clip_times import ClipTimes, clip_times, with_noted_times
from rig.jobs.measuring.found_pushes import kept_track
from rig.jobs.moving.by_tilted_pads import measured_car
from rig.jobs.moving.drawn_cars import NOTHING_ELSE, OpenTo
from rig.log.store import BenchLog
from rig.lookups.belongs import weighing_of
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.track_file import write_track
from rig.records.content import pair
from rig.records.moving import DRIVE, DriveInputs, DriveResult, ModelRow
from rig.records.record import Record
from vision.base.types import ClipCards

WINDOW = 0.15
"""s, over which poses are smoothed: a few frames, short against a drift."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """What the model says of this set-up at the drive's side acceleration.

    balance, balance_rest: m ahead of the rear axle.  roll: rad.  grip_used: share of what the tyres hold.
    rolls_over: it would; the other figures are then nan.
    """

    balance: float
    balance_rest: float
    roll: float
    grip_used: float
    rolls_over: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmedDrive:
    """A drive, its steady stretch, the model beside it (None without springs on the card or weights), its record."""

    drive: Drive
    steady: SteadyDrive
    model: Model | None
    wheelbase: float
    why_no_model: str
    record: Record[DriveInputs, DriveResult]


def measure_drive(
    clip: Path,
    cards: CardSet,
    log: BenchLog,
    *,
    since: float | None = None,
    until: float | None = None,
    progress: Progress | None = None,
) -> FilmedDrive:
    """Track a clip of a steady circle or a drift and tell radius, speed, slide angle, side acceleration and pivot.

    since, until: s of the clip, the stretch that is taken as steady; None: all of it but the first and last tenth.
    Raises the rooms' errors: a clip that cannot be used, no markers, a stretch in which the car does not turn.
    """
    from rig.jobs.measuring.lens_and_floor import stored_camera
    from vision.tracking.track import track_clip

    floor = floor_layout(cards.bench)
    markers = car_markers(cards.car, dictionary=floor.dictionary)
    times = clip_times(clip, cards.test)
    seen_by = ClipCards(
        floor=floor,
        car=markers,
        camera=stored_camera(cards, log),
        readout=readout(cards.bench),
        slower=times.slower,
    )
    track = with_noted_times(clip, track_clip(clip, seen_by, progress=progress))
    load, missing = _weights(cards, log)
    open_to, car_remarks = NOTHING_ELSE, tuple[str, ...]()
    if load is not None:
        open_to, car_remarks = measured_car(cards, log, load, open_to)
    driven, still, model, why = drive_beside_model(
        track.time, track.pose, cards, load, stretch=(since, until), open_to=open_to, shared=track.shared
    )
    still = replace(still, notes=(*still.notes, *time_notes(times), *(car_remarks if model is not None else ())))
    record = log.record(
        DRIVE,
        cards.test.name,
        inputs=DriveInputs(since_s=since, until_s=until, window_s=WINDOW),
        result=drive_record(still, model, wheelbase(cards.car)),
        cards=keep_cards(log, cards),
        files=[
            log.add_file("clip", clip),
            log.add_file("track", write_track(log.folder / "tracks", kept_track(track))),
        ],
    )
    return FilmedDrive(
        drive=driven,
        steady=still,
        model=model,
        wheelbase=wheelbase(cards.car),
        why_no_model=missing or why,
        record=record,
    )


def time_notes(times: ClipTimes) -> tuple[str, ...]:
    """What a drive's figures hang on where a clip may be slow motion, or was: a note, or none."""
    if times.known:
        return (times.note,) if times.note else ()
    return (
        (times.doubt or times.note.split(". ")[0]) + ". Speed goes with the rate at which the clip was taken, side "
        "acceleration with its square: if it was slow motion, write captured_frames_per_s on the test card.",
    )


def drive_beside_model(
    time: FloatArray,
    pose: FloatArray,
    cards: CardSet,
    load: FloatArray | None,
    *,
    stretch: tuple[float | None, float | None] = (None, None),
    open_to: OpenTo = NOTHING_ELSE,
    shared: FloatArray | None = None,
) -> tuple[Drive, SteadyDrive, Model | None, str]:
    """The drive of a pose track and the model beside it. time (m,) s, pose (m, 3), load (4,) N or None.

    stretch: s, from where to where it is taken as steady, None: all but the first or last tenth.
    open_to: what was measured of the car, instead of its card.  shared: (k, m, 3), what one standard uncertainty of
    each of k causes does to all poses.
    The point that is followed is the centre of gravity on the middle line, or mid-wheelbase without weights.
    Returns drive, steady stretch, model or None, and why there is none.
    """
    length = wheelbase(cards.car)
    station = length / 2 if load is None else length * float(load[:2].sum() / load.sum())
    driven = drive(time, pose, reference=(station, 0.0), window=WINDOW)
    begin, end = float(time[0]), float(time[-1])
    edge = 0.1 * (end - begin)
    since = begin + edge if stretch[0] is None else stretch[0]
    until = end - edge if stretch[1] is None else stretch[1]
    if not since < until:
        raise InputError(
            "the stretch ends before it begins", where="--since, --until", remedy="Give seconds of the clip"
        )

    def read(seen: Drive) -> SteadyDrive:
        return steady(seen, since=since, until=until, independent=WINDOW)

    parts = () if shared is None else shared
    changed = [read(drive(time, pose + part, reference=(station, 0.0), window=WINDOW)) for part in parts]
    still = with_shared_causes(read(driven), changed)
    if load is None:
        return driven, still, None, "no weights: weigh the car, or type them on the test card"
    if cards.car.chassis is None:
        return driven, still, None, "no springs on the car card: fill in [chassis] to see the model beside the drive"
    model = model_at(cards, load, still.ay, open_to)
    balance = None if model.rolls_over else model.balance
    return driven, replace(still, model_balance=balance), model, ""


def model_at(cards: CardSet, load: FloatArray, ay: float, open_to: OpenTo = NOTHING_ELSE) -> Model:
    """The model of the cards' set-up in a steady turn at ay, m/s2 to the left. load: (4,) N at rest.

    open_to: what was measured of the car, instead of its card.
    """
    from rig.cards.chassis import moving_car

    where = cards.test.car
    chassis = moving_car(cards.car, load, where=where).chassis
    grip = cards.test.grip
    if open_to.transfer is not None:
        chassis = open_to.transfer.applied(chassis)[0]
    fall, _ = open_to.fall_with_load(cards.car)
    own = np.asarray(load, dtype=float) if grip.measured else None
    tyres = tyres_like(chassis, front=grip.front, rear=grip.rear, sensitivity=min(fall, 0.99), nominal=own)
    state = equilibrium(chassis, 0.0, np.array([0.0, ay]))
    centre = friction_centre(chassis, tyres, state.load)
    used = float(chassis.mass) * abs(ay) / float(capacity(tyres, state.load)[1].sum())
    return Model(
        balance=float(centre[1, 0]),
        balance_rest=float(centre[0, 0]),
        roll=float(state.roll[1]),
        grip_used=used,
        rolls_over=bool(state.rolls_over[1]),
    )


def drive_record(still: SteadyDrive, model: Model | None, length: float) -> DriveResult:
    """A drive as a record holds it. length: m, wheelbase."""
    return DriveResult(
        speed_m_s=still.speed,
        speed_u_m_s=still.speed_u,
        radius_m=still.radius,
        radius_u_m=still.radius_u,
        slide_angle_deg=float(np.degrees(still.slide_angle)),
        slide_angle_u_deg=float(np.degrees(still.slide_angle_u)),
        ay_m_s2=still.ay,
        ay_u_m_s2=still.ay_u,
        pivot_m=pair(still.pivot),
        pivot_u_m=pair(still.pivot_u),
        pivot_pct=100 * float(still.pivot[0]) / length,
        notes=still.notes,
        model=None if model is None else _model_row(model, length),
    )


def _model_row(model: Model, length: float) -> ModelRow:
    if model.rolls_over:
        return ModelRow(rolls_over=True)
    return ModelRow(
        rolls_over=False,
        balance_pct=100 * model.balance / length,
        balance_rest_pct=100 * model.balance_rest / length,
        roll_deg=float(np.degrees(model.roll)),
        grip_used=model.grip_used,
    )


def _weights(cards: CardSet, log: BenchLog) -> tuple[FloatArray | None, str]:
    from rig.jobs.weighing.weights import known_weighing

    if cards.test.typed.weights_g is None and weighing_of(cards.car, log) is None:
        return None, "no weights: weigh the car, or type them on the test card"
    return known_weighing(cards, log).load, ""
