"""Springbacks taken out of a clip's pushes: when the finger leaves, the tyres unwind, which is no push of its own."""

from collections.abc import Sequence
from dataclasses import replace

from analysis.measured.loaded import without_springbacks
from analysis.measured.pushes import MeasuredPush
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import push_state
from rig.cards.read import CardSet


def own_pushes(pushes: Sequence[MeasuredPush], cards: CardSet) -> tuple[MeasuredPush, ...]:
    """The pushes without springbacks. Each keeps its number, and knows where its springback ended and how far it went.

    cards: where the finger touched, which is what springs back.
    """
    length, station = wheelbase(cards.car), push_state(cards.car, cards.test).station
    return tuple(
        one.push
        if one.springback is None
        else replace(
            one.push,
            sprung_until=one.end_time,
            sprung_back=abs(one.springback.travel_at(station - length / 2)),
        )
        for one in without_springbacks(pushes, station=station, wheelbase=length)
    )


def springback_notes(pushes: Sequence[MeasuredPush]) -> tuple[str, ...]:
    """A sentence for each push after which the tyres sprang back."""
    return tuple(
        f"Push {push.number}: the tyres sprang back by {push.sprung_back / MM:.1f} mm when the finger left: not a push."
        for push in pushes
        if push.sprung_until is not None
    )
