"""Slips of the pen on otherwise good cards, and what on the cards or in the log contradicts each.

A slip is drawn from what people do (unit, factor, sign, order, comma, neighbour key, front and rear exchanged), not
from what the program checks. `against` is worked out from the true car by simple sums here; it is "" where nothing
contradicts.
"""

import copy
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.benchmarks.strange.world import World, card

Rng = np.random.Generator


@dataclass
class Slip:
    """A world with one slip. kind: as counted.  key: where.  against: what contradicts it.  texts: spoilt cards."""

    kind: str
    key: str
    against: str
    world: World
    texts: dict[str, str] = field(default_factory=dict)


def draw_slip(world: World, rng: Rng) -> Slip:
    """A slip on a copy of this world; another kind where the one drawn does not apply to it."""
    while True:
        kind = KINDS[int(rng.integers(len(KINDS)))]
        found = kind(copy.deepcopy(world), rng)
        if found is not None:
            return found


def _of(world: World, key: str) -> dict[str, Any]:
    return next(values for values in (world.car, world.bench, world.test) if key in values)


def _pick(world: World, rng: Rng, keys: list[str]) -> str | None:
    here = [key for key in keys if any(key in values for values in (world.car, world.bench, world.test))]
    return str(rng.choice(here)) if here else None


CAR_LENGTHS = [
    "geometry.wheelbase_mm",
    "geometry.track_front_mm",
    "geometry.track_rear_mm",
    "geometry.cg_height_mm",
    "geometry.wheel_radius_mm",
    "plate.height_mm",
]
SHARES = ["front.drag", "rear.drag", "push.finger_friction", "grip.front", "grip.rear", "grip.ratio_u", "grip.level_u"]


def unit(world: World, rng: Rng) -> Slip | None:
    """Another unit than the key's."""
    which = int(rng.integers(8))
    if which in (0, 1):  # a length of the car in cm, m or inches: the other lengths say otherwise
        key = _pick(world, rng, CAR_LENGTHS)
        assert key is not None
        _of(world, key)[key] = round(_of(world, key)[key] / float(rng.choice([10, 1000, 25.4])), 5)
        return Slip("unit", key, "sizes", world)
    if which == 2:  # all weights in kilograms, newtons, ounces: the size of the car says otherwise
        factor = float(rng.choice([1e-3, 9.80665e-3, 1 / 28.3495]))
        world.test["typed.weights_g"] = [round(one * factor, 4) for one in world.test["typed.weights_g"]]
        return Slip("unit", "typed.weights_g", "size of the car", world)
    if which == 3:
        if "masses.total_g" not in world.car:
            return None
        world.car["masses.total_g"] = round(world.car["masses.total_g"] * float(rng.choice([1e-3, 9.80665e-3])), 4)
        return Slip("unit", "masses.total_g", "weights", world)
    if which == 4:
        key = _pick(world, rng, SHARES)
        assert key is not None
        _of(world, key)[key] = round(100 * _of(world, key)[key], 4)
        return Slip("unit", key, "its meaning", world)
    if which == 5:
        if abs(world.test["push.position_pct"]) > 100 or world.test["push.position_pct"] == 0:
            return None
        world.test["push.position_pct"] = round(world.test["push.position_pct"] / 100, 4)
        return Slip("unit", "push.position_pct", "its meaning", world)
    if which == 6:
        key = str(rng.choice(["push.height_mm", "push.distance_mm"]))
        world.test[key] = round(world.test[key] / float(rng.choice([10, 1000])), 5)
        small = world.test[key] < 1
        return Slip("unit", key, "its meaning" if small else "", world)
    if "masses.parts" not in world.car:
        return None
    part, name = world.car["masses.parts"][0], str(rng.choice(["mass_g", "x_mm"]))
    part[name] = round(part[name] / 1000, 5)
    return Slip("unit", f"masses.parts[].{name}", "its meaning", world)


