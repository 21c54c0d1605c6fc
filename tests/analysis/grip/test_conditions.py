"""When two tests differ enough to be told, at each limit from either side (the limits: common practice, no source)."""

from dataclasses import fields, replace

import pytest

from analysis.grip.conditions import GripNotes, differences

NUMBERS = [
    ("floor_temperature_c", 3.0, "floor temperature", " °C"),
    ("air_temperature_c", 5.0, "air temperature", " °C"),
    ("humidity_pct", 15.0, "humidity", " %"),
    ("treatment_minutes", 5.0, "time the treatment stood", " min"),
    ("runs", 2, "runs on the tyres", ""),
    ("rest_minutes", 5.0, "time since the last push", " min"),
]
WORDS = ["compound", "surface", "cleaning", "treatment", "dust"]


@pytest.mark.parametrize(("key", "limit", "name", "unit"), NUMBERS)
def test_a_number_may_differ_by_its_limit(key: str, limit: float, name: str, unit: str) -> None:
    base = replace(GripNotes(), **{key: 20})
    for sign in (1, -1):
        assert differences(base, replace(base, **{key: 20 + sign * limit})) == ()
        far = 20 + sign * (limit + 1)
        assert differences(base, replace(base, **{key: far})) == (f"{name} differs: 20{unit} and {far:g}{unit}",)
    said = f"{name}: noted in one test only (20{unit})"
    assert differences(base, GripNotes()) == differences(GripNotes(), base) == (said,)


@pytest.mark.parametrize("key", WORDS)
def test_words_are_compared_without_case_and_spaces(key: str) -> None:
    base = replace(GripNotes(), **{key: "Foam 40"})
    assert differences(base, replace(base, **{key: " foam 40 "})) == ()
    assert differences(base, replace(base, **{key: "foam 32"})) == (f'{key} differs: "Foam 40" and "foam 32"',)
    assert differences(GripNotes(), base) == (f'{key}: noted in one test only ("Foam 40")',)


def test_every_note_is_compared_and_none_is_taken_for_granted() -> None:
    assert {one.name for one in fields(GripNotes)} == {key for key, *_ in NUMBERS} | set(WORDS)
    assert differences(GripNotes(), GripNotes()) == ()
    everything = replace(GripNotes(), **{key: 1 for key, *_ in NUMBERS}, **dict.fromkeys(WORDS, "x"))
    assert len(differences(GripNotes(), everything)) == len(NUMBERS) + len(WORDS)
