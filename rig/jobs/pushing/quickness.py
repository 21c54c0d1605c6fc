"""Was a measured push slow enough for the quasi-static forecast, and what would the dynamic one say?"""

from dataclasses import dataclass

import numpy as np

from analysis.base.errors import AnalysisError
from analysis.forecast.draws import assemble
from analysis.measured.pushes import MeasuredPush
from analysis.quick.as_seen import SeenSlide, slide_as_seen
from analysis.quick.quickness import InertiaRatio, Recommendation, inertia_ratio, recommend
from analysis.quick.slide import Body, FingerMotion
from analysis.quick.yaw_inertia import YawInertia, from_size
from analysis.sliding.contacts import Contacts
from rig.cards.measures import MM, wheelbase
from rig.cards.mechanics import place_gravity, push_state
from rig.cards.read import CardSet
from rig.jobs.weighing.weights import Weighing, car_as_it_stands
from vision.base.types import ClipTrack

MARGIN_S = 0.3
"""Rest before and after the slide that is taken along, so that its start and end are seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quickness:
    """Inertia against friction in one push, and which forecast applies.

    dynamic: the dynamic forecast at best estimates, when that one applies.
    """

    ratio: InertiaRatio
    recommendation: Recommendation
    dynamic: SeenSlide | None = None


def yaw_inertia_of(cards: CardSet, mass: float) -> YawInertia:
    """kg m², from the car card, or guessed from the outline with a wide uncertainty."""
    masses, g = cards.car.masses, cards.car.geometry
    if masses.yaw_inertia_kgm2 is not None:
        return YawInertia(value=masses.yaw_inertia_kgm2, u=masses.yaw_inertia_kgm2_u, method="on the car card")
    length = (g.wheelbase_mm + g.body_front_mm + g.body_rear_mm) * MM
    return from_size(mass=mass, length=length, width=g.body_width_mm * MM)


def judge_quickness(
    cards: CardSet, weighing: Weighing, track: ClipTrack, push: MeasuredPush, *, balance: float
) -> Quickness | None:
    """Compare inertia with friction over one push. balance: station of the balance point, m.

    None when too few frames show the slide for a judgement.
    """
    shown = (track.time >= push.start_time - MARGIN_S) & (track.time <= push.end_time + MARGIN_S)
    if np.count_nonzero(shown) < 12:
        return None
    car = car_as_it_stands(cards, weighing)
    drawn = assemble(car, push_state(cards.car, cards.test), {}, 1).contacts
    # loads stay as they are at rest here, so bearings drag as a share of them
    holds = np.maximum(np.asarray(drawn.grip)[0] * np.asarray(drawn.load)[0], 1e-9)
    drag_in_all = np.minimum(np.asarray(drawn.drag)[0] + np.asarray(drawn.bearing)[0] / holds, 1.0)
    contacts = Contacts(
        place=np.asarray(drawn.place)[0],
        load=np.asarray(drawn.load)[0],
        grip=np.asarray(drawn.grip)[0],
        drag=drag_in_all,
        along=np.asarray(drawn.along)[0],
        heading=np.asarray(drawn.heading)[0],
    )
    mass = float(weighing.load.sum()) / place_gravity(cards.bench)
    cg = weighing.weights.cg if weighing.weights.cg is not None else np.array([wheelbase(cards.car) / 2, 0.0])
    body = Body(mass=mass, yaw_inertia=yaw_inertia_of(cards, mass).value, centre=(float(cg[0]), float(cg[1])))
    ratio = inertia_ratio(
        track.time[shown], track.pose[shown], track.covariance[shown] + 1e-12 * np.eye(3), contacts=contacts, body=body
    )
    distance = cards.test.push.position_pct - 100 * balance / wheelbase(cards.car)
    recommendation = recommend(ratio, distance_pct=distance)
    dynamic = None
    if recommendation.choice == "dynamic" and cards.test.push.finger == "rolling" and drawn.coupling is None:
        dynamic = _dynamic(cards, contacts, body, push)
    return Quickness(ratio=ratio, recommendation=recommendation, dynamic=dynamic)


def finger_advance(cards: CardSet, push: MeasuredPush) -> tuple[float, float]:
    """How far the finger stood ahead of the wheelbase's middle, and how far the point it touched went sideways, m."""
    arm = (cards.test.push.position_pct / 100 - 0.5) * wheelbase(cards.car)
    return arm, abs(push.travel + 2.0 * np.sin(push.turn / 2.0) * arm)


def _dynamic(cards: CardSet, contacts: Contacts, body: Body, push: MeasuredPush) -> SeenSlide | None:
    """The same push with mass and yaw inertia; None when it does not come to rest.

    The finger goes as fast as the track says the touched point did, and so far that this goes as far as it did.
    """
    card, length = cards.test.push, wheelbase(cards.car)
    arm, advance = finger_advance(cards, push)
    speed = max(abs(push.peak_speed) + abs(push.peak_yaw_rate * arm), 1e-3)
    side = 1 if card.side == "right" else -1
    finger = FingerMotion(
        station=card.position_pct / 100 * length,
        face=-side * cards.car.geometry.body_width_mm / 2 * MM,
        side=side,
        speed=speed,
        travel=advance,
        follows="car" if card.finger_path == "stays on the car" else "floor",
    )
    try:
        return slide_as_seen(contacts, body, finger, wheelbase=length)
    except AnalysisError:
        return None
