"""What a grip factor was found under, and what differs between two tests."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class GripNotes:
    """Kept with every grip factor. None or "" means that nobody noted it.

    runs: runs on this set of tyres.  treatment: additive or cleaning agent, "" for none noted;
    treatment_minutes: how long it stood.  rest_minutes: time since the last push on this spot.
    Temperatures in °C, humidity in per cent.
    """

    compound: str = ""
    runs: int | None = None
    cleaning: str = ""
    treatment: str = ""
    treatment_minutes: float | None = None
    surface: str = ""
    dust: str = ""
    floor_temperature_c: float | None = None
    air_temperature_c: float | None = None
    humidity_pct: float | None = None
    rest_minutes: float | None = None


# How far two tests may differ before it is said (common practice, no source).
_NUMBERS: tuple[tuple[str, str, str, float], ...] = (
    ("floor_temperature_c", "floor temperature", " °C", 3.0),
    ("air_temperature_c", "air temperature", " °C", 5.0),
    ("humidity_pct", "humidity", " %", 15.0),
    ("treatment_minutes", "time the treatment stood", " min", 5.0),
    ("runs", "runs on the tyres", "", 2.0),
    ("rest_minutes", "time since the last push", " min", 5.0),
)
_WORDS: tuple[tuple[str, str], ...] = (
    ("compound", "compound"),
    ("surface", "surface"),
    ("cleaning", "cleaning"),
    ("treatment", "treatment"),
    ("dust", "dust"),
)


def differences(a: GripNotes, b: GripNotes) -> tuple[str, ...]:
    """Sentences that warn of what differs between two tests; what only one of them noted is said too."""
    sentences = []
    for key, name in _WORDS:
        first, second = getattr(a, key).strip(), getattr(b, key).strip()
        if first.casefold() != second.casefold():
            sentences.append(_sentence(name, first or None, second or None, ""))
    for key, name, unit, limit in _NUMBERS:
        one, other = getattr(a, key), getattr(b, key)
        if (one is None) != (other is None) or (one is not None and abs(one - other) > limit):
            sentences.append(_sentence(name, one, other, unit))
    return tuple(sentences)


def _sentence(name: str, first: object, second: object, unit: str) -> str:
    words = [
        f"{one:g}{unit}" if isinstance(one, int | float) else f'"{one}"' for one in (first, second) if one is not None
    ]
    if len(words) < 2:
        return f"{name}: noted in one test only ({words[0]})"
    return f"{name} differs: {words[0]} and {words[1]}"
