"""How every answer about a push begins: what happened, the balance point by the push and by weights and grip."""

from collections.abc import Sequence
from itertools import pairwise

from analysis.balance.results import MeasuredBalance, Saw
from analysis.balance.seen import seen_words, where_pushed
from analysis.set_ups.weights_and_tyres import front_weight_that_fits, grip_that_fits
from analysis.statistics.odds import odds_words
from analysis.statistics.quantiles import NORMAL_95
from rig.base.car_words import station_words_mm
from rig.cards.measures import MM
from rig.jobs.pushing.balance import PushAnswer
from rig.report.words.rounding import decimals_of, plus_minus, range_words

HARDLY = 0.5
"""A cause with less than this share of the variance is not worth a sentence of its own."""
FAR_POINTS = 10.0
"""A balance found by a push farther away than this says so."""
SURE = 39.0
NAMED_ODDS = 3.0
"""To 1: a mistake that explains a push less well than this, against one of unknown kind, is not named."""


def wheels_words(blocked: tuple[bool, bool]) -> str:
    """The state of the wheels during a push. blocked: front, rear."""
    return {
        (True, True): "wheels blocked",
        (False, False): "wheels rolling",
        (True, False): "front wheels blocked, rear wheels rolling",
        (False, True): "rear wheels blocked, front wheels rolling",
    }[blocked]


def what_happened(answer: PushAnswer) -> str:
    """Where it was pushed and what was seen: "Pushed at the middle (50 %), wheels blocked: the tail led by ..."."""
    where = where_pushed(answer.pushed_pct)
    return f"{where[0].upper()}{where[1:]}, {wheels_words(answer.blocked)}: {seen_words(answer.saw)}."


def seen_short(answer: PushAnswer) -> str:
    """What was seen, without where: "the tail led by 18 mm (nose 51, tail 69)"."""
    return seen_words(answer.saw)


def balance_rows(answer: PushAnswer) -> list[tuple[str, str, str]]:
    """Name, value and remark of the balance by the push and by weights and grip; empty without weights."""
    rows = []
    if answer.balance is not None:
        rows.append(("Balance by this push", measured_words(answer.balance), _where(answer)))
    if answer.by_weights is not None:
        known = answer.by_weights
        rows.append(("Balance by weights and grip", plus_minus(known.pct, known.interval_pct), verdict_word(answer)))
    return rows


def measured_words(balance: MeasuredBalance) -> str:
    """The balance by a push: a figure with its ±, or its bounds."""
    if balance.pct is not None and balance.interval_pct is not None:
        return plus_minus(balance.pct, balance.interval_pct)
    if balance.bounds_pct is not None:
        return f"between {range_words(*balance.bounds_pct).replace(' to ', ' and ')}"
    return "cannot tell"


def verdict_word(answer: PushAnswer) -> str:
    """The verdict as it stands beside the balance by weights and grip."""
    return "" if answer.verdict is None else str(answer.verdict)


def _where(answer: PushAnswer) -> str:
    balance = answer.balance
    if balance is None or balance.pct is None:
        return ""
    return f"({station_words_mm(balance.pct / 100 * answer.wheelbase)})"


def push_lines(answer: PushAnswer) -> list[str]:
    """The answer for a terminal: what happened, the two balance points, then the one thing that would help."""
    lines = [what_happened(answer)]
    lines += [sentence for sentence in (axle_sentence(answer), place_sentence(answer)) if sentence]
    rows = balance_rows(answer)
    if rows:
        widths = [max(len(row[column]) for row in rows) for column in (0, 1)]
        lines += [f"{name:<{widths[0]}}   {value:<{widths[1]}}   {remark}".rstrip() for name, value, remark in rows]
        lines += [text for text in (fits_sentence(answer), weights_sentence(answer), tyres_sentence(answer)) if text]
    else:
        lines.append("Weigh the car, or type its weights in, and this push tells the balance point.")
    advice = [text for text in (largest_part_sentence(answer), next_push_sentence(answer)) if text]
    return [*lines, *([""] if advice or answer.remarks else []), *answer.remarks, *advice]


def fits_sentence(answer: PushAnswer) -> str:
    """Which single mistakes would reconcile measurement and forecast, after the verdict; empty where they agree.

    One that is hardly more likely than a mistake of any kind is not named: a name sends people to the wrong place.
    """
    if answer.verdict != "disagrees":
        return ""
    named = [one for one in answer.would_fit if one.odds >= NAMED_ODDS]
    if not named:
        return "No single one of the usual mistakes would make them fit better than chance."
    first, *others = named
    sentence = f"It would fit if {first.words} (odds {odds_words(first.odds)})."
    if others:
        sentence += f" Next likely: {'; '.join(f'{one.words} ({odds_words(one.odds)})' for one in others)}."
    return sentence


