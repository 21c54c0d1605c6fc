"""The short cards of a new bench: the eight things a first test needs, asked or given; every other key has its default.

Comments, units and ranges come from the schema, as they do on the long cards.
"""

import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from rig.base.errors import InputError
from rig.cards.identity import new_id
from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.keys.fields import CardKeys, Field, sections
from rig.cards.left_out import STAND_INS_MM
from rig.cards.template import card_text, key_line
from rig.cards.toml_slips import number_in_text
from rig.cards.written.edited import checked_card

SHORT_KINDS = ("car", "bench", "test")
REST = "Every other key has a default: pivotbench new --keys lists them all."
_HEADS = {
    "car": "The car card: one car in one state of set-up.",
    "bench": "The bench card: pads and floor sheets, written once.",
    "test": "The test card: one push. Copy it for the next one.",
}
_REMARKS = {
    "push.wheels": 'rolling freely: "as on the car card"',
    "typed.weights_g": "what kitchen scales say, instead of pads",
    "clip": "the film, beside this card",
}
_AS_DEFAULT = (
    "plate.height_mm",
    "push.height_mm",
    "clip",
    "typed.weights_g",
    "typed.weights_scales",
    "grip.same_tyres",
)
"""Keys that stand on a short card as a comment: with their default, where the marker plate asks for the one and a push
that was not low for the other, or with an example."""
_EXAMPLES: CardKeys = {
    "clip": "push.mp4",
    "typed.weights_g": [410, 395, 420, 405],
    "typed.weights_scales": "one scale",
    "grip.same_tyres": False,
}
_IF_NOT_MEASURED = ("geometry.sizes", *(f"{key}_u" for key in STAND_INS_MM))
"""Keys that stand on a short card only where some of the car's sizes were not measured."""
_SHORT_KEYS: dict[str, dict[str, tuple[str, ...]]] = {
    "car": {
        "": ("card", "name", "id"),
        "geometry": (*(f"{key}{u}" for key in STAND_INS_MM for u in ("", "_u")), "geometry.sizes"),
        "plate": ("plate.bar_mm", "plate.height_mm"),
    },
    "bench": {"": ("card", "name", "id"), "pads": ("pads.port",), "floor": ("floor.paper", "floor.bar_mm")},
    "test": {
        "": (
            "card",
            "name",
            "id",
            "car",
            "bench",
            "clip",
            "typed.weights_g",
            "typed.weights_scales",
            "grip.same_tyres",
        ),
        "push": ("push.position_pct", "push.side", "push.wheels", "push.height_mm"),
    },
}
"""Card -> section -> its keys. A key of another section stands at the top by its whole name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstThing:
    """One of the eight.

    name: of the command's option and of its answer.  question: what is asked, unit included.  keys: (card, dotted key)
    that it goes to.  default: what counts until somebody says otherwise, None for "not measured"; the default of
    `like` where that one was answered.  choices: what is said -> what the card has; empty for a number or a text.
    to_measure: whether the default only stands in for a figure of the person's own car.
    """

    name: str
    question: str
    keys: tuple[tuple[str, str], ...]
    default: float | str | None
    like: str = ""
    choices: dict[str, str] = field(default_factory=dict)
    to_measure: bool = False

    @property
    def is_text(self) -> bool:
        """Whether anything may be said, not a number."""
        return isinstance(self.default, str) and not self.choices

    def read(self, typed: str) -> float | str | None:
        """What was typed, as the card has it; None for nothing typed. Raises InputError with the likely meaning."""
        answer = typed.strip()
        if not answer:
            return None
        if self.choices:
            if answer.lower() not in self.choices:
                raise InputError(
                    f'"{answer[:40]}" is none of them', where=self.name, remedy="Say " + " or ".join(self.choices)
                )
            return self.choices[answer.lower()]
        if self.is_text:
            return answer
        try:
            return float(answer)
        except ValueError:
            likely = number_in_text(answer)
            raise InputError(
                f'"{answer[:40]}" is not a number',
                where=self.name,
                remedy=f"Did you mean {likely}?" if likely else "Say a number with a decimal point, without its unit",
            ) from None


FIRST_THINGS: tuple[FirstThing, ...] = (
    FirstThing(name="name", question="Name of the car", keys=(("car", "name"),), default="my car"),
    FirstThing(
        name="wheelbase",
        question="Wheelbase, front axle to rear axle, mm",
        keys=(("car", "geometry.wheelbase_mm"),),
        default=STAND_INS_MM["geometry.wheelbase_mm"],
        to_measure=True,
    ),
    FirstThing(
        name="track-front",
        question="Front track, between the middles of the two tyre prints, mm",
        keys=(("car", "geometry.track_front_mm"),),
        default=STAND_INS_MM["geometry.track_front_mm"],
        to_measure=True,
    ),
    FirstThing(
        name="track-rear",
        question="Rear track, the same way, mm",
        keys=(("car", "geometry.track_rear_mm"),),
        default=STAND_INS_MM["geometry.track_rear_mm"],
        like="track-front",
        to_measure=True,
    ),
    FirstThing(
        name="bar",
        question="Printed 100 mm bar on the sheets, by ruler, mm",
        keys=(("car", "plate.bar_mm"), ("bench", "floor.bar_mm")),
        default=None,
    ),
    FirstThing(
        name="wheels",
        question="Wheels during the push, blocked or free",
        keys=(("test", "push.wheels"),),
        default="blocked",
        choices={"blocked": "blocked", "free": "as on the car card"},
    ),
    FirstThing(
        name="position",
        question="Where you push, % of the wheelbase ahead of the rear axle",
        keys=(("test", "push.position_pct"),),
        default=50.0,
    ),
    FirstThing(
        name="side",
        question="Side of the car that the finger touches, left or right",
        keys=(("test", "push.side"),),
        default="right",
        choices={"left": "left", "right": "right"},
    ),
)
"""What a first test needs, in the order in which it is asked."""

Answers = Mapping[str, float | str | None]
"""Name of a first thing -> what was said, as the card has it; left out or None: nothing was."""


def default_of(thing: FirstThing, answers: Answers) -> float | str | None:
    """What counts of a thing when nothing is said of it."""
    like = answers.get(thing.like) if thing.like else None
    return thing.default if like is None else like


def first_texts(answers: Answers, *, all_keys: bool = False, rng: random.Random | None = None) -> dict[str, str]:
    """The texts of the three cards, all checked; with all_keys every key stands on them, and the phases card is there.

    rng: for the ids, where they must come out the same.  Raises InputError for an answer that cannot be meant.
    """
    values = card_values(answers)
    texts = {}
    for kind in SHORT_KINDS:
        own = {"id": new_id(rng)} | values[kind]
        texts[kind] = card_text(kind, own) if all_keys else short_card_text(kind, own, to_fill_in(answers))
    for kind, text in texts.items():
        checked_card(kind, text, where=f"the new {kind} card")
    return texts | ({"phases": card_text("phases")} if all_keys else {})


def card_values(answers: Answers) -> dict[str, CardKeys]:
    """Card -> dotted key -> value: what was said, and the defaults of the eight; a bar only when it was measured."""
    values: dict[str, CardKeys] = {kind: {} for kind in SHORT_KINDS}
    for thing in FIRST_THINGS:
        answer = answers.get(thing.name)
        value = default_of(thing, answers) if answer is None else answer
        if value is not None:
            for kind, key in thing.keys:
                values[kind][key] = value
    push = values["test"]
    where = "middle" if push["push.position_pct"] == 50.0 else f"{push['push.position_pct']:g} %"
    values["test"]["name"] = f"{where}, {push['push.side']} side"
    values["bench"]["name"] = "my bench"
    if unmeasured := _unmeasured(answers):
        values["car"]["geometry.sizes"] = "not measured"
        # somebody's car may really have the size that a new card has
        fields = {one.path: one for _, _, some in sections(CARD_TYPES["car"]) for one in some}
        alike = [key for key, value in STAND_INS_MM.items() if key not in unmeasured and values["car"][key] == value]
        values["car"] |= {f"{key}_u": fields[f"{key}_u"].default for key in alike}
    return values


def to_fill_in(answers: Answers) -> dict[str, float]:
    """Dotted key -> stand-in: figures of the person's own car that nobody gave."""
    car = card_values(answers)["car"]
    return {key: car[key] for key in _unmeasured(answers)}


