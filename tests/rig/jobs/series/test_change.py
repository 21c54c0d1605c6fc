"""Two set-ups on record: which pushes count for which card, what they share, and what is refused."""

from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest

from analysis.balance.results import ChangeFinding
from rig.base.errors import InputError
from rig.cards.read import CardSet
from rig.jobs.pushing.balance import answer_push, write_answer
from rig.jobs.record.recalculate import recalculate
from rig.jobs.series.answered_pushes import answered_pushes
from rig.jobs.series.change import (
    change_json,
    changed_again,
    compare_setups,
    conditions_between,
    grip_between,
    shared_between,
    weights_between,
)
from rig.jobs.series.own_pushes import pushes_of
from rig.log.store import BenchLog
from rig.lookups.track_file import SeenFrom
from rig.records.balance import CHANGE
from rig.report.words.change_words import film_text, write_change
from tests.rig.jobs.synthetic_pushes import (
    LENGTH,
    cards,
    closed_form,
    measured,
    pushed,
    pushed_track,
    recorded,
    weighed,
)

PLAIN = [400.0, 400.0, 380.0, 380.0]  # front 51.28 %
HEAVIER = [420.0, 420.0, 380.0, 380.0]  # front 52.5 %


@pytest.fixture
def log(tmp_path: Path) -> BenchLog:
    return BenchLog(tmp_path / "log")


@pytest.fixture
def a() -> CardSet:
    return cards(name="plain", typed__weights_g=PLAIN)


@pytest.fixture
def b() -> CardSet:
    return cards(name="rubber", typed__weights_g=PLAIN)


def test_the_change_is_told_with_its_sign_and_its_records(
    log: BenchLog, a: CardSet, b: CardSet, tmp_path: Path
) -> None:
    first = recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    second = recorded(log, b, pushed(0.050, 0.070), tmp_path / "b")  # the tail led: more grip in front
    found = compare_setups(a, b, log)
    assert found.change.finding is ChangeFinding.MOVED_FORWARD
    plain = change_json(found, picture=Path("x.png"), film=None)
    assert plain["finding"] == "moved forward"
    assert (plain["a"], plain["b"]) == ([first], [second])
    assert plain["interval_pct"][0] < plain["moved_pct"] < plain["interval_pct"][1]
    # Pushed at the middle a straight slide says 50 %; kappa of the other is 2 (50 - 70) / (257 * 120) per mm
    turned = closed_form(-40 / (LENGTH * 120), LENGTH / 2)
    assert plain["moved_pct"] == pytest.approx(turned - 50.0, abs=0.15)
    assert plain["explained_by_weights_pct"] == pytest.approx(0.0, abs=1e-9)
    assert plain["picture"] == "x.png"
    back = compare_setups(b, a, log)
    assert back.change.finding is ChangeFinding.MOVED_BACKWARD
    assert set(plain) == {
        "finding",
        "moved_pct",
        "interval_pct",
        "bound_pct",
        "explained_by_weights_pct",
        "left_for_tyres_pct",
        "tyres_agree",
        "a",
        "b",
        "picture",
        "film",
    }


@pytest.mark.thorough
def test_repeats_are_pooled_and_named_records_go_first(log: BenchLog, a: CardSet, b: CardSet, tmp_path: Path) -> None:
    numbers = [recorded(log, a, pushed(0.060, 0.060 + k * 1e-3), tmp_path / f"a{k}") for k in range(3)]
    recorded(log, b, pushed(0.050, 0.070), tmp_path / "b")
    assert compare_setups(a, b, log).change.pushes == (3, 1)
    only = compare_setups(a, b, log, a_records=numbers[1:2])
    assert [record.number for record in only.a.clips] == numbers[1:2]


def test_the_same_clip_measured_twice_counts_once(log: BenchLog, a: CardSet, tmp_path: Path) -> None:
    recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    again = recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    found = answered_pushes(a, log)
    assert [record.number for record in found.clips] == [again]
    assert len(found.answers) == 1


def test_one_clip_for_both_set_ups_is_refused(log: BenchLog, a: CardSet, b: CardSet, tmp_path: Path) -> None:
    recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    recorded(log, b, pushed(0.060, 0.060), tmp_path / "a")
    with pytest.raises(InputError, match="same clip"):
        compare_setups(a, b, log)
    with pytest.raises(InputError, match="same clip"):
        compare_setups(a, a, log)


