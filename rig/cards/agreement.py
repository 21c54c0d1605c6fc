"""Figures of one car that contradict each other: refused where both cannot be, told first where they may be.

A card is judged by itself when it is read (`refuse_contradictions`); what two cards say of one push, and what is odd
but possible, becomes notes that stand before the answer (`notes_on`).
"""

import itertools
from collections.abc import Iterator

import numpy as np

from analysis.base.arrays import FloatArray
from rig.base.errors import InputError
from rig.cards.keys.all_cards import AnyCard
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard, Geometry, Plate
from rig.cards.keys.phases import PhasesCard
from rig.cards.keys.test import Push, TestCard
from rig.cards.left_out import STAND_INS_MM
from rig.cards.lens import refuse_lens
from rig.cards.other_units import OTHER_UNITS, likely_meanings, short
from rig.cards.sizes import BY_KEY

LENGTH_OFF = 0.05
"""Contacts and wheelbase further apart than this share of it are of two cars; nearer, one of them is badly measured."""
DENSITY = (4e-6, 3e-3)
"""g per cubed mm of wheelbase of any scale car. Kits from 1:64 die-cast to 1:5 and long trucks lie between 2e-5
(cardboard, long trucks) and 1e-3 (die-cast); from memory, no source."""
USUAL_DENSITY = (2e-5, 4e-4)
"""g per cubed mm, where a likely meaning is looked for."""
OVERHANG = 0.3
"""Body beyond an axle, per wheelbase, where the card says only what pictures are drawn with."""
USUAL_SIZES, USUAL_PLATE = (
    Geometry(
        wheelbase_mm=STAND_INS_MM["geometry.wheelbase_mm"],
        track_front_mm=STAND_INS_MM["geometry.track_front_mm"],
        track_rear_mm=STAND_INS_MM["geometry.track_rear_mm"],
    ),
    Plate(),
)
"""What a card has where nobody wrote a figure: such a one says nothing against another."""


def refuse_contradictions(card: AnyCard, where: str) -> None:
    """Raise InputError where figures of one card cannot all be meant."""
    if isinstance(card, CarCard):
        _refuse_contacts(card.geometry, where)
        _refuse_tracks(card.geometry, where)
        _refuse_parts(card, where)
        if card.masses.total_g is not None:
            refuse_mass(card.masses.total_g, card.geometry.wheelbase_mm, "masses.total_g", where)
    elif isinstance(card, TestCard):
        _refuse_typed(card, where)
    elif isinstance(card, BenchCard):
        refuse_lens(card, where)
    elif isinstance(card, PhasesCard):
        _refuse_steer(card, where)


LEAST_OF_OTHER_TYRES = 0.1
"""ratio_u below which tyres that differ would have been compared."""


def notes_on(car: CarCard, test: TestCard) -> list[str]:
    """What two cards, or two keys of one, say against each other although each may be meant: both sides, for people."""
    return [*_odd_car(car), *_odd_push(car, test.push), *_odd_tyres(test)]


def _odd_tyres(test: TestCard) -> list[str]:
    """Tyres that differ, taken to grip alike although nobody compared them."""
    grip, tyres = test.grip, test.conditions
    if grip.measured or grip.ratio_u >= LEAST_OF_OTHER_TYRES:
        return []
    front, rear = (" ".join(one.split()) for one in (tyres.compound_front, tyres.compound_rear))
    taken = f"are taken to grip alike within {200 * grip.ratio_u:.0f} %, and nobody measured that"
    if not grip.same_tyres:
        return [f"same_tyres = false, but with ratio_u = {grip.ratio_u:g} front and rear {taken}: take ratio_u out"]
    if front and rear and front.casefold() != rear.casefold():
        return [f'"{front}" in front and "{rear}" at the rear {taken}: write same_tyres = false under [grip]']
    return []


def refuse_mass(total_g: float, length: float, key: str, where: str) -> None:
    """Raise InputError when a car cannot weigh so much or so little. total_g: g.  length: mm, its wheelbase."""
    low, high = (limit * length**3 for limit in DENSITY)
    if low < total_g < high:
        return
    usual = (USUAL_DENSITY[0] * length**3, USUAL_DENSITY[1] * length**3)
    hints = [f"{short(meant)} g ({name})" for meant, name in likely_meanings(total_g, "g", usual)]
    for meant, name in likely_meanings(length, "mm", BY_KEY["geometry.wheelbase_mm"].usual):
        if USUAL_DENSITY[0] < total_g / meant**3 < USUAL_DENSITY[1]:
            hints.append(f"a wheelbase of {short(meant)} mm ({name})")
    raise InputError(
        f"{key}: {total_g:g} g in all cannot be meant for a car with a wheelbase of {length:g} mm",
        where=where,
        remedy=f"Did you mean {' or '.join(hints[:2])}? Weights are in grams, lengths in millimetres"
        if hints
        else f"Such a car weighs {short(low)} to {short(high)} g: check both figures and their units",
    )


