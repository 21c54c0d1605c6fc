"""What one push says of the balance point, beside weights and grip: computed once, written, decoded from there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.balance.curve import CurvesOfPush
from analysis.balance.finger_reading import as_the_finger_moved, read_finger
from analysis.balance.from_push import balance_from_push, turn_seen
from analysis.balance.reconcile import pushed_in_state, usual_mistakes, what_would_reconcile
from analysis.balance.results import (
    BalanceDoubts,
    FingerFound,
    FingerReading,
    MeasuredBalance,
    NoseAndTail,
    Placing,
    TurnSeen,
)
from analysis.balance.seen import what_was_seen
from analysis.base.plane import compose, invert
from analysis.base.wheels import FRONT
from analysis.forecast.comparison import Verdict
from analysis.forecast.draws import assemble, draw_groups
from analysis.forecast.inputs import CarState, PushState, doubt_groups
from analysis.measured.loaded import LoadedTurn
from analysis.measured.pushes import MeasuredPush
from analysis.measured.wind_up import TURNS
from analysis.sliding.contacts import Whole, centre_of_friction
from analysis.statistics.monte_carlo import coverage_interval
from analysis.statistics.odds import odds_words
from analysis.weighing.corner_weights import group_share
from rig.base.errors import InputError
from rig.base.plain_json import Json, finite_json
from rig.cards.left_out import sizes_not_measured
from rig.cards.measures import BAR_MM, MM, wheelbase
from rig.cards.mechanics import blocked_axles, push_state
from rig.cards.read import CardSet
from rig.jobs.measuring.finger import pushed_as_seen
from rig.jobs.measuring.found_pushes import poses_of
from rig.jobs.measuring.measure import Measurement
from rig.jobs.measuring.setup_doubts import setup_doubt
from rig.jobs.measuring.under_load import under_load
from rig.jobs.pushing.print_scale import ruler_sentence
from rig.jobs.weighing.weights import OtherWeights, Weighing, car_as_it_stands, known_weighing, weighed_car, written
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.sources import finger_row
from rig.lookups.track_file import KeptTrack
from rig.records.balance import BALANCE, BalanceInputs, BalanceResult
from rig.records.codec import as_record, from_record
from rig.records.record import AnyRecord, Record
from rig.records.weighing import WEIGHING
from vision.base.types import ClipTrack

DRAWS = 4000
BY_WEIGHTS_MODEL = 6
"""What the balance by weights and grip takes into account by now. 1: grip is the same under any load.  2: tyres lose
grip with the load they carry.  3: bearings or tyres may make the rolling wheels' drag.  4: where wheels turn, all
are on their patches at once.  5: all wheels always are, and loads follow what the patches resist.
6: no car drives along faster than the finger goes."""
WHOLE_PATCHES: dict[int, Whole] = {4: "turning", 5: "all", 6: "paced"}
MOST_FITS = 3
"""Mistakes that are told; the rest is not worth reading."""
FARTHEST_RATIO = 1e6
"""Nose less tail over their sum: of a car whose middle stood still it is infinite, which a record cannot hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ByWeights:
    """The balance point by weights and grip, per cent of the wheelbase. u: standard; interval_pct: 95 %.

    front_weight_pct: the front axle's share of the weight.  sensitivity: grip that tyres lose per share of load, the
    mean of the axles.  None where an earlier record did not keep them.
    """

    pct: float
    u: float
    interval_pct: tuple[float, float]
    front_weight_pct: float | None = None
    sensitivity: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WouldFit:
    """A single mistake that would bring measured and forecast together, in words, with its odds (to 1).

    weighing, number: id and number of the record whose weights would do so; "" and None for other mistakes.
    """

    name: str
    odds: float
    weighing: str = ""
    number: int | None = None

    @property
    def words(self) -> str:
        """The mistake, as it goes on after "It would fit if"."""
        return self.name if self.number is None else f"{self.name}, as weighed in record {self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PushAnswer:
    """What every answer about a push begins with.

    number: of the push in its clip, from 1.  pushed_pct: where.  side: +1 pushed to the left by the card.
    blocked: front and rear wheels.  wheelbase: m.  turn: rad, of the push.  end: (x, y, yaw) m, m, rad of the end in
    the car axes of the start.  swung_mm: the measured pivot ahead of the rear axle, forecast_mm: the forecast one;
    None where there is none, or it lies beyond two wheelbases from the middle.
    balance, finger, by_weights: None where the weights are not known.  verdict: on turn per travel, None without
    forecast.  would_fit: where they disagree, the mistakes that would reconcile them, likeliest first.
    remarks: sentences about what does not fit.
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
    would_fit: tuple[WouldFit, ...] = ()
    remarks: tuple[str, ...] = ()


def whole_patches_then(model: int) -> Whole:
    """Which cars a balance by weights of this model had on whole patches."""
    return WHOLE_PATCHES.get(model, "none")


def answer_push(
    cards: CardSet,
    push: MeasuredPush,
    weighing: Weighing | None,
    *,
    track: ClipTrack | KeptTrack | None = None,
    verdict: Verdict | None = None,
    forecast_station: float | None = None,
    others: Sequence[OtherWeights] = (),
) -> PushAnswer:
    """What a measured push says. cards: with the push where it was made.  weighing: None when there is none.

    track: the poses, in which the turn between two loaded poses is looked for; None takes it from rest to rest.
    verdict: on turn per travel, with the forecast pivot's station (m ahead of the rear axle), where there is one.
    others: weights of other states of the car, tried where forecast and measurement disagree.
    A push whose pivot is one from rest to rest, as an older record has it, gets the balance of its day.
    Raises the rooms' InputError for a car or push that cannot be.
    """
    length, card = wheelbase(cards.car), cards.test.push
    stated = push_state(cards.car, cards.test)
    seen = _turn(cards, push, None)
    saw = what_was_seen(seen, station=stated.station)
    end = compose(invert(push.start_pose), push.end_pose)
    # Cards with the place that the finger's marker showed no longer have what somebody wrote on them.
    doubted = setup_doubt(push, cards) if card.position_from == "card" else push.setup_doubt
    swung = push.estimate.station_pct
    basic = PushAnswer(
        number=push.number,
        pushed_pct=card.position_pct,
        side=stated.side,
        blocked=blocked_axles(cards.test),
        wheelbase=length,
        saw=replace(saw, ratio=_held(saw.ratio), interval=(_held(saw.interval[0]), _held(saw.interval[1]))),
        end=(float(end[0]), float(end[1]), float(end[2])),
        verdict=verdict,
        swung_mm=near_place_mm(None if swung is None else swung / 100 * length, length),
        forecast_mm=near_place_mm(forecast_station, length),
        remarks=(*sizes_not_measured(cards.car), *([doubted] if doubted else [])),
    )
    if weighing is None:
        return _with_ruler(basic, cards, push, track)
    if track is not None:
        turns = TURNS if push.between_rests is not None else 1
        loaded = under_load(push, poses_of(track), station=stated.station, length=length, turns=turns)
        seen = _turn(cards, push, loaded)
        basic = replace(basic, remarks=(*basic.remarks, *(loaded.remarks if loaded is not None else ())))
    car = car_as_it_stands(cards, weighing)
    forecast_of = weighed_car(cards, weighing)
    # The car goes where it went: the balance is found for the side that the clip shows.
    pushed = replace(stated, side=saw.side, finger_y=-saw.side * abs(stated.finger_y))
    curves = CurvesOfPush(car, pushed, seen)
    finger = read_finger(car, pushed, seen, curves=curves)
    moved = as_the_finger_moved(pushed, finger)
    if moved.finger != pushed.finger:
        did = "stuck to the car" if finger.found is FingerFound.STUCK else "slid along the car"
        remark = (
            f"In the clip the finger {did} (odds {odds_words(finger.odds, exact=True)}); the card says {card.finger}."
        )
        basic = replace(basic, remarks=(*basic.remarks, remark))
    doubts = BalanceDoubts(
        placing=Placing.SEEN if card.position_from == "finger marker" else Placing.BARE_FINGER,
        along_across_u=(float(car.along_u[0]), float(car.along_u[1])),
    )
    answer = replace(
        basic,
        balance=balance_from_push(car, moved, seen, doubts=doubts, curves=curves),
        by_weights=balance_by_weights(forecast_of, stated),
        finger=finger,
        would_fit=_would_fit(forecast_of, pushed, seen, others) if verdict == "disagrees" else (),
    )
    return _with_ruler(answer, cards, push, track)


def _with_ruler(
    answer: PushAnswer, cards: CardSet, push: MeasuredPush, track: ClipTrack | KeptTrack | None
) -> PushAnswer:
    """The answer, and what a ruler on the printed bars would do to it where nobody measured them."""
    sentence = ruler_sentence(cards, answer.balance, push, track)
    return replace(answer, remarks=(*answer.remarks, sentence)) if sentence else answer


def _would_fit(car: CarState, push: PushState, seen: TurnSeen, others: Sequence[OtherWeights]) -> tuple[WouldFit, ...]:
    """The usual mistakes, weights of another state among them, that would reconcile push and forecast."""
    weighed = {pushed_in_state(other.state): other for other in others}
    states = [(one.state, replace(car, load=one.load, load_covariance=one.load_covariance)) for one in others]
    mistakes = usual_mistakes(car, push, seen, other_weights=states)
    fits = [fit for fit in what_would_reconcile(car, push, seen, mistakes) if fit.reconciles][:MOST_FITS]
    return tuple(
        WouldFit(name=fit.name, odds=fit.odds, weighing=weighed[fit.name].id, number=weighed[fit.name].number)
        if fit.name in weighed
        else WouldFit(name=fit.name, odds=fit.odds)
        for fit in fits
    )


def _turn(cards: CardSet, push: MeasuredPush, loaded: LoadedTurn | None) -> TurnSeen:
    plate, floor = cards.car.plate, cards.bench.floor
    return turn_seen(
        push,
        place_u=(plate.place_mm_u * MM, plate.place_mm_u * MM, float(np.radians(plate.turn_deg_u))),
        scale_u=floor.bar_mm_u / BAR_MM,
        loaded=loaded,
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
        answer = answer_push(placed, push, weighing, track=measurement.track)
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
    return ByWeights(
        pct=float(np.mean(share)),
        u=float(np.std(share)),
        interval_pct=(low, high),
        front_weight_pct=100.0 * float(group_share(car.load, FRONT)),
        sensitivity=0.0 if car.sensitivity is None else float(np.mean(car.sensitivity)),
    )


def write_answer(
    log: BenchLog, cards: CardSet, answer: PushAnswer, *, push: AnyRecord, weighing: Weighing | None
) -> Record[BalanceInputs, BalanceResult]:
    """Write what a push said; it rests on the record of its clip and on the weighing."""
    return log.record(
        BALANCE,
        cards.test.name,
        inputs=BalanceInputs(push_number=answer.number, model=BY_WEIGHTS_MODEL),
        result=as_record(answer, BalanceResult),
        cards=keep_cards(log, cards),
        parents=[push.id, *([written(weighing, cards, log).record.id] if weighing is not None else [])],
    )


def answer_from(record: Record[BalanceInputs, BalanceResult], log: BenchLog | None = None) -> PushAnswer:
    """The answer that `write_answer` wrote. log: whose numbers the records that it names are to have.

    An imported answer was written where other records had these numbers.
    """
    answer = from_record(record.result, PushAnswer)
    if log is None:
        return answer
    numbers = {record.id: record.number for record in log.records(kind=WEIGHING)} if answer.would_fit else {}
    return replace(answer, would_fit=tuple(replace(one, number=numbers.get(one.weighing)) for one in answer.would_fit))


def answer_json(answer: PushAnswer) -> Json:
    """What was seen and both balance points, for programs: mm, per cent of the wheelbase."""
    found: Json = {
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
    if answer.remarks:
        found["remarks"] = list(answer.remarks)
    if answer.by_weights is not None:
        found["balance_forecast"] = {"pct": answer.by_weights.pct, "interval_pct": answer.by_weights.interval_pct}
    row: Json = finite_json(found)
    return row
