"""Who a card is: the id it was made with, the part of its content that matters, and what differs between two of them.

A card made by the program carries an id of eight letters; one without is known by its name and content. A copied card
keeps the id, which is the normal way to make the next one: so an id alone never says that two cards are the same,
their content does. Comments, notes, the order of keys and the file's name never matter.
"""

import math
import random
import string
from collections.abc import Iterable
from typing import Any

from rig.base.plain_json import Json
from rig.cards.keys.all_cards import plain_card
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.fields import unit_of
from rig.cards.keys.test import TestCard

ID_LETTERS = 8
CORRECTED = 3.0
"""Two lengths closer than this many standard uncertainties of their difference are one length, measured again."""

CAR_STATE = ("name", "masses.total_g", "geometry.contacts_mm")
"""Keys of the car card that change what a weighing is of, compared as they stand; lengths and parts besides."""
CAR_LENGTHS = (
    "geometry.wheelbase_mm",
    "geometry.track_front_mm",
    "geometry.track_rear_mm",
    "geometry.wheel_radius_mm",
)
BENCH_WIRING = (
    "name",
    "pads.ports",
    "pads.line_pattern",
    "pads.unit",
    "pads.decimal_mark",
    "pads.pad_names",
)
"""Keys of the bench card that change which pad a count comes from, or what a count is. A port's name is where the
cable is plugged in today; `pads.wheels` says what stands on a pad, not which pad it is."""
TEST_PUSH = (
    "name",
    "push.position_pct",
    "push.side",
    "push.height_mm",
    "push.finger",
    "push.finger_path",
    "push.finger_friction",
    "push.wheels",
    "push.distance_mm",
    "typed.weights_g",
)
CORRECTABLE = ("push.", "geometry.", "front.", "rear.", "masses.", "plate.", "floor.", "finger.", "force.")
"""Beginnings of keys that a figure may rest on, of all cards."""
SHEETS = ("plate.", "floor.")
TEST_SUBJECT = (
    "conditions.compound_front",
    "conditions.compound_rear",
    "conditions.surface",
    "conditions.treatment",
)
"""What was pushed on what: filled in later it completes the card, otherwise it must agree."""


def new_id(rng: random.Random | None = None) -> str:
    """An id for a new card: eight small letters. rng: for tests and demonstrations that must come out the same."""
    draw = random.SystemRandom() if rng is None else rng
    return "".join(draw.choice(string.ascii_lowercase) for _ in range(ID_LETTERS))


def same_id(a: CarCard | BenchCard | TestCard, b: CarCard | BenchCard | TestCard) -> bool:
    """Whether two cards may be one: by their ids where both have one, otherwise by their names."""
    if a.id and b.id:
        return a.id == b.id
    return _text(a.name) == _text(b.name)


def car_changes(before: CarCard, now: CarCard) -> list[str]:
    """What differs between two states of a car, of what a weighing depends on: "rear ballast 0 → 80 g".

    Lengths measured again within their uncertainties are no change.
    """
    changes = _changes(before, now, CAR_STATE)
    old, new = _flat(before), _flat(now)
    for key in CAR_LENGTHS:
        if before.geometry.contacts_mm is not None and "track" in key:
            continue  # the contacts say it
        if not _measured_again(key, old, new):
            changes.append(_change(key, old[key], new[key]))
    return changes + _part_changes(before, now)


def bench_changes(before: BenchCard, now: BenchCard) -> list[str]:
    """What differs between two bench cards, of what a calibration or a zero depends on."""
    changes = _changes(before, now, BENCH_WIRING)
    ports = (before.pads.ports, now.pads.ports)
    if ports[0] and ports[1] and sorted(ports[0]) != sorted(ports[1]):
        # other device names after plugging in again: which pad is which cannot be told from them
        changes = [one for one in changes if not one.startswith("ports ")]
    return changes


def test_changes(before: TestCard, now: TestCard) -> list[str]:
    """What differs between two test cards, of what a push depends on.

    Tyres, surface and weights that one of them leaves out are no difference: see `completed`.
    """
    old, new = _flat(before), _flat(now)
    keys = [key for key in TEST_PUSH if key != "typed.weights_g" or (old.get(key) and new.get(key))]
    return _changes(before, now, keys) + subjects_differ(before, now)