def test_a_card_edited_since_the_push_is_said_with_the_difference(log: BenchLog, a: CardSet, tmp_path: Path) -> None:
    number = recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    edited = replace(
        a, test=msgspec.structs.replace(a.test, push=msgspec.structs.replace(a.test.push, position_pct=85.0))
    )
    with pytest.raises(InputError, match=rf"not as it was when its push was measured, record {number} .*85"):
        answered_pushes(edited, log)
    # notes are no difference
    noted = replace(
        a,
        test=msgspec.structs.replace(
            a.test, conditions=msgspec.structs.replace(a.test.conditions, notes="the left tyre looks worn")
        ),
    )
    assert len(answered_pushes(noted, log).answers) == 1
    assert len(answered_pushes(edited, log, numbers=[number]).answers) == 1


def test_a_set_up_without_a_push_or_without_weights_is_refused(log: BenchLog, a: CardSet, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no push"):
        answered_pushes(a, log)
    record = measured(log, a, pushed(0.06, 0.06))
    with pytest.raises(InputError, match="earlier version"):  # measured, but nothing was said of the balance
        answered_pushes(a, log, numbers=[record.number])
    weighing = weighed(a, log)
    with pytest.raises(InputError, match="rests on no clip"):
        answered_pushes(a, log, numbers=[weighing.record.number])


def test_what_the_weights_explain_has_its_sign(log: BenchLog, a: CardSet, tmp_path: Path) -> None:
    heavy = cards(name="ballast in front", typed__weights_g=HEAVIER)
    recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    recorded(log, heavy, pushed(0.056, 0.064), tmp_path / "b")
    one, two = answered_pushes(a, log), answered_pushes(heavy, log)
    weights = weights_between(one, two)
    assert weights is not None
    assert (weights.front_pct_a, weights.front_pct_b) == (
        pytest.approx(51.28, abs=0.01),
        pytest.approx(52.50, abs=0.01),
    )
    # two weighings of their own: gradient of 100 F / (F + R), (JCGM 100, 5.2.2), with the covariances of both
    own = []
    for pushes in (one, two):
        assert pushes.weighing is not None
        load, spread = pushes.weighing.weights.load_g, pushes.weighing.weights.covariance
        slope = 100 * np.array([load[2:].sum()] * 2 + [-load[:2].sum()] * 2) / load.sum() ** 2
        own.append(slope @ spread @ slope)
    assert weights.moved_u == pytest.approx(np.sqrt(sum(own)), rel=0.02)
    assert weights_between(one, one) == replace(weights, front_pct_b=weights.front_pct_a, moved_u=0.0)


def test_grip_counts_only_when_it_was_measured_for_each() -> None:
    def with_grip(front: float, rear: float, measured: bool, u: float) -> CardSet:
        return cards(grip__front=front, grip__rear=rear, grip__measured=measured, grip__ratio_u=u)

    grip = grip_between(with_grip(0.8, 0.75, True, 0.03), with_grip(0.96, 0.7, True, 0.04))
    assert grip is not None
    assert grip.factor == pytest.approx((0.96 / 0.7) / (0.8 / 0.75))
    assert grip.factor_u == pytest.approx(0.05)  # 3, 4, 5
    assert grip_between(with_grip(0.8, 0.75, False, 0.03), with_grip(0.96, 0.7, True, 0.04)) is None
    assert grip_between(with_grip(0.8, 0.75, True, 0.03), with_grip(0.8, 0.75, True, 0.03)) is None  # a copied card


def test_what_is_shared_follows_from_what_is_alike(log: BenchLog, a: CardSet, b: CardSet, tmp_path: Path) -> None:
    recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    recorded(log, b, pushed(0.050, 0.070), tmp_path / "b")
    one, two = answered_pushes(a, log), answered_pushes(b, log)
    shared = shared_between(one, two)
    assert {"wheelbase", "marker plate", "corner weights", "push position"} <= shared
    assert "along/across grip of the front tyres" not in shared  # no card says that the tyres are the same
    elsewhere = replace(two, answers=(replace(two.answers[0], pushed_pct=53.0),))
    assert "push position" not in shared_between(one, elsewhere)
    car = msgspec.structs.replace(two.cards.car, plate=msgspec.structs.replace(two.cards.car.plate, height_mm=71.0))
    assert "marker plate" not in shared_between(one, replace(two, cards=replace(two.cards, car=car)))


def test_other_conditions_are_said() -> None:
    one, two = cards(conditions__surface="board"), cards(conditions__surface="carpet")
    (note,) = conditions_between(one, two)
    assert "surface" in note
    assert "board" in note
    assert "carpet" in note
    assert conditions_between(one, one) == ()


def test_the_film_s_text_says_which_push_is_on_which_side(
    log: BenchLog, a: CardSet, b: CardSet, tmp_path: Path
) -> None:
    recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    recorded(log, b, pushed(0.050, 0.070), tmp_path / "b")
    lines = film_text(compare_setups(a, b, log)).splitlines()
    [left], [right] = ([line for line in lines if line.startswith(side)] for side in ("Left: ", "Right: "))
    assert left.startswith("Left: plain. ")
    assert "Balance by this push 50" in left
    assert right.startswith("Right: rubber. ")
    assert "the tail led by 20 mm (nose 50, tail 70)" in right


@pytest.mark.thorough
def test_a_film_that_cannot_be_made_takes_nothing_from_the_answer(
    log: BenchLog, a: CardSet, b: CardSet, tmp_path: Path
) -> None:
    recorded(log, a, pushed(0.060, 0.060), tmp_path / "a")
    recorded(log, b, pushed(0.050, 0.070), tmp_path / "b")
    found = compare_setups(a, b, log)
    files = write_change(tmp_path / "out", found, log)  # no poses were kept
    assert files.picture.stat().st_size > 5_000
    assert files.film is None
    assert files.why.startswith("No film: ")
    view = SeenFrom(
        time=np.zeros(1),
        rotation=np.diag([1.0, -1.0, -1.0])[None],
        place=np.array([[0.0, 0.0, 1.0]]),
        picture_time=np.zeros(0),
    )
    clips = []
    for cards_of_it, name, nose in ((a, "c", 0.06), (b, "d", 0.05)):
        (tmp_path / name).write_bytes(name.encode())  # no video
        track = replace(pushed_track(nose, 0.12 - nose), seen_from=view)
        push = pushed(nose, 0.12 - nose)
        record = measured(log, cards_of_it, push, clip=tmp_path / name, track=track)
        weights = weighed(cards_of_it, log)
        write_answer(log, cards_of_it, answer_push(cards_of_it, push, weights), push=record, weighing=weights)
        clips.append(record.number)
    found = compare_setups(a, b, log, a_records=clips[:1], b_records=clips[1:])
    files = write_change(tmp_path / "out", found, log)
    assert files.film is None
    assert "not a clip" in files.why


@pytest.mark.thorough
def test_a_change_on_record_is_computed_again_from_what_its_pushes_said_then(
    log: BenchLog, a: CardSet, b: CardSet, tmp_path: Path
) -> None:
    for number in range(2):
        recorded(log, a, pushed(0.060, 0.060 + 1e-3 * number), tmp_path / f"a{number}")
    recorded(log, b, pushed(0.050, 0.070), tmp_path / "b")
    found = compare_setups(a, b, log)
    later = log.get(str(found.record.inputs.b[0]))
    # what was said afterwards is no part of it
    answer = answer_push(b, pushed(0.070, 0.050), weighed(b, log))
    write_answer(log, b, answer, push=later, weighing=weighed(b, log))
    assert changed_again(found.record, log) == found.record.result
    again = recalculate(log)
    assert found.record.number not in again.not_computed
    assert [one for one in again.differing if one.kind == "change"] == []
    wrong = msgspec.structs.replace(found.record.result, target=9.0, more_pushes=7)
    other = log.record(
        CHANGE,
        "wrong",
        inputs=found.record.inputs,
        result=wrong,
        cards=found.record.cards,
        parents=found.record.parents,
    )
    assert {one.path for one in recalculate(log).differing if one.record == other.number} >= {"target"}


@pytest.mark.thorough
def test_a_copied_card_beside_its_original_goes_by_its_own_pushes(log: BenchLog, tmp_path: Path) -> None:
    plain = cards(name="plain", id="samesame", typed__weights_g=PLAIN)
    rubber = cards(name="rubber", id="samesame", typed__weights_g=PLAIN)  # copied, then edited: the normal way
    first = recorded(log, plain, pushed(0.060, 0.060), tmp_path / "a")
    with pytest.raises(InputError, match="not as it was"):
        pushes_of(rubber, log)  # alone it may be the first card, edited after its push
    beside = pushes_of(rubber, log, beside=plain)
    assert beside.records == ()
    assert "a copy of plain (one id)" in beside.remarks[0]
    second = recorded(log, rubber, pushed(0.050, 0.070), tmp_path / "b")
    found = compare_setups(plain, rubber, log)
    assert ([one.number for one in found.a.clips], [one.number for one in found.b.clips]) == ([first], [second])
    assert found.change.finding is ChangeFinding.MOVED_FORWARD
    edited = cards(name="rubber", id="samesame", typed__weights_g=PLAIN, push__position_pct=60.0)
    with pytest.raises(InputError, match="not as it was"):  # its own push was made with other content
        compare_setups(plain, edited, log)
