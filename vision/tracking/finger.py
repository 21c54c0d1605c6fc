"""Where the pushing finger was: a marker worn on it, seen in the same pass and placed with the same camera.

A level marker lies below and ahead of its fingertip by what a ruler says, so its height above the floor is the tip's
plus that; the ray through its middle meets the level plane at that height, and there it is. A hand-held marker tilts,
which matters twice. The tip moves on the floor by below * sin(tilt) + ahead * (1 - cos(tilt)): 3 mm for 17 mm below
and 10 degrees. And the marker's middle rises or sinks by about ahead * sin(tilt), which an oblique camera takes for
a place nearer or farther: another 4 mm for 25 mm ahead. So the tilt is fitted together with the tip's place, which
is held at the height where it touches the car; the card's word on how level the marker is worn is a prior. Seen
obliquely the tilt shows in the marker's width and shear, in first order; seen from straight above it hardly shows, and
the prior counts, with the doubt that it leaves.
The fit is least squares with priors (Gauss-Newton), all frames at once; what the card is unsure about (height, size,
place of the tip) is carried as shared causes, found by fitting again.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from vision.base.plane import plane_rotation
from vision.base.robust import NORMAL_95
from vision.base.types import ClipTrack, FingerMarker, FloatArray
from vision.camera.model import intrinsics_of, project_with_derivatives
from vision.clip.frames import Frame
from vision.floor.geometry import bent_edge_shift, ink_direction, on_level_plane
from vision.markers.detection import Detector, cell_pattern
from vision.markers.edges import IDENTIFIED, fit_corners, linear_light
from vision.markers.layouts import finger_square
from vision.tracking.bodies import Region, region_about

PATIENCE = 4  # frames between searches of the whole picture while the finger is out of it
CORNER_U = 0.1  # px, standard uncertainty of one corner of a small marker; it repeats, so frames do not average it
INK_U = 0.1  # px, by which a small marker's ink shift may differ from the floor's
TILT_ROUNDS = 12
CAUSES = (
    "height of the fingertip",
    "size of the finger marker",
    "fingertip ahead",
    "fingertip left",
    "fingertip below",
)


class FingerWatch:
    """Looks for one finger marker in the frames that it is given, in order; see `corners`."""

    def __init__(self, finger: FingerMarker) -> None:
        self._number = finger.id
        self._pattern = cell_pattern(finger.dictionary, finger.id)[None]
        self._detector = Detector(finger.dictionary)
        self._light = linear_light()
        self._time: list[float] = []
        self._corner: list[FloatArray] = []
        self._last: FloatArray | None = None
        self._pace = np.zeros((4, 2))
        self._missed = 0

    def look(self, frame: Frame) -> None:
        """Find the marker in one frame: where it moved on to, else around there, else in the whole picture."""
        found = None if self._last is None else self._fitted(frame, self._last + self._pace)
        if found is None and self._last is not None and self._missed < PATIENCE:
            side = float(np.ptp(self._last, axis=0).max())
            found = self._searched(frame, region_about(self._last, 1.5 * side + 30.0, frame.grey.shape))
        if found is None and self._missed % PATIENCE == 0:
            found = self._searched(frame, None)
        if found is None:
            self._missed += 1
            self._pace = np.zeros((4, 2))
            return
        # Every corner moves on by itself: a turning marker keeps its lead.
        self._pace = found - self._last if self._last is not None and self._missed == 0 else np.zeros((4, 2))
        self._last, self._missed = found, 0
        self._time.append(frame.time)
        self._corner.append(found)

    def corners(self) -> tuple[FloatArray, FloatArray]:
        """Times (m,) s and corners (m, 4, 2) px of the frames in which all four were found."""
        if not self._time:
            return np.zeros(0), np.zeros((0, 4, 2))
        return np.array(self._time), np.stack(self._corner)

    def _searched(self, frame: Frame, region: Region | None) -> FloatArray | None:
        quad = self._detector.find(frame.grey, region).corner.get(self._number)
        return None if quad is None else self._fitted(frame, quad)

    def _fitted(self, frame: Frame, guess: FloatArray) -> FloatArray | None:
        fit = fit_corners(frame.grey, guess[None], self._pattern, light=self._light)
        good = fit.likeness[0] >= IDENTIFIED and np.isfinite(fit.corner[0]).all()
        return fit.corner[0] if good else None


@dataclass(frozen=True, slots=True, kw_only=True)
class FingerPath:
    """The fingertip on the floor in m frames.

    time: (m,) s.  tip: (m, 2) m, floor axes.  covariance: (m, 2, 2) m², from the corners and the tilt; it repeats
    from frame to frame.  tilt: (m, 2) rad, roll (left side up) and pitch (front edge down); tilt_u: (m, 2).
    shared: (k, m, 2) m, how far one standard uncertainty of each of the independent `causes` moves every tip.
    """

    time: FloatArray
    tip: FloatArray
    covariance: FloatArray
    tilt: FloatArray
    tilt_u: FloatArray
    shared: FloatArray = field(default_factory=lambda: np.zeros((0, 0, 2)))
    causes: tuple[str, ...] = ()


def finger_path(time: FloatArray, corner: FloatArray, finger: FingerMarker, track: ClipTrack) -> FingerPath:
    """Fingertip places from the corners that `FingerWatch` saw, with the track's camera and floor.

    time: (m,) s.  corner: (m, 4, 2) px.  Frames of a moving camera that saw no floor are left out.
    """
    rotation, place = track.view.at(time)
    usable = np.isfinite(place).all(-1)
    time, corner, rotation, place = time[usable], corner[usable], rotation[usable], place[usable]
    if not len(time):
        empty = np.zeros((0, 2))
        return FingerPath(
            time=time,
            tip=empty,
            covariance=np.zeros((0, 2, 2)),
            tilt=empty,
            tilt_u=empty,
            shared=np.zeros((len(CAUSES), 0, 2)),
            causes=CAUSES,
        )
    scene = _Scene(corner=corner, rotation=rotation, place=place, track=track)
    state, covariance = scene.fit(finger)
    side = float(np.median(np.linalg.norm(np.diff(corner, axis=1), axis=-1)))
    size_u = float(np.hypot(finger.size_u, 2.0 * INK_U / side * finger.size))
    changed = {  # in the order of CAUSES
        "height of the fingertip": replace(finger, height=finger.height + finger.height_u),
        "size of the finger marker": replace(finger, size=finger.size + size_u),
        **{
            f"fingertip {way}": replace(finger, tip=finger.tip + np.eye(3)[axis] * finger.tip_u[axis])
            for axis, way in enumerate(("ahead", "left", "below"))
        },
    }
    return FingerPath(
        time=time,
        tip=state[:, :2],
        covariance=covariance[:, :2, :2],
        tilt=state[:, 3:],
        tilt_u=np.sqrt(np.diagonal(covariance, axis1=1, axis2=2)[:, 3:]),
        shared=np.stack([scene.fit(changed[cause])[0][:, :2] for cause in CAUSES]) - state[:, :2],
        causes=CAUSES,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """Corners (m, 4, 2) px of one marker and the camera of each frame: rotation (m, 3, 3), place (m, 3)."""

    corner: FloatArray
    rotation: FloatArray
    place: FloatArray
    track: ClipTrack

    def fit(self, finger: FingerMarker) -> tuple[FloatArray, FloatArray]:
        """(m, 5) the tip's x, y, then yaw, roll, pitch of the marker; and their covariance (m, 5, 5)."""
        lens = intrinsics_of(self.track.camera)
        square = finger_square(finger.id, finger.size).corners()
        flat = np.column_stack([square, np.zeros(4)]) - finger.tip  # from the tip to the corners
        state = self._start(finger, lens)
        prior = np.diag([0.0, 0.0, 0.0, finger.tilt_u**-2, finger.tilt_u**-2])
        for trial in range(TILT_ROUNDS):
            turn, by_angle = _turn_with_derivatives(state[:, 2:])
            arm = np.einsum("nij,pj->npi", turn, flat)
            tip = np.column_stack([state[:, :2], np.full(len(state), finger.height)])
            point = np.einsum("nij,npj->npi", self.rotation, arm + tip[:, None]) + self.place[:, None]
            pixel, by_point, _ = project_with_derivatives(point, lens)
            # ink and bent edges hardly change with the pose: at the start, and once more where it ended
            if trial in (0, TILT_ROUNDS - 1):
                shift = bent_edge_shift(point, lens) + self.track.ink_shift * ink_direction(pixel)
            by_floor = by_point @ self.rotation[:, None]
            by_turn = np.einsum("npij,nkjl,pl->npik", by_floor, by_angle, flat)
            jacobian = np.concatenate([by_floor[..., :2], by_turn], axis=-1).reshape(len(state), 8, 5)
            residual = (self.corner - pixel - shift).reshape(len(state), 8) / CORNER_U
            jacobian = jacobian / CORNER_U
            normal = np.swapaxes(jacobian, 1, 2) @ jacobian + prior
            if trial == TILT_ROUNDS - 1:
                break
            right = np.einsum("npk,np->nk", jacobian, residual) - state @ prior
            step = np.linalg.solve(normal, right[..., None])[..., 0]
            state = state + np.clip(step, -0.3, 0.3)
        return state, np.asarray(np.linalg.inv(normal), float)

    def _start(self, finger: FingerMarker, lens: FloatArray) -> FloatArray:
        """(m, 5): x, y in m, then yaw, roll, pitch in rad, of a level marker where the corners' rays meet its plane."""
        flat = on_level_plane(self.corner, finger.height - finger.tip[2], self.rotation, self.place, lens)
        ahead = flat[:, :2].mean(1) - flat[:, 2:].mean(1)
        yaw = np.arctan2(ahead[:, 1], ahead[:, 0])
        level = np.zeros(len(flat))
        return np.column_stack([flat.mean(1) + plane_rotation(yaw) @ finger.tip[:2], yaw, level, level])


