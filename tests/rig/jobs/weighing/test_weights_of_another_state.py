"""Pushed in another state than the card says: the weighing of that state in the log is tried, and named by its number.

Truth: statics (a 200 g ballast over the rear axle stands on the rear wheels alone) and the closed form of an even
blocked car's push (`synthetic_pushes.closed_form`).
"""

from pathlib import Path

import pytest
from scipy.optimize import brentq

from rig.archive.bundle import export_bench, import_bench
from rig.cards.keys.car import CarCard
from rig.cards.measures import floor_layout
from rig.cards.read import CardSet, parse_card
from rig.cards.template import card_text
from rig.jobs.measuring.found_pushes import pushes_in
from rig.jobs.measuring.measure import Measurement
from rig.jobs.pushing.balance import PushAnswer, answer_from
from rig.jobs.pushing.compare import Verdict, judge
from rig.jobs.record.experiments import choose, retell
from rig.jobs.record.recalculate import recalculate
from rig.jobs.weighing.weights import RecordedWeighing, weigh_typed, weighed_otherwise
from rig.log.store import BenchLog
from rig.lookups.aside import put_aside
from rig.records.balance import BALANCE
from rig.report.words.push_answer import fits_sentence
from tests.rig.jobs.synthetic_pushes import CAR, LENGTH, cards, closed_form, measured, pushed_track

BARE_PCT = 100 * 820 / 1560  # by hand: front share of the weights of `synthetic_pushes`
BALLAST = {"name": "rear ballast", "mass_g": 200.0, "x_mm": 0.0, "y_mm": 0.0}


def in_state(ballast_g: float, *, car_id: str = "abcdefgh", **keys: object) -> CardSet:
    """The cards with so much ballast over the rear axle."""
    parts = [BALLAST | {"mass_g": ballast_g}] if ballast_g else []
    text = card_text("car", CAR | {"id": car_id, "masses.parts": parts} | keys)
    # the grip ratio is known so well that forecast and push can disagree
    of = cards(grip__ratio_u=0.01)
    car = parse_card(text, CarCard, where="car.toml")
    return CardSet(test=of.test, car=car, bench=of.bench, texts=of.texts | {"car": text}, folder=of.folder)


def bare_push() -> tuple[float, float]:
    """Ways of nose and tail, m, of the bare car pushed at the middle: turn per travel from the closed form."""
    kappa = brentq(lambda k: closed_form(k, LENGTH / 2) - BARE_PCT, -5.0, -0.01)
    ratio = kappa * LENGTH / 2  # (nose - tail) / (nose + tail)
    return 0.06 * (1 + ratio), 0.06 * (1 - ratio)


def judged(log: BenchLog, of: CardSet, weighing: RecordedWeighing) -> Verdict:
    """The bare car's push judged with these cards and this weighing."""
    track = pushed_track(*bare_push())
    pushes = pushes_in(track, of).pushes
    clip = Measurement(
        track=track,  # type: ignore[arg-type]
        pushes=pushes,
        record=measured(log, of, *pushes, track=track),
        clip=Path("none.avi"),
        floor=floor_layout(of.bench),
    )
    return judge(of, log, weighing, clip)


def answer_of(verdict: Verdict) -> PushAnswer:
    assert verdict.answer is not None
    assert verdict.comparison.verdict == "disagrees"
    return verdict.answer


@pytest.fixture
def log(tmp_path: Path) -> BenchLog:
    return BenchLog(tmp_path / "log")


def test_the_ballast_that_was_left_out_is_named(log: BenchLog) -> None:
    bare = weigh_typed(in_state(0.0), log)
    weigh_typed(in_state(90.0), log)  # another state, which does not fit
    with_ballast = weigh_typed(in_state(200.0), log)
    verdict = judged(log, in_state(200.0), with_ballast)
    answer = answer_of(verdict)
    # statics: 820 of 1760 g in front; by hand, a tyre with 7 % more than its mean of 440 g grips 0.7 % less, and so on
    front, rear = 820 * (1 - 0.1 * (410 / 440 - 1)), 940 * (1 - 0.1 * (470 / 440 - 1))
    assert answer.by_weights is not None
    assert answer.by_weights.pct == pytest.approx(100 * front / (front + rear), abs=0.1)
    first = answer.would_fit[0]
    assert (first.weighing, first.number) == (bare.record.id, bare.record.number)
    assert first.name == "the car was pushed in another state (rear ballast 200 → 0 g)"
    assert (
        f"It would fit if the car was pushed in another state (rear ballast 200 → 0 g), as weighed in record "
        f"{bare.record.number} (odds "
    ) in fits_sentence(answer)
    assert "90 g" not in fits_sentence(answer)


def test_a_query_writes_nothing_and_finds_only_what_counts(log: BenchLog) -> None:
    bare = weigh_typed(in_state(0.0), log)
    again = weigh_typed(in_state(0.0, name="Dunlin "), log)  # the same state, weighed anew
    weigh_typed(in_state(0.0, car_id="stranger"), log)
    mistaken = weigh_typed(in_state(90.0), log)
    with_ballast = weigh_typed(in_state(200.0), log)
    put_aside(log, str(mistaken.record.number), "the wrong scale")
    before = len(list(log.records()))
    found = weighed_otherwise(in_state(200.0), with_ballast, log)
    assert [one.id for one in found] == [again.record.id]  # the newest of the only other state that counts
    # A weighing of another state that a person named is the one to differ from.
    assert [one.id for one in weighed_otherwise(in_state(200.0), bare, log)] == [with_ballast.record.id]
    assert len(list(log.records())) == before


def test_a_state_is_named_by_all_that_is_otherwise(log: BenchLog) -> None:
    names = ("nose", "roof", "tail", "left sill", "right sill")
    parts = [{"name": name, "mass_g": 10.0, "x_mm": 100.0, "y_mm": 0.0} for name in names]
    weigh_typed(in_state(0.0, **{"masses.parts": parts}), log)
    bare = weigh_typed(in_state(0.0), log)
    (found,) = weighed_otherwise(in_state(0.0), bare, log)
    assert [name for name in names if name not in found.state] == []


@pytest.mark.thorough
def test_it_is_computed_again_alike_and_keeps_its_number_where_it_is_read(log: BenchLog, tmp_path: Path) -> None:
    bare = weigh_typed(in_state(0.0), log)
    of = in_state(200.0)
    judged(log, of, weigh_typed(of, log))
    put_aside(log, str(bare.record.number), "weighed anew later")  # what was answered before stays so
    assert recalculate(log).differing == ()
    export_bench(log, tmp_path / "out")
    other = BenchLog(tmp_path / "other")
    weigh_typed(in_state(10.0, car_id="stranger"), other)
    weigh_typed(in_state(20.0, car_id="stranger"), other)
    import_bench(other, tmp_path / "out")
    number = other.get(bare.record.id).number
    assert number != bare.record.number
    assert recalculate(other).differing == ()
    (record,) = other.records(kind=BALANCE)
    assert answer_from(record, other).would_fit[0].number == number
    (told,) = retell(other, choose(other, kind="comparison")).experiments
    assert told.answer is not None
    assert f"as weighed in record {number} (" in fits_sentence(told.answer)
