"""The pictures of two set-ups from above: drawn, and filmed side by side from the clips in the log."""

from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.plane import compose, invert, place
from analysis.figures.car import body_outline
from analysis.figures.pushed_cars import CarFromAbove
from rig.base.errors import InputError
from rig.base.files import whole_file, write_text
from rig.base.progress import Progress
from rig.cards.measures import MM, car_markers, contact_place, wheelbase
from rig.cards.read import CardSet
from rig.jobs.measuring.push_rows import camera_from
from rig.jobs.pushing.balance import PushAnswer
from rig.jobs.pushing.picture import body_of
from rig.jobs.series.answered_pushes import PushesOf
from rig.log.store import BenchLog
from rig.lookups.sources import MissingSourceError, push_row, track_of
from rig.records.pushing import ClipRecord
from vision.base.types import CameraView
from vision.clip.from_above import PushFromAbove, film_from_above, still_from_above


def drawn_car(cards: CardSet, answer: PushAnswer, title: str) -> CarFromAbove:
    """One push as the first picture shows it."""
    geometry, length = cards.car.geometry, wheelbase(cards.car)
    balance = answer.balance
    half = 0.0
    if balance is not None and balance.interval_pct is not None:
        half = (balance.interval_pct[1] - balance.interval_pct[0]) / 200 * length
    return CarFromAbove(
        title=title,
        wheelbase=length,
        body=body_of(cards.car),
        contact_place=contact_place(cards.car),
        end=np.array(answer.end),
        push=np.array([answer.pushed_pct / 100 * length, -answer.saw.side * geometry.body_width_mm / 2 * MM]),
        side=answer.saw.side,
        nose_mm=answer.saw.nose_mm,
        tail_mm=answer.saw.tail_mm,
        balance=None if balance is None or balance.pct is None else (balance.pct / 100 * length, half),
        forecast=None if answer.by_weights is None else answer.by_weights.pct / 100 * length,
    )


def filmed_push(
    record: ClipRecord, answer: PushAnswer, cards: CardSet, log: BenchLog, captions: tuple[str, ...]
) -> PushFromAbove:
    """One push as the film shows it, from the clip and the poses in the log. captions: ASCII lines.

    Raises MissingSourceError when the clip or its poses are gone, or an earlier version kept no camera's place.
    """
    stored = track_of(record, log)
    view = stored.seen_from
    if view is None:
        raise MissingSourceError("the clip was measured by an earlier version; measure it again for a film")
    clip = next((Path(f.path) for f in log.files() if f.hash in record.files and f.kind == "clip"), None)
    if clip is None or not clip.is_file():
        raise MissingSourceError("the clip is no longer there")
    row = push_row(record, answer.number)
    length, start = wheelbase(cards.car), np.array(row.start_pose)
    relative = compose(invert(start), stored.pose)
    shown = drawn_car(cards, answer, "")
    return PushFromAbove(
        clip=clip,
        camera=camera_from(record.result.track.camera),
        view=CameraView(time=view.time, rotation=view.rotation, place=view.place),
        time=stored.time,
        pose=stored.pose,
        start_pose=start,
        onset=row.start_s,
        end=row.end_s,
        outline=body_outline(length, shown.body),
        wheelbase=length,
        height=car_markers(cards.car, dictionary=cards.bench.floor.dictionary).height,
        nose=way_across(relative, length, side=answer.saw.side),
        tail=way_across(relative, 0.0, side=answer.saw.side),
        balance=None if shown.balance is None else shown.balance[0],
        forecast=shown.forecast,
        captions=captions,
        picture_time=view.picture_time,
    )


def way_across(relative: FloatArray, station: float, *, side: int) -> FloatArray:
    """(n,) m, how far a point of the car's middle line went across the mean heading, positive the way of the push.

    relative: (n, 3) m, m, rad, poses in the car axes of the start.  station: m ahead of the rear axle.
    """
    went = place(relative, np.array([station, 0.0])) - np.array([station, 0.0])
    middle = relative[:, 2] / 2
    across: FloatArray = side * (np.cos(middle) * went[:, 1] - np.sin(middle) * went[:, 0])
    return across


def film_pushes(
    folder: Path, stem: str, pushes: list[PushFromAbove], *, title: str, text: str, progress: Progress | None = None
) -> tuple[Path, Path, Path]:
    """Write film (WebM), still (PNG) and a text for those who cannot see them; returns the three paths.

    text: the words.  Raises the rooms' errors when the folder refuses.
    """
    folder.mkdir(parents=True, exist_ok=True)
    film, still, words = (folder / f"{stem}{ending}" for ending in (".webm", "-still.png", ".txt"))
    with whole_file(film) as part:
        film_from_above(part, pushes, title=title, progress=progress)
    with whole_file(still) as part:
        still_from_above(part, pushes, title=title)
    write_text(words, text)
    return film, still, words


def film_of_setups(
    a: PushesOf, b: PushesOf, log: BenchLog, captions: tuple[tuple[str, ...], tuple[str, ...]]
) -> list[PushFromAbove]:
    """The first push of either set-up, to be filmed. Raises InputError, with the reason, when one cannot be."""
    shown = []
    for pushes, lines in ((a, captions[0]), (b, captions[1])):
        try:
            shown.append(filmed_push(pushes.clips[0], pushes.answers[0], pushes.cards, log, lines))
        except MissingSourceError as error:
            raise InputError(
                str(error), where=f"film of {pushes.cards.test.name}", remedy="Measure the clip again"
            ) from error
    return shown
