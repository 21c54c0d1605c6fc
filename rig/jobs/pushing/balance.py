"""What one push says of the balance point, beside weights and grip: computed once, written, decoded from there."""

from dataclasses import dataclass, field, fields, replace
from typing import Any

import msgspec
import numpy as np

from analysis.balance.from_push import balance_from_push, turn_seen
from analysis.balance.results import BalanceDoubts, FingerReading, MeasuredBalance, NoseAndTail, Placing
from analysis.balance.seen import side_sentence, what_was_seen
from analysis.base.plane import compose, invert
from analysis.forecast.comparison import Verdict
from analysis.forecast.inputs import CarState, PushState, assemble, doubt_groups, draw_groups
from analysis.measured.pushes import MeasuredPush
from analysis.sliding.contacts import centre_of_friction
from analysis.statistics.monte_carlo import coverage_interval
from rig.base.errors import InputError
from rig.base.plain_json import finite_json
from rig.cards.measures import BAR_MM, MM, wheelbase
from rig.cards.mechanics import blocked_axles, push_state
from rig.cards.read import CardSet
from rig.jobs.pushing.finger import pushed_as_seen
from rig.jobs.pushing.measure import Measurement
from rig.jobs.weighing.weigh import Weighing, known_weighing, weighed_car
from rig.log.cards_and_pivots import keep_cards
from rig.log.sources import finger_row
from rig.log.store import BenchLog, Record

KIND = "balance"
DRAWS = 4000
FARTHEST_RATIO = 1e6
"""Nose less tail over their sum: of a car whose middle stood still it is infinite, which a record cannot hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ByWeights:
    """The balance point by weights and grip, per cent of the wheelbase. u: standard; interval_pct: 95 %."""

    pct: float
    u: float
    interval_pct: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PushAnswer:
    """What every answer about a push begins with.

    number: of the push in its clip, from 1.  pushed_pct: where.  side: +1 pushed to the left by the card.
    blocked: front and rear wheels.  wheelbase: m.  turn: rad, of the push.  end: (x, y, yaw) m, m, rad of the end in
    the car axes of the start.  swung_mm: the measured pivot ahead of the rear axle, forecast_mm: the forecast one;
    None where there is none, or it lies beyond two wheelbases from the middle.
    balance, finger, by_weights: None where the weights are not known.  verdict: on turn per travel, None without
    forecast.  remarks: sentences about what does not fit.
    """

    number: int
    pushed_pct: float
    side: int
    blocked: tuple[bool, bool]
    wheelbase: float
    saw: NoseAndTail
    end: tuple[float, float, float]
    balance: MeasuredBalance | None = None
    by_weights: ByWeights | None = None
    finger: FingerReading | None = None
    verdict: Verdict | None = None
    swung_mm: float | None = None
    forecast_mm: float | None = None
    remarks: tuple[str, ...] = field(default=())


def answer_push(cards: CardSet, push: MeasuredPush, weighing: Weighing | None) -> PushAnswer:
    """What a measured push says. cards: with the push where it was made.  weighing: None when there is none.

    Raises the rooms' InputError for a car or push that cannot be.
    """
    length, card = wheelbase(cards.car), cards.test.push
    plate, floor = cards.car.plate, cards.bench.floor
    seen = turn_seen(
        push,
        place_u=(plate.place_mm_u * MM, plate.place_mm_u * MM, float(np.radians(plate.turn_deg_u))),
        scale_u=floor.bar_mm_u / BAR_MM,
    )
    stated = push_state(cards.car, cards.test)
    saw = what_was_seen(seen, station=stated.station)
    end = compose(invert(push.start_pose), push.end_pose)
    side_remark = side_sentence(saw, side=stated.side)
    swung = push.estimate.station_pct
    plain = PushAnswer(
        number=push.number,
        pushed_pct=card.position_pct,
        side=stated.side,
        blocked=blocked_axles(cards.test),
        wheelbase=length,
        saw=replace(saw, ratio=_held(saw.ratio), interval=(_held(saw.interval[0]), _held(saw.interval[1]))),
        end=(float(end[0]), float(end[1]), float(end[2])),
        swung_mm=near_place_mm(None if swung is None else swung / 100 * length, length),
        remarks=(side_remark,) if side_remark else (),
    )
    if weighing is None:
        return plain
    car = weighed_car(cards, weighing)
    # The car goes where it went: the balance is found for the side that the clip shows.
    pushed = replace(stated, side=saw.side, finger_y=-saw.side * abs(stated.finger_y))
    doubts = BalanceDoubts(placing=Placing.SEEN if card.position_from == "finger marker" else Placing.BARE_FINGER)
    return replace(
        plain,
        balance=balance_from_push(car, pushed, seen, doubts=doubts),
        by_weights=balance_by_weights(car, stated),
    )


def _held(ratio: float) -> float:
    return float(np.clip(ratio, -FARTHEST_RATIO, FARTHEST_RATIO))


def answer_clip(cards: CardSet, measurement: Measurement, log: BenchLog) -> tuple[PushAnswer, ...]:
    """What every push of a measured clip says, written down; without weights only what was seen, and why.

    Raises InputError for typed-in weights that cannot be.
    """
    weighing, missing = None, ""
    try:
        weighing = known_weighing(cards, log)
    except InputError as error:
        if cards.test.typed.weights_g is not None:
            raise
        missing = str(error)
    answers = []
    for push in measurement.pushes:
        placed = pushed_as_seen(cards, finger_row(measurement.record, push.number), push.number)
        answer = answer_push(placed, push, weighing)
        if missing:
            answer = replace(answer, remarks=(*answer.remarks, missing))
        write_answer(log, placed, answer, push=measurement.record, weighing=weighing)
        answers.append(answer)
    return tuple(answers)


def near_place_mm(station: float | None, length: float) -> float | None:
    """A pivot's station, mm ahead of the rear axle, when it lies within two wheelbases of the middle. m in."""
    if station is None or not abs(station - length / 2) <= 2 * length:
        return None
    return station / MM


