"""The balance point at which the forecast of this very push gives the turn per travel that was measured."""

from analysis.balance.results import BalanceDoubts, MeasuredBalance, TurnSeen
from analysis.forecast.inputs import CarState, PushState
from analysis.measured.loaded import LoadedTurn
from analysis.measured.pushes import MeasuredPush


def turn_seen(
    push: MeasuredPush,
    *,
    place_u: tuple[float, float, float] = (0.0, 0.0, 0.0),
    scale_u: float = 0.0,
    loaded: LoadedTurn | None = None,
) -> TurnSeen:
    """What a measured push says, its shared causes told apart by name.

    place_u: (x, y m, yaw rad), of the plate on the car ("marker plate").  scale_u: relative, of floor distances
    ("floor's scale").  What is common beyond these is taken as the clip's own, which never cancels.
    loaded: the turn between loaded poses; the figures are then its own, with the causes of the push.
    """
    raise NotImplementedError


def balance_from_push(
    car: CarState, push: PushState, seen: TurnSeen, *, doubts: BalanceDoubts | None = None
) -> MeasuredBalance:
    """The balance point of the car as this push shows it.

    car, push: as the forecast takes them (the finger as it moved: see `as_the_finger_moved`).  seen: from the clip.
    Found by varying the front-to-rear grip ratio with the weights kept; its uncertainty carries the clip's, the push
    place's and the cards', not the grip ratio's.
    Raises InputError for a car or push that cannot be.
    """
    raise NotImplementedError