def _refuse_contacts(geometry: Geometry, where: str) -> None:
    if geometry.contacts_mm is None:
        return
    places, length = np.array(geometry.contacts_mm, dtype=float), geometry.wheelbase_mm
    if _stands(places, length):
        return
    ahead = places[:2, 0].mean() - places[2:, 0].mean()
    meant = next((one for one in _likely_contacts(places, length)), None)
    raise InputError(
        f"geometry.contacts_mm contradicts the wheelbase: the front contacts lie {ahead:g} mm ahead of the rear ones, "
        f"these {places[2:, 0].mean():g} mm ahead of the rear axle, wheelbase_mm = {length:g}",
        where=where,
        remedy=f"Did you mean contacts_mm = {meant[0].tolist()}? {meant[1]}"
        if meant
        else "Give each place as [ahead of the rear axle, left of the middle] in mm, in the order FL FR RL RR",
    )


def _stands(places: FloatArray, length: float) -> bool:
    """Whether contacts (4, 2), mm, are a car of this wheelbase, mm, with its left wheels on the left."""
    front, rear = places[:2, 0].mean(), places[2:, 0].mean()
    near = abs(front - rear - length) <= LENGTH_OFF * length and abs(rear) <= LENGTH_OFF * length
    return bool(near and places[0, 1] > places[1, 1] and places[2, 1] > places[3, 1])


def _likely_contacts(places: FloatArray, length: float) -> Iterator[tuple[FloatArray, str]]:
    for order in itertools.permutations(range(4)):
        if _stands(places[list(order)], length):
            yield places[list(order)], "The order is FL FR RL RR, left of the middle is positive"
    if _stands(places[:, ::-1], length):
        yield places[:, ::-1], "Ahead of the rear axle comes first, left of the middle second"
    if _stands(places * [1, -1], length):
        yield places * [1, -1], "Left of the middle is positive"
    from_rear = places - [places[2:, 0].mean(), 0]
    if _stands(from_rear, length):
        yield from_rear, "Places are counted from the rear axle"
    for other in OTHER_UNITS["mm"]:
        if _stands(places * other.size, length):
            yield np.round(places * other.size, 3), f"These look like {other.name}"


def _refuse_tracks(geometry: Geometry, where: str) -> None:
    if geometry.contacts_mm is not None:
        return  # the contacts count instead
    front, rear = geometry.track_front_mm, geometry.track_rear_mm
    if max(front, rear) > 4 * min(front, rear):
        key, odd, other = ("front", front, rear) if front < rear else ("rear", rear, front)
        hints = [f"track_{key}_mm = {short(m)}" for m, _ in likely_meanings(odd, "mm", (other / 2, 2 * other))]
        raise InputError(
            f"geometry.track_{key}_mm = {odd:g} cannot be meant beside the other track of {other:g} mm",
            where=where,
            remedy=f"Did you mean {hints[0]}? Lengths are in millimetres" if hints else "Measure both tracks in mm",
        )


def refuse_heavy_parts(car: CarCard, total_g: float, whole: str, where: str) -> None:
    """Raise InputError for a part that weighs as much as the car. total_g: g.  whole: the car's mass in words."""
    for number, part in enumerate(car.masses.parts, start=1):
        if abs(part.mass_g) >= total_g:
            raise InputError(
                f'masses.parts[{number}]: "{part.name}" of {part.mass_g:g} g is heavier than the car of {whole}',
                where=where,
                remedy="Give both in grams",
            )


def _refuse_parts(card: CarCard, where: str) -> None:
    length, total = card.geometry.wheelbase_mm, card.masses.total_g
    if total is not None:
        refuse_heavy_parts(card, total, f"masses.total_g = {total:g}", where)
    for number, part in enumerate(card.masses.parts, start=1):
        key = f"masses.parts[{number}]"
        if not -length <= part.x_mm <= 2 * length or abs(part.y_mm) > 1.5 * length:
            raise InputError(
                f'{key}: "{part.name}" at {part.x_mm:g} mm ahead, {part.y_mm:g} mm left lies off a car with a '
                f"wheelbase of {length:g} mm",
                where=where,
                remedy="Give its place in mm ahead of the rear axle and left of the middle",
            )


def _refuse_typed(card: TestCard, where: str) -> None:
    typed = card.typed
    if typed.weights_g is not None and 0 < sum(typed.weights_g) <= BY_KEY["masses.total_g"].above:
        meant = ", ".join(short(1000 * one) for one in typed.weights_g)
        raise InputError(
            f"typed.weights_g: {sum(typed.weights_g):g} g in all cannot be meant, no scale car weighs that",
            where=where,
            remedy=f"Did you mean weights_g = [{meant}]? These look like kilograms",
        )
    pivot = typed.pivot_pct
    if pivot is not None and 0 < abs(pivot) <= 1 and abs(pivot) < typed.pivot_pct_u:
        raise InputError(
            f"typed.pivot_pct = {pivot:g} cannot be meant: its ± of {typed.pivot_pct_u:g} does not tell it from 0",
            where=where,
            remedy=f"Did you mean pivot_pct = {short(100 * pivot)}? {pivot:g} looks like a fraction; a pivot at the "
            "rear axle is 0",
        )