def _unmeasured(answers: Answers) -> tuple[str, ...]:
    """Dotted keys of the car card that nobody gave and somebody has to measure."""
    return tuple(
        key for thing in FIRST_THINGS if thing.to_measure and answers.get(thing.name) is None for _, key in thing.keys
    )


def short_card_text(kind: str, values: CardKeys, unmeasured: Mapping[str, float] | None = None) -> str:
    """The TOML text of a card with what a first test needs, a comment on each line.

    kind: "car", "bench" or "test".  values: dotted key -> value; a key of the short card that has none stands there as
    a remark.  unmeasured: keys whose value is a stand-in, which their lines say.
    """
    fields: dict[str, Field] = {one.path: one for _, _, own in sections(CARD_TYPES[kind]) for one in own}
    lines = [f"# {_HEADS[kind]}", f"# {REST}"]
    for section, keys in _SHORT_KEYS[kind].items():
        lines += ["", *([f"[{section}]"] if section else [])]
        for key in keys:
            if key in _IF_NOT_MEASURED and key not in values:
                continue
            remark = "not measured yet: write yours" if key in (unmeasured or {}) else _REMARKS.get(key, "")
            example = {key: value for key, value in _EXAMPLES.items() if key in fields and key not in values}
            line = key_line(fields[key], {"card": kind} | example | values, inside=section, remark=remark)
            lines.append(f"# {line}" if key in _AS_DEFAULT and key not in values else line)
    return "\n".join(lines) + "\n"
