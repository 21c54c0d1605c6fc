"""Keys whose default is nobody's measurement: what stands on the card was measured, what does not is wider.

A length that somebody writes on a card was read off a ruler, and has a ruler's uncertainty unless the card gives one of
its own. The same length left out has the doubt of a thing that nobody looked at: that is the schema's default.
"""

from collections.abc import Mapping
from typing import Any

from msgspec import structs

from analysis.grip.combine import ASSUMED_RATIO_U
from rig.base.plain_json import Json
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.kinds_of_key import (
    MEASURED_BAR_MM_U,
    MEASURED_RADIUS_MM_U,
    UNMEASURED_BAR_MM_U,
)
from rig.cards.leaves import value_at

DOUBT_WHEN_WRITTEN: dict[str, float] = {
    "plate.bar_mm": MEASURED_BAR_MM_U,
    "floor.bar_mm": MEASURED_BAR_MM_U,
    "finger.bar_mm": MEASURED_BAR_MM_U,
    "geometry.wheel_radius_mm": MEASURED_RADIUS_MM_U,
}
"""Dotted key -> standard uncertainty of it, in its unit, where the card has the key and not its `_u`."""


STAND_INS_MM = {"geometry.wheelbase_mm": 257.0, "geometry.track_front_mm": 165.0, "geometry.track_rear_mm": 165.0}
"""Dotted key -> what a new card has before anybody measured a car: the demo's."""
STAND_INS_MM_U = {"geometry.wheelbase_mm": 50.0, "geometry.track_front_mm": 30.0, "geometry.track_rear_mm": 30.0}
"""Standard uncertainty of a stand-in, mm: most cars from 1:12 to 1:8 lie within twice that. From memory, no source."""
OTHER_TYRES_RATIO_U = ASSUMED_RATIO_U
"""Of front over rear grip, relative, where the tyres differ and nobody compared them."""


def is_a_measurement(path: str) -> bool:
    """Whether a key, or its uncertainty, stands on a new card only when somebody measured it."""
    return path.removesuffix("_u") in DOUBT_WHEN_WRITTEN


def stands_without(path: str, given: Mapping[str, Any]) -> bool:
    """Whether a key is left out on a new card: a default is no measurement, and a stand-in has a doubt of its own.

    given: dotted key -> value that the card gets.
    """
    of = path.removesuffix("_u")
    stands_in = of != path and of in STAND_INS_MM and given.get("geometry.sizes") == "not measured"
    return (stands_in or is_a_measurement(path)) and path not in given


def with_doubts_of_what_is_written(plain: Json) -> Json:
    """A card as TOML has it, with the uncertainties of what was measured, or stands in, filled in. The card given stays
    as it is."""
    filled = dict(plain)
    for path in (*DOUBT_WHEN_WRITTEN, *STAND_INS_MM):
        doubt = _doubt_of(path, plain)
        if doubt is not None and value_at(plain, f"{path}_u") is None:
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
    doubt = None if of == path else _doubt_of(of, plain)
    return default if doubt is None else doubt


def _doubt_of(path: str, plain: Json) -> float | None:
    """The standard uncertainty of what stands on a card without one, None for the schema's. plain: as TOML has it."""
    if path in _stand_ins(plain):
        return STAND_INS_MM_U[path]
    return None if value_at(plain, path) is None else DOUBT_WHEN_WRITTEN.get(path)


def _stand_ins(plain: Json) -> tuple[str, ...]:
    """Keys that stand in for a car nobody measured: with a doubt of their own they do not. plain: as TOML has it."""
    if value_at(plain, "geometry.sizes") != "not measured":
        return ()
    tracks_count = value_at(plain, "geometry.contacts_mm") is None
    return tuple(
        path
        for path, value in STAND_INS_MM.items()
        if value_at(plain, path) == value
        and value_at(plain, f"{path}_u") in (None, STAND_INS_MM_U[path])
        and (tracks_count or path == "geometry.wheelbase_mm")
    )


def sizes_not_measured(car: CarCard) -> list[str]:
    """What is said before an answer where wheelbase or tracks stand in for those of a car that nobody measured."""
    stand_ins = _stand_ins({"geometry": structs.asdict(car.geometry)})
    if not stand_ins:
        return []
    figures = ", ".join(f"{path.split('.')[1]} = {STAND_INS_MM[path]:g}" for path in stand_ins)
    return [
        f"Nobody measured {figures}: they came with the card and are very unsure. Write yours, and take sizes = "
        '"not measured" out'
    ]


def sheets_without_ruler(car: CarCard, bench: BenchCard) -> tuple[str, ...]:
    """The printed sheets whose bar nobody measured: "the floor sheets", "the marker plate".

    The marker plate only where it is the printed one: markers of one's own are printed otherwise, but scale with the
    bar too.
    """
    bars = (("the floor sheets", bench.floor.bar_mm_u), ("the marker plate", car.plate.bar_mm_u))
    return tuple(sheet for sheet, doubt in bars if doubt >= UNMEASURED_BAR_MM_U)
