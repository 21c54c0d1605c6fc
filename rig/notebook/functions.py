"""What the commands compute, without terminal and without writing anything.

Files are cards (TOML), clips and log folders; arrays are in SI, wheels in the order FL, FR, RL, RR. Everything is typed
and frozen. Errors are those of the commands, with what, where and remedy.
"""

from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.forecast.comparison import Comparison
from analysis.forecast.forecast import Prediction
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import MeasuredPush, measure_pivot
from analysis.weighing.corner_weights import CornerWeights, corner_weights
from rig.base.progress import Progress
from rig.cards.read import CardSet, read_set
from rig.jobs.measuring.finger import pushed_as_seen
from rig.jobs.measuring.lens_and_floor import stored_camera
from rig.jobs.measuring.measure import MeasuredClip, Measurement, measured_clip
from rig.jobs.pushing.balance import PushAnswer, answer_push
from rig.jobs.pushing.compare import judged, typed_pivot
from rig.jobs.pushing.forecast import FORECAST_DRAWS, forecast_inputs, predicted
from rig.jobs.record.recalculate import Recalculated, recalculate
from rig.jobs.series.answered_pushes import recorded_pushes
from rig.jobs.series.change import ChangeFound, what_the_change_did
from rig.jobs.weighing.weights import Weighing, known_weighing, typed_weighing
from rig.log.store import BenchLog
from rig.records.record import InputsT, Kind, Record, ResultT


def read_cards(test_card: Path | str) -> CardSet:
    """A test card with the car and the bench that it names. Raises InputError naming file and key.

    >>> cards = read_cards(folder / "test.toml")
    >>> cards.car.geometry.wheelbase_mm
    257.0
    """
    return read_set(Path(test_card))


def weigh(cards: CardSet, log: Path | str | None = None) -> Weighing:
    """The weights of a car: those typed on its test card, else the newest that a log folder holds of it.

    >>> weighing = weigh(read_cards(folder / "test.toml"))  # 400, 380, 390 and 410 g are typed in
    >>> round(weighing.weights.total_g.value, 6), round(weighing.weights.front_pct.value, 3)
    (1580.0, 49.367)
    """
    if log is None:
        return typed_weighing(cards)
    with BenchLog(Path(log), read_only=True) as opened:
        return known_weighing(cards, opened)


def weigh_loads(load_g: FloatArray, load_u_g: FloatArray, contact: FloatArray) -> CornerWeights:
    """Corner weights from loads: load_g (4,) g with standard uncertainties load_u_g (4,) g, independent of each other.

    contact: (4, 2) m, where the tyres stand in car axes (x ahead of the rear axle, y to the left).

    >>> places = np.array([[0.25, 0.08], [0.25, -0.08], [0.0, 0.08], [0.0, -0.08]])
    >>> found = weigh_loads(np.array([400.0, 380.0, 390.0, 410.0]), np.full(4, 0.5), places)
    >>> np.round(found.cg, 4).tolist()  # by hand: 0.25 m × 780 / 1580, and 0.08 m × (790 − 790) / 1580
    [0.1234, 0.0]
    """
    return corner_weights(np.asarray(load_g, dtype=float), np.diag(np.square(load_u_g)), contact=contact)


def measure(
    clip: Path | str, cards: CardSet, *, log: Path | str | None = None, progress: Progress | None = None
) -> MeasuredClip:
    """Every push in a clip. log: the folder with the camera's calibration, where the bench card names one.

    Raises the rooms' errors: a clip that cannot be used, no markers, nothing that moves.
    """
    camera = None
    if log is not None:
        with BenchLog(Path(log), read_only=True) as opened:
            camera = stored_camera(cards, opened)
    return measured_clip(Path(clip), cards, camera=camera, progress=progress)


def measure_poses(
    time: FloatArray, pose: FloatArray, *, place_u: float, turn_u: float, wheelbase: float
) -> tuple[MeasuredPush, ...]:
    """Every push in poses from any other source: time (n,) s, pose (n, 3) m, m, rad of the car axes on the floor.

    place_u m, turn_u rad: standard uncertainty of a pose, from picture to picture.  wheelbase: m.
    The car must rest before and after each push.

    >>> time = np.arange(0.0, 3.0, 1 / 30)
    >>> turn = 0.2 * np.clip(time - 1.0, 0.0, 1.0)  # about the point 0.05 m behind the rear axle
    >>> pose = np.stack([0.05 * np.cos(turn) - 0.05, 0.05 * np.sin(turn), turn], axis=-1)
    >>> seen = pose + np.random.default_rng(1).normal(size=pose.shape) * [1e-5, 1e-5, 1e-4]
    >>> (push,) = measure_poses(time, seen, place_u=1e-5, turn_u=1e-4, wheelbase=0.25)
    >>> round(push.estimate.station_pct)  # by hand: −50 mm of 250 mm
    -20
    """
    spread = np.diag([place_u**2, place_u**2, turn_u**2])
    covariance = np.broadcast_to(spread, (len(time), 3, 3))
    track = PoseTrack(time=time, pose=pose, covariance=covariance, repeating=np.zeros((3, 3)))
    return measure_pivot(track, wheelbase=wheelbase)


