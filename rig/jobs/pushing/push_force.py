"""The force on the finger beside a measured clip: matched, judged, and what it says of the grip."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.balance.finger_reading import as_the_finger_moved
from analysis.base.arrays import FloatArray
from analysis.base.plane import slide_parts
from analysis.base.signs import two_digits
from analysis.finger.force_on_slide import FingerWay, Match, Plateau, finger_way, match_clip, plateau
from analysis.finger.force_trace import ForceTrace, presses_in
from analysis.forecast.inputs import PushState
from analysis.grip.push_force import (
    FORCE_DRAWS,
    METHOD,
    GripByForce,
    Pressed,
    grip_by_force,
)
from analysis.measured.pushes import MeasuredPush
from rig.base.errors import InputError
from rig.cards.keys.bench import ForceCell
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet
from rig.jobs.measuring.clip_times import first_picture
from rig.jobs.measuring.measure import Measurement
from rig.jobs.pushing.balance import PushAnswer
from rig.jobs.pushing.force_kept import PushForce
from rig.jobs.weighing.bench_figures import GRIPS
from rig.jobs.weighing.weights import Weighing, car_as_it_stands
from rig.lookups.track_file import KeptTrack
from rig.pads.force_file import ForceRecording, beside, read_force
from rig.records.content import pair
from rig.records.force import ForceInputs, ForcePart, ForceResult
from vision.base.types import ClipTrack

ZERO_NAMED, ZERO_REFUSED = 0.3, 1.5
"""N between a cell's zero on the card and that before a push: worth a word (its tip's weight, warmth); another cell."""
CAMERA_LATE_U = 0.1
"""s: how late pictures are against the force on one machine, standard (from memory, no source)."""
NEAR_POINTS = 10.0
"""A balance found from farther away is no measurement of the axles' ratio here."""
ASKEW_DEG, MOST_TURN_DEG = 8.0, 15.0
"""A car that drifts more than this off square, and turns less than that, was not pushed square to it, or steered."""
ABOUT_PRESS_S = 0.2
"""A cell at its stop so near to a press counts as in it."""
LEAST_LEVEL_U = 0.05
"""Relative: no card knows its level of grip better for this comparison."""
MOST_LOST = 0.02
"""Share of the lines of force that may be lost without a word."""
CARD_APART = 2.5
"""Standard uncertainties by which the card's grip and that of the force differ before it is told."""


def recording_of(clip: Path, given: Path | None) -> Path | None:
    """The force that belongs to a clip: as given, or lying beside it; None where there is none."""
    if given is not None:
        return given
    return beside(clip) if beside(clip).is_file() else None


def asked_of_force(
    cards: CardSet, answer: PushAnswer, *, first_picture_s: float | None, board: str, seed: int = 0
) -> ForceInputs:
    """Inputs for the force of this answer's push: side, finger and balance point as the clip showed them.

    Raises InputError where no balance point is known.
    """
    pct, u, by = _balance(answer)
    stated = push_state(cards.car, cards.test)
    moved = stated if answer.finger is None else as_the_finger_moved(stated, answer.finger)
    return ForceInputs(
        push_number=answer.number,
        side=answer.saw.side,
        finger=moved.finger,
        balance_pct=pct,
        balance_u_pct=u,
        balance_by=by,
        first_picture_s=first_picture_s,
        board=board,
        seed=seed,
        draws=FORCE_DRAWS,
    )


def force_of_push(
    cards: CardSet,
    weighing: Weighing,
    measurement: Measurement,
    answer: PushAnswer,
    file: Path,
    *,
    seed: int = 0,
) -> PushForce:
    """What the force recorded with a clip says of one of its pushes.

    measurement: of the clip.  answer: of the push whose force is asked for.
    Raises the rooms' InputError with the reason where it says nothing that can be trusted.
    """
    recorded = read_force(file)
    first = first_picture(measurement.clip) if recorded.host else None
    asked = asked_of_force(cards, answer, first_picture_s=first, board=recorded.board, seed=seed)
    result = force_result(cards, weighing, measurement.track, measurement.pushes, asked, file)
    return PushForce(inputs=asked, result=result, ratio=_ratio(answer, weighing.load), file=file)


