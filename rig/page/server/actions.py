"""All that a page may change, with the exact shape of what it sends; the interface's document is made of it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from rig.base.plain_json import Json
from rig.jobs.moving.reach import Tried
from rig.page.bench.bench import Bench
from rig.page.bench.changes import Changes
from rig.page.classroom.classroom import Classroom
from rig.page.classroom.hidden_change import HiddenGame
from rig.page.classroom.question import Vote
from rig.page.server.far_racer import FarRacer
from rig.page.server.phones import Phones

Pct = Annotated[float, Meta(ge=-500.0, le=600.0)]
Side = Annotated[float, Meta(ge=-5000.0, le=5000.0)]
Grams = Annotated[float, Meta(ge=0.0, le=200_000.0)]
Name = Annotated[str, Meta(max_length=60)]
Value = (
    Annotated[str, Meta(max_length=2000)]
    | bool
    | Annotated[float, Meta(ge=-1e9, le=1e9)]
    | Annotated[list[Any], Meta(max_length=64)]
    | None
)


class Nothing(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """No details."""


class Switch(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """On or off."""

    on: bool


class Named(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One of a list, by its name."""

    name: Name


class Pin(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A place on the car: per cent of the wheelbase ahead of the rear axle, mm to the left."""

    station_pct: Pct
    side_mm: Side = 0.0


class Guess(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An answer given at the class screen: one of the choices, a place, or both.

    hands: how many raised a hand for it.  seen: it is what was seen of the push.
    """

    station_pct: Pct | None = None
    side_mm: Side = 0.0
    answer: Annotated[str, Meta(max_length=120)] = ""
    reason: Annotated[str, Meta(max_length=120)] = ""
    hands: Annotated[int, Meta(ge=1, le=60)] = 1
    seen: bool = False


class Pupils(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How many will answer; null when nobody counts."""

    count: Annotated[int, Meta(ge=1, le=200)] | None = None


class Placings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How often to set the car on the pads."""

    placings: Annotated[int, Meta(ge=1, le=20)] = 1
    hands_free: bool = False


class CrossWish(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Wanted cross weight: per cent of the car on front right with rear left."""

    share_pct: Annotated[float, Meta(ge=0.0, le=100.0)]


class TwoRecords(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Numbers of two comparisons: before and after a change."""

    a: Annotated[int, Meta(ge=1, le=10**9)]
    b: Annotated[int, Meta(ge=1, le=10**9)]


class Masses(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Check masses, g, and the standard uncertainty of each, g."""

    masses_g: Annotated[list[Annotated[float, Meta(gt=0.0, le=200_000.0)]], Meta(min_length=2, max_length=20)]
    mass_u_g: Annotated[float, Meta(ge=0.0, le=1000.0)] = 0.1


class TypedWeights(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Weights read off other scales, g: front left, front right, rear left, rear right; and the scale's step, g."""

    weights_g: tuple[Grams, Grams, Grams, Grams]
    resolution_g: Annotated[float, Meta(gt=0.0, le=1000.0)] = 1.0


class TypedPivot(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A pivot found with a ruler: per cent of the wheelbase, and its standard uncertainty."""

    pivot_pct: Annotated[float, Meta(ge=-100_000.0, le=100_000.0)]
    u_pct: Annotated[float, Meta(gt=0.0, le=1000.0)] = 2.0


class SetupTried(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is tried: springs in per cent of the card's, bars in N/mm at the wheel (left out or -1: the card's), ballast
    and where it lies, and the body higher by so many mm.
    """

    spring_front: Annotated[float, Meta(ge=10.0, le=1000.0)] = 100.0
    spring_rear: Annotated[float, Meta(ge=10.0, le=1000.0)] = 100.0
    bar_front: Annotated[float, Meta(ge=-1.0, le=100.0)] = -1.0
    bar_rear: Annotated[float, Meta(ge=-1.0, le=100.0)] = -1.0
    ballast_g: Annotated[float, Meta(ge=0.0, le=5000.0)] = 0.0
    ballast_pct: Pct = 50.0
    height_mm: Annotated[float, Meta(ge=-30.0, le=30.0)] = 0.0

    def meant(self) -> Tried:
        """The same as the mechanics takes it."""
        front, rear = (None if one < 0 else one for one in (self.bar_front, self.bar_rear))
        return Tried(
            springs=(self.spring_front / 100, self.spring_rear / 100),
            bars=(front, rear),
            ballast_g=self.ballast_g,
            ballast_pct=self.ballast_pct if self.ballast_g else Tried().ballast_pct,
            height_mm=self.height_mm,
        )


class CardValues(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Keys of one card and their new values; null leaves a key out."""

    kind: Literal["car", "bench", "test"]
    values: Annotated[dict[Annotated[str, Meta(max_length=80)], Value], Meta(min_length=1, max_length=200)]


class CardKind(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One of the three cards."""

    kind: Literal["car", "bench", "test"]


class HiddenPush(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where to push the car with the secret, per cent of the wheelbase."""

    position_pct: Annotated[float, Meta(ge=0.0, le=100.0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One change. shape: of the request's JSON.  do: answers a sentence, a job's number, or a map."""

    summary: str
    shape: type[msgspec.Struct]
    do: Callable[[Any], str | int | Json]


def actions(
    bench: Bench, classroom: Classroom, hidden: HiddenGame, phones: Phones, changes: Changes, far: FarRacer
) -> dict[str, Action]:
    """Name -> action, served at /api/do/<name>."""
    pads = bench.on_pads

    def act(summary: str, shape: type[msgspec.Struct], do: Callable[[Any], str | int | Json]) -> Action:
        return Action(summary=summary, shape=shape, do=do)

    def answered(_: Nothing) -> str:
        bench.work.answer()
        return "Going on."

    def stopped(_: Nothing) -> str:
        bench.work.stop()
        return "Stopping."

    def guessed(sent: Guess) -> str:
        place = None if sent.station_pct is None else (sent.station_pct, sent.side_mm)
        vote = Vote(answer=sent.answer, place=place, reason=" ".join(sent.reason.split()), hands=sent.hands)
        return classroom.vote(vote, seen=sent.seen)

    return {
        "virtual": act("Switch the virtual bench on or off", Switch, lambda a: bench.switch_virtual(a.on)),
        "step": act("Go to one experiment of the lesson", Named, lambda a: bench.choose_step(a.name)),
        "zero": act("Zero the empty pads", Nothing, lambda a: pads.zero()),
        "place": act("Set the virtual car on the pads or take it off", Switch, lambda a: pads.place(a.on)),
        "calibrate": act("Calibrate the pads", Masses, lambda a: pads.calibrate(list(a.masses_g), a.mass_u_g)),
        "weigh": act("Weigh the car on the pads", Placings, lambda a: pads.weigh(a.placings, hands_free=a.hands_free)),
        "cross-target": act("Say which cross weight is wanted", CrossWish, lambda a: bench.want_cross(a.share_pct)),
        "change": act("Say what the change between two set-ups did", TwoRecords, lambda a: changes.compare(a.a, a.b)),
        "weigh-typed": act(
            "Use weights read off other scales",
            TypedWeights,
            lambda a: pads.weigh_typed(list(a.weights_g), a.resolution_g),
        ),
        "push": act("Push and film the virtual car, then measure", Nothing, lambda a: bench.pushes.push()),
        "film": act("Film a push with the camera, then measure", Nothing, lambda a: bench.pushes.film()),
        "typed-pivot": act(
            "Judge a pivot found with a ruler", TypedPivot, lambda a: bench.pushes.judge_typed(a.pivot_pct, a.u_pct)
        ),
        "save-card": act("Save a new version of a card", CardValues, lambda a: bench.save_card(a.kind, dict(a.values))),
        "restore-card": act("Put back a card's last good version", CardKind, lambda a: bench.restore_card(a.kind)),
        "undo": act("Back to the cards before the last save", Nothing, lambda a: bench.undo()),
        "keep-tried": act(
            "Write the springs, bars and height that are tried onto the car card",
            SetupTried,
            lambda a: bench.region.put_on_card(a.meant()),
        ),
        "done": act("The asked step is done", Nothing, answered),
        "stop": act("Stop what is running", Nothing, stopped),
        "first-push": act(
            "First try: push the virtual car", Pin, lambda a: classroom.first_push(a.station_pct, a.side_mm)
        ),
        "guess": act("Answer at the class screen", Guess, guessed),
        "take-back": act("Take the latest guess back", Nothing, lambda a: classroom.take_back()),
        "pupils": act("Say how many will answer", Pupils, lambda a: classroom.set_pupils(a.count)),
        "all-in": act("Close the vote and show it", Nothing, lambda a: classroom.all_in()),
        "second-vote": act("Ask the same question again", Nothing, lambda a: classroom.second_vote()),
        "again": act("Clear the board for the next question", Nothing, lambda a: classroom.again()),
        "reveal": act("Show the answer to the class", Nothing, lambda a: classroom.reveal()),
        "phones": act("Let phones send guesses, or no longer", Switch, lambda a: phones.switch(a.on)),
        "racer-phones": act(
            "Show the big weights on phones and tablets, or no longer", Switch, lambda a: far.switch(a.on)
        ),
        "hidden-start": act("Hide a change under the shell", Nothing, lambda a: hidden.start()),
        "hidden-push": act("Push the car with the secret", HiddenPush, lambda a: hidden.push(a.position_pct)),
        "hidden-reveal": act("Lift the shell", Nothing, lambda a: hidden.reveal()),
    }