def predict(cards: CardSet, weighing: Weighing, *, seed: int = 0, draws: int = FORECAST_DRAWS) -> Prediction:
    """The forecast of the push on the test card, with its interval and what it depends on.

    >>> cards = read_cards(folder / "test.toml")
    >>> made = predict(cards, weigh(cards), draws=200)
    >>> round(made.balance.value, 3)  # equal grip in front and behind: the centre of gravity, 0.257 m × 780 / 1580
    0.127
    """
    return predicted(cards, forecast_inputs(cards, weighing, seed=seed, draws=draws))


def compare(
    cards: CardSet,
    weighing: Weighing,
    measured: MeasuredClip | Measurement | None = None,
    *,
    number: int = 1,
    seed: int = 0,
) -> tuple[Comparison, Prediction]:
    """The verdict on one push beside its forecast, over the way that was measured, as the command gives it.

    measured: of `measure`; None for a pivot that is typed on the test card.  number: of the push, from 1.
    Raises InputError when there is no such push.
    """
    typed = typed_pivot(cards) if measured is None else None
    found = judged(cards, weighing, measured, typed, push_number=number, seed=seed)
    return found.comparison, found.prediction


def answer(
    cards: CardSet, measured: MeasuredClip | MeasuredPush, weighing: Weighing | None = None, *, number: int = 1
) -> PushAnswer:
    """What a push says: what was seen, and with a weighing the balance point by the push and by weights and grip.

    measured: of `measure`, or a push of `measure_poses`.  number: of the push in a clip, from 1.
    Raises InputError when there is no such push, or the clip contradicts the cards.

    >>> time = np.arange(0.0, 3.0, 1 / 30)
    >>> turn = 0.2 * np.clip(time - 1.0, 0.0, 1.0)  # about the point 0.05 m behind the rear axle, to the left
    >>> pose = np.stack([0.05 * np.cos(turn) - 0.05, 0.05 * np.sin(turn), turn], axis=-1)
    >>> seen = pose + np.random.default_rng(1).normal(size=pose.shape) * [1e-5, 1e-5, 1e-4]
    >>> (push,) = measure_poses(time, seen, place_u=1e-5, turn_u=1e-4, wheelbase=0.257)
    >>> cards = read_cards(folder / "test.toml")
    >>> found = answer(cards, push, weigh(cards))
    >>> found.saw.saw.value
    'rear held'
    >>> round(found.saw.nose_mm), round(found.saw.tail_mm)  # by hand: 2 × 307 mm × sin 0.1, and 2 × 50 mm × sin 0.1
    (61, 10)
    >>> found.balance is not None, found.by_weights is not None
    (True, True)
    """
    if isinstance(measured, MeasuredPush):
        return answer_push(cards, measured, weighing)
    row = measured.result.row(number)
    push = next(one for one in measured.pushes if one.number == row.number)
    placed = pushed_as_seen(cards, measured.result.finger_row(number), number)
    return answer_push(placed, push, weighing, track=measured.track)


def change(a: CardSet, b: CardSet, log: Path | str) -> ChangeFound:
    """What the change from one set-up to another did, by all pushes that a log folder holds of the two test cards.

    Raises InputError when a set-up has no push there, its card was edited since, or both rest on the same clip.

    >>> plain, rubber = read_cards(folder / "plain.toml"), read_cards(folder / "rubber.toml")
    >>> found = change(plain, rubber, folder / "pushed")  # one push each: 60 and 60 mm; nose 50 and tail 70 mm
    >>> found.change.finding.value, found.change.pushes
    ('moved forward', (1, 1))
    >>> low, high = found.change.moved.interval
    >>> low > 0
    True
    >>> found.sentences[0].startswith("The balance moved forward by ")
    True
    """
    with BenchLog(Path(log), read_only=True) as opened:
        return what_the_change_did(recorded_pushes(a, opened), recorded_pushes(b, opened))


def records_of(log: Path | str, kind: Kind[InputsT, ResultT]) -> list[Record[InputsT, ResultT]]:
    """All records of one kind in a log folder, oldest first; the kinds stand in `rig.records`.

    >>> from rig.records.weighing import WEIGHING
    >>> [record.result.total_g.value for record in records_of(folder / "log", WEIGHING)]
    [1580.0]
    """
    with BenchLog(Path(log), read_only=True) as opened:
        return list(opened.records(kind=kind))


def recalculated(log: Path | str, *, tolerance: float = 0.0) -> Recalculated:
    """Compute all records of a log folder again, and say which figures come out otherwise. tolerance: relative.

    >>> recalculated(folder / "log").differing
    ()
    """
    with BenchLog(Path(log), read_only=True) as opened:
        return recalculate(opened, tolerance=tolerance)