def force_result(
    cards: CardSet,
    weighing: Weighing,
    track: ClipTrack | KeptTrack,
    pushes: Sequence[MeasuredPush],
    asked: ForceInputs,
    file: Path,
) -> ForceResult:
    """The same as a record holds it, from what a record says was asked. Raises as `force_of_push`."""
    cell, recorded = _cell(cards), read_force(file)
    _own_board(recorded, cell, file)
    trace = _in_newtons(recorded, cell)
    presses = presses_in(trace)
    _not_stopped(recorded, [(one.start, one.end) for one in presses])
    match = match_clip(
        presses,
        [(push.start_time, push.end_time) for push in pushes],
        frame_s=float(np.median(np.diff(track.time))),
        known=asked.first_picture_s,
        known_u=CAMERA_LATE_U,
    )
    index = next(i for i, push in enumerate(pushes) if push.number == asked.push_number)
    push, press = pushes[index], match.presses[index]
    moved = _as_pushed(cards, asked)
    held = plateau(trace, press, _way_of_finger(track, push, moved), match)
    grip = grip_by_force(
        car_as_it_stands(cards, weighing),
        moved,
        Pressed(
            force=held.force,
            force_u=held.u,
            cell_u=cell.counts_per_n_u / abs(cell.counts_per_n),
            station=held.station,
            turn=held.turn,
            tilt_u=moved.direction_u,
        ),
        balance_pct=asked.balance_pct,
        balance_u_pct=asked.balance_u_pct,
        rng=np.random.default_rng(asked.seed),
        draws=asked.draws,
    )
    zero = None if cell.zero_counts is None else press.zero_before - cell.zero_counts / cell.counts_per_n
    _fits_card(zero, grip, file)
    warnings = _warnings(cards, push, grip, zero, recorded)
    return _result(held, grip, match, zero, len(trace.time), warnings)


def _in_newtons(recorded: ForceRecording, cell: ForceCell) -> ForceTrace:
    """Counts to newtons, by the calibration on the bench card."""
    return ForceTrace(
        time=np.array(recorded.time),
        force=np.array(recorded.counts) / cell.counts_per_n,
        step=1.0 / abs(cell.counts_per_n),
    )


def _as_pushed(cards: CardSet, asked: ForceInputs) -> PushState:
    """The card's push, from the side and in the manner that the clip shows."""
    stated = push_state(cards.car, cards.test)
    return replace(stated, side=asked.side, finger_y=-asked.side * abs(stated.finger_y), finger=asked.finger)


def _way_of_finger(track: ClipTrack | KeptTrack, push: MeasuredPush, moved: PushState) -> FingerWay:
    """Where the finger pressed, from first touch to release."""
    shown = (track.time > push.start_time) & (track.time < push.end_time)
    return finger_way(
        np.concatenate([[push.start_time], track.time[shown], [push.end_time]]),
        np.concatenate([[push.start_pose], track.pose[shown], [push.end_pose]]),
        station=moved.station,
        side=moved.side,
        half_width=abs(moved.finger_y),
        stays=moved.path == "fixed on car",
    )


def _cell(cards: CardSet) -> ForceCell:
    cell = cards.bench.force
    if cell is None or cell.counts_per_n == 0.0:
        raise InputError(
            "the bench card does not say what a newton is in counts",
            where=f"{cards.bench.name}, force.counts_per_n",
            remedy="Calibrate the finger's cell with: pivotbench pads calibrate TEST.toml --finger --mass 500",
        )
    return cell


def _own_board(recorded: ForceRecording, cell: ForceCell, file: Path) -> None:
    if recorded.board and cell.board and recorded.board != cell.board:
        raise InputError(
            f'this force was recorded from the board "{recorded.board}", the cell was calibrated on "{cell.board}"',
            where=str(file),
            remedy="Calibrate this finger: pivotbench pads calibrate TEST.toml --finger --mass 500",
        )


def _not_stopped(recorded: ForceRecording, presses: Sequence[tuple[float, float]]) -> None:
    for start, end in presses:
        if any(start - ABOUT_PRESS_S <= moment <= end + ABOUT_PRESS_S for moment in recorded.saturated):
            raise InputError(
                "the finger's cell stood at its stop during the push: the force was more than it can tell",
                where="force on the finger",
                remedy="Take a cell of a larger capacity, or push a lighter car",
            )