def factor(world: World, rng: Rng) -> Slip | None:
    """A digit too many or too few, half or double."""
    which = int(rng.integers(4))
    if which == 0:
        key = str(rng.choice(CAR_LENGTHS[:4]))
        by = float(rng.choice([10, 0.1]))
        world.car[key] = round(world.car[key] * by, 3)
        return Slip("factor", key, "sizes", world)
    if which == 1:
        wheel, by = int(rng.integers(4)), float(rng.choice([10, 0.1]))
        world.test["typed.weights_g"][wheel] = round(world.test["typed.weights_g"][wheel] * by, 2)
        return Slip("factor", "typed.weights_g, one wheel", "the other wheels", world)
    if which == 2:  # tracks to the middle
        for axle in ("front", "rear"):
            world.car[f"geometry.track_{axle}_mm"] = round(world.car[f"geometry.track_{axle}_mm"] / 2, 2)
        against = "contacts" if "contacts" in world.known else "body" if "body" in world.known else ""
        return Slip("factor", "both tracks halved", against, world)
    wheel = int(rng.integers(4))  # two digits exchanged, as 412 for 142: only where it matters
    digits = f"{world.test['typed.weights_g'][wheel]:.0f}"
    if len(digits) < 2 or digits[0] == digits[1]:
        return None
    typed, corners = float(digits[1] + digits[0] + digits[2:]), world.test["typed.weights_g"]
    off = abs(typed - corners[wheel]) / sum(corners)
    corners[wheel] = typed
    against = "total" if "total" in world.known else "log" if "log" in world.known else ""
    return Slip("factor", "typed.weights_g, two digits exchanged", against if off > 0.03 else "", world)


def sign(world: World, rng: Rng) -> Slip | None:
    """A minus sign too many or too few."""
    which = int(rng.integers(4))
    if which == 0:
        key = str(rng.choice(CAR_LENGTHS[:4]))
        world.car[key] = -world.car[key]
        return Slip("sign", key, "its meaning", world)
    if which == 1:
        place, length = world.test["push.position_pct"], world.car["geometry.wheelbase_mm"]
        if place <= 0:
            return None
        world.test["push.position_pct"] = -place
        body = world.car.get("geometry.body_rear_mm", 0.35 * length)
        return Slip("sign", "push.position_pct", "body" if place / 100 * length > body + 0.05 * length else "", world)
    if which == 2 and "contacts" in world.known:
        world.car["geometry.contacts_mm"] = [[x, -y] for x, y in world.car["geometry.contacts_mm"]]
        return Slip("sign", "geometry.contacts_mm", "its meaning", world)
    if which == 3 and "masses.parts" in world.car:
        name = str(rng.choice(["mass_g", "x_mm"]))
        world.car["masses.parts"][0][name] *= -1
        return Slip("sign", f"masses.parts[].{name}", "", world)
    return None


def order(world: World, rng: Rng) -> Slip | None:
    """Four wheels in another order than FL FR RL RR; no front and rear, that is its own kind."""
    name, places = ORDERS[int(rng.integers(len(ORDERS)))]
    if rng.random() < 0.5:
        weights = world.test["typed.weights_g"]
        world.test["typed.weights_g"] = [weights[place] for place in places]
        return Slip("order", f"typed.weights_g, {name}", "log" if "log" in world.known else "", world)
    if "contacts" not in world.known:
        return None
    contacts = world.car["geometry.contacts_mm"]
    world.car["geometry.contacts_mm"] = [contacts[place] for place in places]
    return Slip("order", f"geometry.contacts_mm, {name}", "wheelbase", world)


ORDERS = (
    ("clockwise", (0, 1, 3, 2)),
    ("side by side", (0, 2, 1, 3)),
    ("left and right", (1, 0, 3, 2)),
    ("from the rear", (2, 3, 0, 1)),
    ("round from rear left", (2, 0, 1, 3)),
)


def comma(world: World, rng: Rng) -> Slip | None:
    """A decimal comma in a number or in a list."""
    kind = str(rng.choice(["car", "test"]))
    text = card(world, kind)
    found = list(re.finditer(r"(?m)^([\w.]+ = -?\d+)\.(\d+)", text))
    if rng.random() < 0.2 and kind == "test":
        spoilt = re.sub(r"(?m)^(?:typed\.)?weights_g = .*$", lambda m: _all_commas(m.group()), text)
        return Slip("comma", "typed.weights_g", "its meaning", world, {kind: spoilt})
    match = found[int(rng.integers(len(found)))]
    spoilt = text[: match.start()] + f"{match.group(1)},{match.group(2)}" + text[match.end() :]
    return Slip("comma", match.group(1).split(" ")[0], "its meaning", world, {kind: spoilt})


