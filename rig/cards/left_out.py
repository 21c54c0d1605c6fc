"""Keys whose default is nobody's measurement: what stands on the card was measured, what does not is wider.

A length that somebody writes on a card was read off a ruler, and has a ruler's uncertainty unless the card gives one of
its own. The same length left out has the doubt of a thing that nobody looked at: that is the schema's default.
"""

from typing import Any

from analysis.grip.combine import ASSUMED_RATIO_U
from rig.base.plain_json import Json
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.kinds_of_key import MEASURED_BAR_MM_U, UNMEASURED_BAR_MM_U
from rig.cards.leaves import value_at

DOUBT_WHEN_WRITTEN: dict[str, float] = {
    "plate.bar_mm": MEASURED_BAR_MM_U,
    "floor.bar_mm": MEASURED_BAR_MM_U,
    "finger.bar_mm": MEASURED_BAR_MM_U,
}
"""Dotted key -> standard uncertainty of it, in its unit, where the card has the key and not its `_u`."""


OTHER_TYRES_RATIO_U = ASSUMED_RATIO_U
"""Of front over rear grip, relative, where the tyres differ and nobody compared them."""


def is_a_measurement(path: str) -> bool:
    """Whether a key, or its uncertainty, stands on a new card only when somebody measured it."""
    return path.removesuffix("_u") in DOUBT_WHEN_WRITTEN


def with_doubts_of_what_is_written(plain: Json) -> Json:
    """A card as TOML has it, with the uncertainties of what was measured filled in. The card given stays as it is."""
    filled = dict(plain)
    for path, doubt in DOUBT_WHEN_WRITTEN.items():
        if value_at(plain, path) is not None and value_at(plain, f"{path}_u") is None:
            section, key = path.split(".")
            filled[section] = filled[section] | {f"{key}_u": doubt}
    if value_at(plain, "grip.same_tyres") is False and value_at(plain, "grip.ratio_u") is None:
        filled["grip"] = filled["grip"] | {"ratio_u": OTHER_TYRES_RATIO_U}
    return filled


def taken_without(path: str, default: Any, plain: Json) -> Any:
    """What counts where a card lacks a key. default: the schema's.  plain: the card as TOML has it."""
    if path == "grip.ratio_u" and value_at(plain, "grip.same_tyres") is False:
        return OTHER_TYRES_RATIO_U
    of = path.removesuffix("_u")
    if of == path or of not in DOUBT_WHEN_WRITTEN:
        return default
    return default if value_at(plain, of) is None else DOUBT_WHEN_WRITTEN[of]


def sheets_without_ruler(car: CarCard, bench: BenchCard) -> tuple[str, ...]:
    """The printed sheets whose bar nobody measured: "the floor sheets", "the marker plate".

    The marker plate only where it is the printed one: markers of one's own are printed otherwise, but scale with the
    bar too.
    """
    bars = (("the floor sheets", bench.floor.bar_mm_u), ("the marker plate", car.plate.bar_mm_u))
    return tuple(sheet for sheet, doubt in bars if doubt >= UNMEASURED_BAR_MM_U)
