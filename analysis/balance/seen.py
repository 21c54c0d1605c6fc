"""What was seen of a push, from the travel of nose and tail, and its words."""

from analysis.balance.results import NoseAndTail, TurnSeen


def what_was_seen(seen: TurnSeen, *, station: float) -> NoseAndTail:
    """Nose and tail travel, who led, by the rules of the ratio. station: m, where it was pushed."""
    raise NotImplementedError


def where_pushed(pushed_pct: float) -> str:
    """ "pushed at the middle (50 %)", "pushed at 53 %"."""
    raise NotImplementedError


def seen_sentence(saw: NoseAndTail, *, pushed_pct: float) -> str:
    """ "pushed at the middle (50 %): the tail led by 18 mm (nose 51, tail 69)"."""
    raise NotImplementedError


def side_sentence(saw: NoseAndTail, *, side: int) -> str:
    """One sentence when the clip contradicts the card's side (+1 pushed to the left), otherwise ""."""
    raise NotImplementedError
