"""Odds in words, and how large they can be meant."""

LARGEST_ODDS = 1000.0
"""To 1: greater odds than this say more of a formula than of a bench."""


def odds_words(odds: float, *, exact: bool = False) -> str:
    """ "40 to 1": rounded down to what can be meant, "about even" below two to one, "over 1000 to 1" at the top.

    odds: to 1.  exact: to the nearest whole number, as sentences that records keep have always had it.
    """
    if odds >= LARGEST_ODDS:
        return f"over {LARGEST_ODDS:.0f} to 1"
    if exact:
        return f"{odds:.0f} to 1"
    if odds < 2.0:
        return "about even"
    step = 100 if odds >= 100 else (10 if odds >= 20 else 1)
    return f"{int(odds // step) * step} to 1"