def weights_sentence(answer: PushAnswer) -> str:
    """What the front axle would have to weigh for both balance points to be one; empty as `tyres_sentence` is."""
    points, given = _two_points(answer), answer.by_weights
    if points is None or given is None or given.front_weight_pct is None or given.sensitivity is None:
        return ""
    best, low, high = (
        front_weight_that_fits(point, given.pct, given.front_weight_pct, sensitivity=given.sensitivity)
        for point in points
    )
    return (
        f"Or it is the weights: the front wheels would have to carry {best:.1f} % ({low:.1f} to {high:.1f}) of the "
        f"car, not the {given.front_weight_pct:.1f} % that were weighed: weigh again."
    )


def tyres_sentence(answer: PushAnswer) -> str:
    """What the tyres would have to do for both balance points to be one; empty where they agree or there are not two
    between the axles."""
    points, given = _two_points(answer), answer.by_weights
    if points is None or given is None:
        return ""
    best, low, high = (grip_that_fits(point, given.pct) for point in points)
    return (
        f"Or it is the tyres: front ones that grip {best:.2f} times ({low:.2f} to {high:.2f}) as well against the rear "
        "as the test card says."
    )


def _two_points(answer: PushAnswer) -> tuple[float, float, float] | None:
    """Balance by the push and its 95 % ends, where it disagrees with that by weights and all lie between the axles."""
    balance, given = answer.balance, answer.by_weights
    if answer.verdict != "disagrees" or balance is None or balance.pct is None or balance.interval_pct is None:
        return None
    points = (balance.pct, *balance.interval_pct)
    if given is None or not all(0.0 < point < 100.0 for point in (*points, given.pct)):
        return None
    return points


def axle_sentence(answer: PushAnswer) -> str:
    """Rolling wheels: the axle that the car swung about, with its odds; empty for a figure."""
    balance = answer.balance
    if balance is None or balance.axle is None:
        return "" if balance is None or not balance.reason else f"No figure of the balance: {balance.reason}."
    other = "rear" if balance.axle == "front" else "front"
    odds = balance.odds or 1.0
    if odds < SURE:
        return (
            f"Rolling wheels: cannot tell which axle grips better, odds only {odds_words(odds)} for the {balance.axle}."
        )
    return (
        f"The car swung about the {balance.axle} axle: it grips better than the {other}, odds {odds_words(odds)}. "
        "Rolling wheels tell which, not how much: block them to measure."
    )


def place_sentence(answer: PushAnswer) -> str:
    """The pivot as a place, measured beside forecast; empty beyond two wheelbases from the middle, or when straight."""
    if answer.swung_mm is None or answer.saw.saw in (Saw.STRAIGHT, Saw.CANNOT_TELL):
        return ""
    sentence = f"It swung about a point {station_words_mm(answer.swung_mm * MM)}"
    if answer.forecast_mm is not None:
        sentence += f" (forecast: {station_words_mm(answer.forecast_mm * MM)})"
    return sentence + "."


def largest_part_sentence(answer: PushAnswer) -> str:
    """What makes most of the ±, and what would make it smaller; empty when no single cause does."""
    balance = answer.balance
    if balance is None or balance.largest_part is None or balance.u is None:
        return ""
    name, share = balance.largest_part
    if share < HARDLY:
        return ""
    rest = NORMAL_95 * balance.u * max(1.0 - share, 0.0) ** 0.5
    if name == "placing the finger":
        each = abs(dict(balance.parts)[name])
        mm = each / 100 * answer.wheelbase / MM
        text = f"Most of the ± is where the finger stood: {mm:.1f} mm is {each:.1f} points."
        return f"{text} A rail with notches would make it ± {rest:.{decimals_of(rest)}f}."
    return f"Most of the ± comes from: {name}. Without it ± {rest:.{decimals_of(rest)}f} would be left."


def next_push_sentence(answer: PushAnswer) -> str:
    """Where to push next; empty when this push was near enough."""
    balance = answer.balance
    if balance is None or balance.next_push_pct is None or balance.distance is None:
        return ""
    place = f"{balance.next_push_pct:.0f} %"
    if balance.distance > FAR_POINTS:
        side = "ahead of" if balance.pct is not None and answer.pushed_pct > balance.pct else "behind"
        return f"Pushed {balance.distance:.0f} points {side} the balance point: push at {place} to know it better."
    return f"Next: push once more at {place}; it should go straight."


def answers_lines(answers: Sequence[PushAnswer]) -> list[str]:
    """Several pushes of one clip, each with its number."""
    if len(answers) == 1:
        return push_lines(answers[0])
    lines: list[str] = []
    for answer in answers:
        first, *rest = push_lines(answer)
        lines += [f"Push {answer.number}. {first}", *rest, ""]
    return [line for line, after in pairwise([*lines, ""]) if line or after]