def subjects_differ(before: TestCard, now: TestCard) -> list[str]:
    """What differs between two test cards in tyres, floor and treatment; what one leaves out is no difference."""
    old, new = _flat(before), _flat(now)
    return [
        _change(key, old[key], new[key])
        for key in TEST_SUBJECT
        if _text(old[key]) and _text(new[key]) and _text(old[key]) != _text(new[key])
    ]


def completed(before: TestCard, now: TestCard) -> list[str]:
    """Tyres, surface and treatment that only one of two test cards states."""
    old, new = _flat(before), _flat(now)
    return [_change(key, old[key], new[key]) for key in TEST_SUBJECT if bool(_text(old[key])) != bool(_text(new[key]))]


def corrected(before: TestCard | CarCard | BenchCard, now: TestCard | CarCard | BenchCard) -> list[str]:
    """What differs between two cards apart from names, notes and pictures: for a sentence, not for identity."""
    old, new = _flat(before), _flat(now)
    keys = [key for key in (*old, *new) if key.startswith(CORRECTABLE)]
    keys = [key for key in dict.fromkeys(keys) if ".body_" not in key and key != "masses.parts"]
    keys = [key for key in keys if not (key.startswith(SHEETS) and _measured_again(key, old, new))]
    parts = _part_changes(before, now) if isinstance(before, CarCard) and isinstance(now, CarCard) else []
    return _changes(before, now, keys) + parts


def changes_in_words(changes: Iterable[str], *, most: int = 4) -> str:
    """Changes as one phrase."""
    listed = list(changes)
    return ", ".join(listed[:most]) + (f" and {len(listed) - most} more" if len(listed) > most else "")


def _measured_again(key: str, old: Json, new: Json) -> bool:
    """Whether a length, or the uncertainty of one, is another only within the uncertainties stated on both cards."""
    bare = key.removesuffix("_u")
    sizes = [values.get(name) for values in (old, new) for name in (bare, f"{bare}_u")]
    if not all(isinstance(size, int | float) for size in sizes):
        return False
    before, before_u, now, now_u = map(float, sizes)  # type: ignore[arg-type]
    return abs(before - now) <= CORRECTED * math.hypot(before_u, now_u) + 1e-9


def _changes(before: Any, now: Any, keys: Iterable[str]) -> list[str]:
    old, new = _flat(before), _flat(now)
    return [_change(key, old.get(key), new.get(key)) for key in keys if not _alike(old.get(key), new.get(key))]


def _part_changes(before: CarCard, now: CarCard) -> list[str]:
    """Ballast and other parts: mass by name, then place."""
    changes = []
    old = {_text(part.name): part for part in before.masses.parts}
    new = {_text(part.name): part for part in now.masses.parts}
    if len(old) < len(before.masses.parts) or len(new) < len(now.masses.parts):  # two of one name
        same = sorted(map(repr, before.masses.parts)) == sorted(map(repr, now.masses.parts))
        return [] if same else ["masses.parts differ"]
    for name in dict.fromkeys([*old, *new]):
        a, b = old.get(name), new.get(name)
        shown = (a or b).name  # type: ignore[union-attr]
        mass = (a.mass_g if a else 0.0, b.mass_g if b else 0.0)
        if mass[0] != mass[1]:
            changes.append(f"{shown} {mass[0]:g} → {mass[1]:g} g")
        elif a is not None and b is not None and (a.x_mm, a.y_mm) != (b.x_mm, b.y_mm):
            changes.append(f"{shown} at {a.x_mm:g}, {a.y_mm:g} → {b.x_mm:g}, {b.y_mm:g} mm")
    return changes


def _flat(card: Any) -> Json:
    """Dotted key -> value, defaults filled in."""
    found: Json = {}

    def walk(plain: Json, prefix: str) -> None:
        for key, value in plain.items():
            if isinstance(value, dict):
                walk(value, f"{prefix}{key}.")
            else:
                found[f"{prefix}{key}"] = value

    walk(plain_card(card), "")
    return found


def _alike(a: Any, b: Any) -> bool:
    if isinstance(a, str) and isinstance(b, str):
        return _text(a) == _text(b)
    return bool(a == b)


def _text(text: str) -> str:
    return " ".join(text.split()).casefold()


def _change(key: str, before: Any, now: Any) -> str:
    unit = unit_of(key)
    return f"{key.rsplit('.', 1)[-1]} {_shown(before)} → {_shown(now)}{f' {unit}' if unit else ''}"


def _shown(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list | tuple) and not all(isinstance(one, int | float) for one in value):
        return f"{len(value)} entries"
    return f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