def balance_by_weights(car: CarState, push: PushState, *, seed: int = 0) -> ByWeights:
    """The centre of friction of the cards with its uncertainty: front share of grip (Monte Carlo, JCGM 101)."""
    rng = np.random.default_rng(seed)
    drawn = assemble(car, push, draw_groups(doubt_groups(car, push), DRAWS, rng), DRAWS)
    share = 100.0 * centre_of_friction(drawn.contacts) / car.wheelbase
    low, high = coverage_interval(share)
    return ByWeights(pct=float(np.mean(share)), u=float(np.std(share)), interval_pct=(low, high))


def judged(answer: PushAnswer, verdict: Verdict, forecast_station: float | None) -> PushAnswer:
    """The answer with the verdict on turn per travel beside it. forecast_station: m ahead of the rear axle."""
    return replace(answer, verdict=verdict, forecast_mm=near_place_mm(forecast_station, answer.wheelbase))


def write_answer(
    log: BenchLog, cards: CardSet, answer: PushAnswer, *, push: Record, weighing: Weighing | None
) -> Record:
    """Write what a push said; it rests on the record of its clip and on the weighing."""
    plain: dict[str, Any] = plain_result(answer)
    return log.record(
        KIND,
        cards.test.name,
        inputs={"push_number": answer.number},
        result=plain,
        cards=keep_cards(log, cards),
        parents=[push.id, *([weighing.record.id] if weighing is not None else [])],
    )


def plain_result(result: Any) -> dict[str, Any]:
    """A frozen result as maps, lists, finite numbers and texts."""
    plain: dict[str, Any] = finite_json(msgspec.to_builtins(result, enc_hook=lambda number: number.item()))
    return plain


def answer_from(record: Record) -> PushAnswer:
    """The answer that `write_answer` wrote."""
    plain = dict(record.result)
    if "balance" in plain:  # what is None is left out of a record
        plain["balance"] = {one.name: plain["balance"].get(one.name) for one in fields(MeasuredBalance)}
    return msgspec.convert(plain, PushAnswer)


def answer_json(answer: PushAnswer) -> dict[str, Any]:
    """What was seen and both balance points, for programs: mm, per cent of the wheelbase."""
    found: dict[str, Any] = {
        "saw": answer.saw.saw.value,
        "nose_mm": answer.saw.nose_mm,
        "tail_mm": answer.saw.tail_mm,
    }
    balance = answer.balance
    if balance is not None:
        found["balance_measured"] = (
            {"pct": balance.pct, "interval_pct": balance.interval_pct}
            if balance.pct is not None
            else {"axle": balance.axle, "odds": balance.odds, "bounds_pct": balance.bounds_pct}
        )
    if answer.by_weights is not None:
        found["balance_forecast"] = {"pct": answer.by_weights.pct, "interval_pct": answer.by_weights.interval_pct}
    plain: dict[str, Any] = finite_json(found)
    return plain