def _turn_with_derivatives(angle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Angles (n, 3) rad, yaw, roll, pitch -> rotation (n, 3, 3), and its derivatives (n, 3, 3, 3) by each angle.

    The rotation is the product yaw times pitch times roll: rolled first, then pitched, then turned.
    """
    parts = []
    for axis, value in ((2, angle[:, 0]), (1, angle[:, 2]), (0, angle[:, 1])):
        i, j = ((1, 2), (2, 0), (0, 1))[axis]
        c, s = np.cos(value), np.sin(value)
        one, by = np.zeros((len(value), 3, 3)), np.zeros((len(value), 3, 3))
        one[:, axis, axis] = 1.0
        one[:, i, i] = one[:, j, j] = c
        one[:, i, j], one[:, j, i] = -s, s
        by[:, i, i] = by[:, j, j] = -s
        by[:, i, j], by[:, j, i] = -c, c
        parts.append((one, by))
    (yaw, by_yaw), (pitch, by_pitch), (roll, by_roll) = parts
    return yaw @ pitch @ roll, np.stack([by_yaw @ pitch @ roll, yaw @ pitch @ by_roll, yaw @ by_pitch @ roll], axis=1)


def tilt_words(path: FingerPath, finger: FingerMarker) -> str:
    """How far the marker was tilted and what that did, for people."""
    if not len(path.time):
        return ""
    roll, pitch = np.median(path.tilt, axis=0)
    u = float(np.median(path.tilt_u))
    turn = _turn_with_derivatives(np.array([[0.0, roll, pitch]]))[0][0]
    moved = float(np.linalg.norm((turn @ finger.tip - finger.tip)[:2]))
    return (
        f"The finger marker was tilted by {np.degrees(np.hypot(roll, pitch)):.0f} ± {np.degrees(NORMAL_95 * u):.0f}°: "
        f"its tip lies {1e3 * moved:.1f} mm from where a level marker would have it, which is taken into account."
    )