def _all_commas(line: str) -> str:
    key, _, values = line.partition(" = ")
    return f"{key} = {values.replace('.', ',')}"


def neighbour(world: World, rng: Rng) -> Slip | None:
    """Two values in each other's keys."""
    one, other, against = NEIGHBOURS[int(rng.integers(len(NEIGHBOURS)))]
    if one == "masses.parts":
        if one not in world.car:
            return None
        part = world.car[one][0]
        part["mass_g"], part["x_mm"] = part["x_mm"], part["mass_g"]
        length, total = world.car["geometry.wheelbase_mm"], sum(world.test["typed.weights_g"])
        off = part["x_mm"] > 2 * length or part["mass_g"] > total
        return Slip("neighbour", "mass_g and x_mm of a part", "sizes" if off else "", world)
    a = next((v for v in (world.car, world.test) if one in v), None)
    b = next((v for v in (world.car, world.test) if other in v), None)
    if a is None or b is None:
        return None
    before = (a[one], b[other])
    a[one], b[other] = b[other], a[one]
    return Slip("neighbour", f"{one} and {other}", against(world, before), world)


Against = Callable[[World, tuple[float, float]], str]
NEIGHBOURS: tuple[tuple[str, str, Against], ...] = (
    # a track longer than the wheelbase, unless the car is nearly square
    (
        "geometry.wheelbase_mm",
        "geometry.track_front_mm",
        lambda w, v: "contacts" if "contacts" in w.known else "sizes" if v[0] > 1.2 * v[1] else "",
    ),
    (
        "geometry.wheelbase_mm",
        "geometry.track_rear_mm",
        lambda w, v: "contacts" if "contacts" in w.known else "sizes" if v[0] > 1.2 * v[1] else "",
    ),
    (
        "push.position_pct",
        "push.position_pct_u",
        lambda w, v: "its meaning" if v[0] > 30 or v[0] < 0 or v[1] <= 1 else "",
    ),
    ("push.height_mm", "push.distance_mm", lambda w, v: "plate" if v[1] > w.car.get("plate.height_mm", 1e9) else ""),
    ("grip.front", "push.finger_friction", lambda w, v: ""),
    ("grip.ratio_u", "grip.level_u", lambda w, v: ""),
    ("grip.rear", "grip.ratio_u", lambda w, v: "its meaning" if v[0] > 1 or v[1] < 0.02 else ""),
    ("geometry.cg_height_mm", "plate.height_mm", lambda w, v: "sizes"),
    ("geometry.cg_height_mm", "geometry.cg_height_mm_u", lambda w, v: "its meaning"),
    ("masses.parts", "masses.parts", lambda w, v: ""),
)


def axles(world: World, rng: Rng) -> Slip | None:
    """Front and rear exchanged."""
    which = int(rng.integers(5))
    if which == 0:
        weights = world.test["typed.weights_g"]
        world.test["typed.weights_g"] = [*weights[2:], *weights[:2]]
        return Slip("axles", "typed.weights_g", "log" if "log" in world.known else "", world)
    if which == 1:
        if "contacts" not in world.known:
            return None
        contacts = world.car["geometry.contacts_mm"]
        world.car["geometry.contacts_mm"] = [*contacts[2:], *contacts[:2]]
        return Slip("axles", "geometry.contacts_mm", "wheelbase", world)
    if which == 2:
        test = world.test
        test["grip.front"], test["grip.rear"] = test["grip.rear"], test["grip.front"]
        return Slip("axles", "grip", "", world)
    if which == 3:
        if "contacts" not in world.known:
            return None
        length = world.car["geometry.wheelbase_mm"]  # counted from the front axle
        world.car["geometry.contacts_mm"] = [[round(x - length, 1), y] for x, y in world.car["geometry.contacts_mm"]]
        return Slip("axles", "geometry.contacts_mm from the front axle", "wheelbase", world)
    world.test["push.position_pct"] = round(100 - world.test["push.position_pct"], 1)
    return Slip("axles", "push.position_pct from the front axle", "", world)


KINDS: tuple[Callable[[World, Rng], Slip | None], ...] = (unit, factor, sign, order, comma, neighbour, axles)
