"""Movements of a clip that hands made, not a push: the car lifted and set down again, or set straight on the floor."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.measured.pushes import MeasuredPush
from rig.cards.measures import MM
from vision.base.windows import runs_of

MOST_ON_SPRINGS = 5.0 * MM
"""Higher rises no body on its springs as it is pushed (common practice, no source): a hand lifted it."""
DIFFER = 4.0
"""Times the doubt of two pushes' difference, from which they are said not to agree."""
DIFFER_SHARE = 0.3
"""Of the larger turn per travel: a less difference two pushes at one place may well have."""


def on_the_floor(pushes: Sequence[MeasuredPush], time: FloatArray, lift: FloatArray | None) -> tuple[MeasuredPush, ...]:
    """The pushes without those in which the car was lifted; each keeps its number. All, where it was in every one.

    time: (n,) s.  lift: (n,) m, how high it was held; None or empty where nobody asked.
    """
    stood = tuple(push for push in pushes if not _highest(push, time, lift))
    return stood or tuple(pushes)


def lift_words(
    pushes: Sequence[MeasuredPush], time: FloatArray, lift: FloatArray
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Notes and warnings, one for every time that the car was held over the floor. pushes: those that count.

    time: (n,) s.  lift: (n,) m.
    """
    if not lift.any():
        return (), ()
    notes, warnings = [], []
    for run in runs_of(lift > 0):
        counted = [p.number for p in pushes if p.start_time <= time[run[-1]] and time[run[0]] <= p.end_time]
        high = float(lift[run].max())
        at = f"by {high / MM:.0f} mm at {time[run[0]]:.1f} to {time[run[-1]]:.1f} s: "
        if high < MOST_ON_SPRINGS and counted:
            warnings.append(
                f"The car rose {at}if a hand lifted it, push {counted[0]} is that hand's doing and tells no pivot; a "
                "body on soft springs may rise so, too. Push again, lower, and without lifting the car"
            )
            continue
        begins = f"The car was lifted {at}" if high >= MOST_ON_SPRINGS else f"The car rose, or was lifted, {at}"
        if counted:
            warnings.append(
                f"{begins}push {counted[0]} is then a hand's doing, and tells no pivot. Push again without lifting the "
                "car"
            )
        else:
            notes.append(f"{begins}what moved it then is not counted as a push.")
    return tuple(notes), tuple(warnings)


def unlike_warning(pushes: Sequence[MeasuredPush]) -> str:
    """Which pushes of one clip, all made at the place that the card names, contradict each other most; else empty."""
    worst, words = DIFFER, ""
    for one, two in combinations(pushes, 2):
        first, second = one.estimate, two.estimate
        apart = abs(first.kappa - second.kappa)
        sigmas = apart / max(float(np.hypot(first.kappa_u, second.kappa_u)), 1e-12)
        if sigmas > worst and apart > DIFFER_SHARE * max(abs(first.kappa), abs(second.kappa)):
            worst = sigmas
            words = (
                f"Pushes {one.number} and {two.number} of this clip contradict each other: was one of them a hand that "
                "set the car straight, or made at another place? Go by the one that was a push, or film it in a clip "
                "of its own"
            )
    return words


def _highest(push: MeasuredPush, time: FloatArray, lift: FloatArray | None) -> float:
    """m, how high the car was held during the push."""
    if lift is None or not len(lift):
        return 0.0
    return float(lift[(time >= push.start_time) & (time <= push.end_time)].max(initial=0.0))
