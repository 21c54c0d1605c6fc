"""Write cards as commented TOML, each key with unit, meaning and default, made from the schema itself."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from rig.base.errors import BenchError, InputError
from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.keys.fields import CardKeys, Field, optional_sections, sections
from rig.cards.keys.kinds_of_key import Section
from rig.cards.left_out import STAND_INS_MM, stands_without

_HEADS = {
    "car": "The car card: one car in one state of set-up. What you do not measure has a default with\n"
    "a wide uncertainty. A value ending in _u is the standard uncertainty (one sigma) of the one above.",
    "bench": "The bench card: pads, floor sheets and camera. Written once.",
    "test": "The test card: one push. It names the other two cards, as paths from the folder it lies in.",
    "phases": "The phases card, only for the moving car: a drift as one phase after another. A left-hand drift has\n"
    "acceleration to the left (positive) and counter-steer to the right (negative). The figures are a first guess\n"
    "from common practice: use your own.",
}

STARTER: dict[str, CardKeys] = {
    "car": {
        "card": "car",
        "name": "Dunlin",
        **STAND_INS_MM,
    },
    "bench": {"card": "bench", "name": "Workshop bench"},
    "test": {"card": "test", "name": "middle, right side"},
    "phases": {
        "card": "phases",
        "name": "left-hand drift",
        "phases": [
            {"name": "approach", "ax_g": 0.15, "ay_g": 0.0, "steer_deg": 0.0, "duration_s": 0.8},
            {
                "name": "initiation",
                "ax_g": -0.25,
                "ay_g": 0.35,
                "steer_deg": 12.0,
                "driven_grip_spent": 0.95,
                "duration_s": 0.3,
            },
            {
                "name": "hold",
                "ax_g": 0.05,
                "ay_g": 0.5,
                "steer_deg": -18.0,
                "driven_grip_spent": 0.95,
                "duration_s": 1.2,
            },
            {
                "name": "transition",
                "ax_g": 0.0,
                "ay_g": -0.45,
                "steer_deg": 15.0,
                "driven_grip_spent": 0.3,
                "duration_s": 0.5,
            },
            {"name": "exit", "ax_g": 0.25, "ay_g": -0.1, "steer_deg": 3.0, "duration_s": 0.7},
        ],
    },
}

EXAMPLES: CardKeys = {"chassis.front.spring_n_per_mm": 2.5, "chassis.rear.spring_n_per_mm": 2.3}
"""Keys without a default in a section that may be left out: figures with which its block can be uncommented whole."""


def card_text(kind: str, values: CardKeys | None = None, *, head: str = "") -> str:
    """The commented TOML text of a card.

    kind: "car", "bench", "test" or "phases".  values: dotted key -> value, instead of the starter's and the defaults';
    a card gets an id only when one is among them (`rig.cards.identity.new_id`).
    """
    given = STARTER[kind] | dict(values or {})
    lines = [f"# {line}" for line in (head or _HEADS[kind]).splitlines()]
    optional = optional_sections(_type_of(kind))
    for section, meaning, fields in sections(_type_of(kind)):
        absent = section in optional and not any(key.startswith(section + ".") for key in given)
        values = EXAMPLES | given if absent else given
        block = [f"[{section}]  # {meaning}"] if section else []
        block += [key_line(field, values) for field in fields if not isinstance(_value(field, values), list)]
        for field in fields:
            if isinstance(value := _value(field, values), list):
                block += _rows(field, value)
        if absent:  # what is left out within it stays so when all of it is uncommented
            block = [f"# {line}" for line in block]
        lines += ["", *block]
    return "\n".join(lines) + "\n"


def write_card_files(folder: Path, texts: Mapping[str, str]) -> list[Path]:
    """Write cards into a folder, each under the name of its kind. Raises InputError for a card that is there already,
    BenchError where the place refuses."""
    paths = {kind: folder / f"{kind}.toml" for kind in texts}
    refuse_to_overwrite(paths.values())
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for kind, path in paths.items():
            path.write_text(texts[kind], encoding="utf-8")
    except OSError as error:
        raise BenchError(
            f"cannot write the cards ({error.strerror})",
            where=str(folder),
            remedy="Name a folder that you may write to, on a disk with room",
        ) from error
    return list(paths.values())


def refuse_to_overwrite(paths: Iterable[Path]) -> None:
    """Raise InputError for the first of these files that exists."""
    for path in paths:
        if path.exists():
            raise InputError(
                "there is a card already",
                where=str(path),
                remedy="Name another folder, or move this card away first",
            )


def _type_of(kind: str) -> type[Section]:
    return CARD_TYPES[kind]


def _value(field: Field, given: CardKeys) -> Any:
    return given.get(field.path, field.default)


def key_line(field: Field, given: CardKeys, *, inside: str | None = None, remark: str = "") -> str:
    """A key with its value, or as a comment where it has none, and what it means.

    given: dotted key -> value.  inside: the section it stands in, when that may be another than its own: its name is
    then whole.  remark: what else is to be said of it.
    """
    own, _, last = field.path.rpartition(".")
    key = last if inside is None or inside == own else field.path
    value = _value(field, given)
    left_out = value is None or (field.path == "id" and not value) or stands_without(field.path, given)
    text = f"# {key} =" if left_out else f"{key} = {_toml(value)}"
    example = "an example: write yours" if value is not None and value is EXAMPLES.get(field.path) else ""
    note = "; ".join(filter(None, [field.unit, field.meaning, _choice_note(field), example, remark]))
    return f"{text:<34} # {note}" if note else text


def _choice_note(field: Field) -> str:
    return " | ".join(field.choices) if len(field.choices) > 1 else ""


def _rows(field: Field, rows: list[Any]) -> list[str]:
    """A list: of tables as [[…]] blocks, of plain values on one line; an empty one as a remark."""
    key = field.path.rsplit(".", 1)[-1]
    if not rows:
        return [f"# [[{field.path}]] may follow: {field.meaning}"]
    if not isinstance(rows[0], dict):
        return [f"{key} = {_toml(rows)}"]
    lines = []
    for row in rows:
        lines += [f"[[{field.path}]]", *(f"{name} = {_toml(value)}" for name, value in row.items())]
    return lines


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
        return f'"{escaped}"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(inner) for inner in value) + "]"
    return repr(value)