def _refuse_steer(card: PhasesCard, where: str) -> None:
    steer = [abs(phase.steer_deg) for phase in card.phases if phase.steer_deg]
    if len(steer) > 1 and max(steer) < 1:
        number = next(n for n, phase in enumerate(card.phases, start=1) if phase.steer_deg)
        given = card.phases[number - 1].steer_deg
        raise InputError(
            f"phases[{number}].steer_deg = {given:g} cannot be meant: the front wheels never turn by a degree",
            where=where,
            remedy=f"Did you mean steer_deg = {short(float(np.degrees(given)))}? {given:g} looks like radians",
        )


def _odd_car(car: CarCard) -> Iterator[str]:
    geometry, length = car.geometry, car.geometry.wheelbase_mm
    tracks = {"front": geometry.track_front_mm, "rear": geometry.track_rear_mm}
    if geometry.contacts_mm is not None:
        places = np.array(geometry.contacts_mm)
        ahead = float(places[:2, 0].mean() - places[2:, 0].mean())
        if abs(ahead - length) > max(4 * geometry.wheelbase_mm_u, 0.005 * length):
            yield f"contacts_mm make a wheelbase of {ahead:g} mm, wheelbase_mm says {length:g}: one of them is wrong"
        for axle, first in (("front", 0), ("rear", 2)):
            wide, u = float(places[first, 1] - places[first + 1, 1]), getattr(geometry, f"track_{axle}_mm_u")
            if abs(wide - tracks[axle]) > max(3 * u, 0.03 * wide):
                yield (
                    f"contacts_mm make a {axle} track of {wide:g} mm, track_{axle}_mm says {tracks[axle]:g}: the "
                    "contacts count"
                )
    elif max(tracks.values()) > 1.15 * length:
        axle = max(tracks, key=lambda name: tracks[name])
        yield (
            f"track_{axle}_mm = {tracks[axle]:g} is more than wheelbase_mm = {length:g}: right only if the car is "
            "wider than long, otherwise the two are exchanged"
        )
    elif max(tracks.values()) > 1.6 * min(tracks.values()):
        yield f"the tracks are {tracks['front']:g} mm in front and {tracks['rear']:g} at the rear: measure them again"
    width = geometry.body_width_mm
    if width != USUAL_SIZES.body_width_mm and max(tracks.values()) < 0.55 * width:
        yield (
            f"the tracks of {tracks['front']:g} and {tracks['rear']:g} mm are about half of body_width_mm = {width:g}: "
            "is a track measured to the middle only?"
        )
    yield from _odd_heights(geometry, car.plate)


def _odd_heights(geometry: Geometry, plate: Plate) -> Iterator[str]:
    high = geometry.cg_height_mm
    if high == USUAL_SIZES.cg_height_mm:
        return
    if plate.height_mm not in (0, USUAL_PLATE.height_mm) and plate.height_mm < high:
        yield (
            f"the marker plate at plate.height_mm = {plate.height_mm:g} lies below the centre of gravity at "
            f"cg_height_mm = {high:g}: measure both from the floor, in mm"
        )
    if high > min(geometry.track_front_mm, geometry.track_rear_mm):
        yield (
            f"a centre of gravity at cg_height_mm = {high:g} is higher than the track is wide "
            f"({min(geometry.track_front_mm, geometry.track_rear_mm):g} mm): such a car falls over before it slides"
        )
    radius = geometry.wheel_radius_mm
    if radius != USUAL_SIZES.wheel_radius_mm and high < 0.4 * radius:
        yield f"cg_height_mm = {high:g} is less than half of wheel_radius_mm = {radius:g}: is that its diameter?"


def _odd_push(car: CarCard, push: Push) -> Iterator[str]:
    geometry, length = car.geometry, car.geometry.wheelbase_mm
    ahead = push.position_pct / 100 * length
    reach = {}
    for end in ("front", "rear"):
        drawn, given = (getattr(one, f"body_{end}_mm") for one in (USUAL_SIZES, geometry))
        reach[end] = max(OVERHANG * length, 0.0 if given == drawn else given)
    if 1 < abs(push.position_pct) <= 2:
        yield f"position_pct = {push.position_pct:g} is {ahead:.1f} mm from the rear axle: a fraction is written as 85"
    elif not -reach["rear"] - 0.02 * length <= ahead <= length + reach["front"] + 0.02 * length:
        end, beyond = ("front", ahead - length) if ahead > 0 else ("rear", -ahead)
        yield (
            f"position_pct = {push.position_pct:g} lies {beyond:.0f} mm beyond the {end} axle, where the body reaches "
            f"{reach[end]:.0f}: check its sign and its unit (per cent of the wheelbase)"
        )
    sheet = car.plate.height_mm
    if sheet not in (0, USUAL_PLATE.height_mm) and push.height_mm > sheet:
        yield f"the finger at push.height_mm = {push.height_mm:g} pushes above the marker plate at {sheet:g} mm"
    elif push.height_mm > 0.5 * length:
        yield f"the finger at push.height_mm = {push.height_mm:g} is very high for a wheelbase of {length:g} mm"
