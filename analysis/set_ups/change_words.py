"""The answer about two set-ups for people."""

from analysis.balance.results import BalanceChange, ChangeFinding, Moved
from analysis.set_ups.pooled import SCATTER_PART
from analysis.statistics.quantiles import NORMAL_95

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def points_words(value: float, half: float) -> str:
    """ "2.6 ± 0.9": a 95 % half-width of at most two digits, never 0.0, and the value cut at the same place."""
    digits = 0 if half >= 9.95 else 1
    return f"{value:.{digits}f} ± {max(half, 0.1):.{digits}f}"


def change_sentences(change: BalanceChange, *, wheelbase: float) -> tuple[str, ...]:
    """The answer for people, the first sentence first: "The balance moved forward by 2.6 ± 0.9 points (7 mm; ...)".

    wheelbase: m.
    """
    sentences = [_first(change, wheelbase), *_taken_apart(change)]
    if change.finding in (ChangeFinding.NO_CHANGE_SEEN, ChangeFinding.CANNOT_TELL) and change.moved is not None:
        what = "half a point" if change.finding is ChangeFinding.NO_CHANGE_SEEN else f"{change.target:.1f} points"
        if change.more_pushes is None:
            lasting = [name for name, _ in change.parts if name != SCATTER_PART]
            name = lasting[0] if lasting else "what the pushes do not share"
            sentences.append(f"More pushes alone would not show {what}: what is left is mostly {name}.")
        else:
            pushes = f"{_number(change.more_pushes)} more push{'' if change.more_pushes == 1 else 'es'} each"
            sentences.append(f"To see {what}, {pushes}.")
    return (*sentences, *change.warnings)


def _first(change: BalanceChange, wheelbase: float) -> str:
    if change.finding is ChangeFinding.OTHER_AXLE:
        return (
            f"The car swings about the other axle: {change.reason}. The balance point went across the place of the "
            "push; rolling wheels do not tell by how much, and where it lay close to the push a little was enough."
        )
    if change.moved is None:
        return f"Cannot tell whether the balance moved: {change.reason}."
    moved, half = change.moved, _half(change.moved)
    if change.finding is ChangeFinding.CANNOT_TELL:
        return f"Cannot tell whether the balance moved ({points_words(moved.value, half)} points): {change.reason}."
    if change.finding is ChangeFinding.NO_CHANGE_SEEN:
        assert change.bound is not None
        return f"No change larger than {max(change.bound, 0.1):.1f} points ({_pushes(change.pushes)})."
    way = "forward" if change.finding is ChangeFinding.MOVED_FORWARD else "backward"
    # in a series other factors change beside, and no two places stand for the effect of one
    places = f": {change.before[0]:.1f} → {change.after[0]:.1f} %" if change.before and change.after else ""
    mm = abs(moved.value) / 100.0 * wheelbase * 1e3
    return (
        f"The balance moved {way} by {points_words(abs(moved.value), half)} points ({mm:.{0 if mm >= 2 else 1}f} mm; "
        f"{_pushes(change.pushes)}){places}. Beyond chance."
    )


def _taken_apart(change: BalanceChange) -> list[str]:
    weights, tyres, grip = change.explained_by_weights, change.left_for_tyres, change.front_grip_up
    if weights is None or tyres is None or grip is None:
        return []
    whole = "of it" if change.finding in (ChangeFinding.MOVED_FORWARD, ChangeFinding.MOVED_BACKWARD) else "points"
    half = NORMAL_95 * grip[1]
    digits = 0 if half >= 1.0 else 1
    way = "up" if grip[0] >= 0 else "down"
    sentences = [
        f"The weights explain {points_words(weights.value, _half(weights))} {whole}, the tyres "
        f"{points_words(tyres.value, _half(tyres))}: front grip {way} by {abs(grip[0]):.{digits}f} ± "
        f"{max(half, 0.1):.{digits}f} % against the rear."
    ]
    if change.tyres_agree is not None:
        verdict = {
            "agrees": "That agrees with the measured grip.",
            "disagrees": "That disagrees with the measured grip.",
            "cannot tell": "Whether that agrees with the measured grip nobody can tell: both are too uncertain.",
        }
        sentences.append(verdict[change.tyres_agree])
    return sentences


def _half(moved: Moved) -> float:
    return 0.5 * (moved.interval[1] - moved.interval[0])


def _number(count: int) -> str:
    return NUMBERS[count] if count < len(NUMBERS) else str(count)


def _pushes(counts: tuple[int, int]) -> str:
    if counts[0] == counts[1]:
        return f"{_number(counts[0])} push{'' if counts[0] == 1 else 'es'} each"
    return f"{_number(counts[0])} with the first, {_number(counts[1])} with the second"