def _near(answer: PushAnswer) -> tuple[float, float] | None:
    """Balance point and its standard uncertainty, per cent, where this push tells it from near enough."""
    balance = answer.balance
    if balance is None or balance.pct is None or balance.u is None:
        return None
    if abs(balance.pct - answer.pushed_pct) > NEAR_POINTS:
        return None
    return balance.pct, balance.u


def _balance(answer: PushAnswer) -> tuple[float, float, str]:
    """Per cent, standard uncertainty, and by what: this push where it was made near, else weights and grip."""
    near, known = _near(answer), answer.by_weights
    if near is not None:
        return *near, "push"
    if known is None:
        raise InputError("the balance point is not known", where=METHOD, remedy="Weigh the car")
    return known.pct, known.u, "weights and grip"


def _ratio(answer: PushAnswer, load: FloatArray) -> tuple[float, float] | None:
    """Front over rear grip factor by this push's balance point, with its relative standard uncertainty."""
    near = _near(answer)
    if near is None:
        return None
    share, weight = near[0] / 100.0, float(load[:2].sum() / load.sum())
    return share / (1.0 - share) * (1.0 - weight) / weight, near[1] / 100.0 / (share * (1.0 - share))


def _fits_card(zero: float | None, grip: GripByForce, file: Path) -> None:
    if zero is not None and abs(zero) > ZERO_REFUSED:
        raise InputError(
            f"the cell reads {zero:+.1f} N before the push, by the zero on the bench card: another cell, or something "
            "touched it",
            where=str(file),
            remedy="Calibrate the finger again, or push with nothing at the finger before and after",
        )
    if not GRIPS[0] <= grip.level <= GRIPS[1]:
        raise InputError(
            f"this force would be a grip factor of {two_digits(grip.level)}: it cannot be",
            where="force on the finger",
            remedy="Check the car's weights, and calibrate the finger's cell again",
        )


def _warnings(
    cards: CardSet, push: MeasuredPush, grip: GripByForce, zero: float | None, recorded: ForceRecording
) -> tuple[str, ...]:
    warnings = []
    card = cards.test.grip
    if card.measured:
        share = grip.front_weight
        stated = share * card.front + (1.0 - share) * card.rear
        apart = abs(np.log(grip.level / stated)) / float(np.hypot(grip.relative_u, max(card.level_u, LEAST_LEVEL_U)))
        if apart > CARD_APART:
            warnings.append(
                f"The force says grip {grip.level:.2f}, the test card {stated:.2f}: is this the cell that was "
                "calibrated, and the car as it was weighed?"
            )
    if zero is not None and abs(zero) > ZERO_NAMED:
        warnings.append(f"The cell's zero is {zero:+.1f} N off the card's; the push was taken from its own zero.")
    if recorded.lost > MOST_LOST * (len(recorded.time) + recorded.lost):
        warnings.append(f"{recorded.lost} lines of force were lost on their way.")
    forward, sideways, chord = slide_parts(push.start_pose, push.end_pose)  # of the rear axle's middle
    sideways = sideways + 0.5 * wheelbase(cards.car) * chord
    drift = float(np.degrees(np.arctan2(abs(forward), abs(sideways))))
    if drift > ASKEW_DEG and abs(push.turn) < np.radians(MOST_TURN_DEG):
        warnings.append(
            f"The car went {drift:.0f} degrees off square: the cell feels only the force along the finger, push square."
        )
    return tuple(warnings)


def _result(
    held: Plateau,
    grip: GripByForce,
    match: Match,
    zero: float | None,
    readings: int,
    warnings: tuple[str, ...],
) -> ForceResult:
    return ForceResult(
        force_N=held.force,
        force_u_N=held.u,
        peak_N=held.peak,
        zero_N=zero,
        parts=tuple(ForcePart(name=name, u_N=size) for name, size in held.parts),
        offset_s=match.offset,
        offset_u_s=match.u,
        way_mm=held.way / MM,
        station_mm=held.station / MM,
        turn_deg=float(np.degrees(held.turn)),
        readings=readings,
        level=grip.level,
        level_u=grip.relative_u,
        level_interval=pair(np.array(grip.interval)),
        own_u=grip.own_u,
        shared=dict(grip.shared),
        front=grip.front,
        front_u=grip.front_u,
        rear=grip.rear,
        rear_u=grip.rear_u,
        whole_N=grip.whole,
        share=grip.share,
        front_weight=grip.front_weight,
        warnings=warnings,
    )
