"""A moment of driving frozen at rest, on the page: where the ballast goes that one has, and what a push should find."""

from analysis.figures.car import body_outline
from analysis.moving.phases import DRIFT
from analysis.moving.ranking import SEEN_POINTS
from rig.base.plain_json import Json
from rig.cards.measures import MM
from rig.jobs.moving.freeze import frozen_phases
from rig.page.bench.region import RegionView
from rig.report.words.moving.freeze import freeze_json, freeze_rows

CARD = "the car card (section Cards, car)"


def frozen_told(region: RegionView, ballast_g: float, at_mm: float | None) -> Json:
    """Every phase of a drift frozen with this ballast. at_mm: where it lies on the car now; None: it is not on it.

    Raises InputError for a ballast or a car that cannot be.
    """
    known = region.known()
    card = known.car.card
    geometry = card.geometry
    length = geometry.wheelbase_mm * MM
    body = (geometry.body_front_mm * MM, geometry.body_rear_mm * MM, geometry.body_width_mm * MM)
    found = frozen_phases(known.car, DRIFT, mass_g=ballast_g, start_mm=at_mm, where=CARD)
    sideways = [one.phase.name for one in found if not one.offered]
    note = (
        f"Turning ({', '.join(sideways)}), load that moves across shifts the balance by less than the "
        f"{SEEN_POINTS:g} points that a push shows: only fore and aft is frozen there."
    )
    return {
        "car": card.name,
        "wheelbase": length / MM,
        "outline": body_outline(length, body) / MM,
        "contacts": known.cast.car.chassis.contact_place / MM,
        "rows": freeze_rows(found),
        "places_mm": [one["ballast_mm"] for one in freeze_json(found, None)["phases"]],
        "lies_mm": at_mm,
        "note": note if sideways else "",
        "remarks": list(known.remarks),
    }
