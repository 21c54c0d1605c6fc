"""A figure that its key cannot mean is refused, with what it probably should have been. A default is never judged."""

from functools import cache
from typing import Any

from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.cards.keys.all_cards import CARD_TYPES
from rig.cards.keys.fields import CardKeys, sections
from rig.cards.keys.kinds_of_key import Section
from rig.cards.leaves import leaves, value_at
from rig.cards.other_units import likely_meanings, short, unit_of_key
from rig.cards.sizes import BY_KEY, Sizes

SIGNED = ("position_pct", "middle_pct", "x_mm", "tip_ahead_mm", "tip_below_mm", "ax_g", "ay_g", "_c")
"""Ends of keys for which a minus sign means something."""


def refuse_what_cannot_be_meant(plain: Json, card_type: type[Section], where: str) -> None:
    """Raise InputError for the first figure that a key cannot mean, with the likely meaning. plain: as TOML has it."""
    defaults = _defaults(card_type)
    wheelbase = _number(plain, "geometry.wheelbase_mm")
    for path, pattern, value in leaves(plain):
        sizes = BY_KEY.get(pattern)
        if sizes is None or not _is_number(value) or value == defaults.get(pattern):
            continue
        of = {"wheelbase": wheelbase, "value": _value_of(plain, path, defaults)}.get(sizes.of, 1.0)
        if not of:
            continue
        share = abs(value) / abs(of)
        if (value == 0 and sizes.zero) or sizes.above < share <= sizes.most:
            continue
        why = sizes.why.format(of=of, share=share, percent=100 * share)
        raise InputError(
            f"{path} = {value:g} cannot be meant: {why}",
            where=where,
            remedy=likely(path, pattern, value, of=of, wheelbase=wheelbase) or _range_words(path, sizes, of),
        )


def likely(path: str, pattern: str, value: Any, *, of: float = 1.0, wheelbase: float | None = None) -> str:
    """The likely meaning of a figure that its key cannot have, as a question; "" where none is likely.

    path, pattern: the key, with its places in lists and with [] for them.  of: what sizes of this key are shares of.
    wheelbase: mm, where the card has one: for a length it may be the wheelbase that is mistyped.
    """
    sizes = BY_KEY.get(pattern)
    if sizes is None or not _is_number(value):
        return ""
    key = path.rsplit(".", 1)[-1]
    usual = (sizes.usual[0] * abs(of), sizes.usual[1] * abs(of))
    found = list(likely_meanings(float(value), unit_of_key(pattern), usual, signed=pattern.endswith(SIGNED)))[:2]
    if found:
        choices = " or ".join(f"{key} = {short(meant)}" for meant, _ in found)
        looks = " or ".join(name for _, name in found)
        return f"Did you mean {choices}? {short(float(value))} looks like {looks}"
    if sizes.of == "wheelbase" and wheelbase:
        for meant, name in likely_meanings(wheelbase, "mm", BY_KEY["geometry.wheelbase_mm"].usual):
            if sizes.usual[0] <= abs(value) / meant <= sizes.usual[1]:
                return f"Did you mean wheelbase_mm = {short(meant)}? {short(wheelbase)} looks like {name}"
    return ""


def _range_words(path: str, sizes: Sizes, of: float) -> str:
    key = path.rsplit(".", 1)[-1]
    low, high = max(sizes.above, 0.0) * abs(of), sizes.most * abs(of)
    zero = ", or 0" if sizes.zero else ""
    return f"{key} can be {short(low)} to {short(high)}{zero}: check the figure and its unit"


def _value_of(plain: Json, path: str, defaults: CardKeys) -> float | None:
    """What an uncertainty belongs to, as given or as it is left. path: of the uncertainty."""
    bare = path.removesuffix("_u")
    found = _number(plain, bare)
    left: Any = defaults.get(bare)
    return float(left) if found is None and _is_number(left) else found


@cache
def _defaults(card_type: type[Section]) -> CardKeys:
    assert card_type in CARD_TYPES.values()
    return {field.path: field.default for _, _, fields in sections(card_type) for field in fields}


def _number(plain: Json, path: str) -> float | None:
    value = value_at(plain, path)
    return float(value) if _is_number(value) else None


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300
