"""Small shapes that the parts of this room hand to each other. Plain arrays inside, SI units."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]
GreyImage = npt.NDArray[np.uint8]
BgrImage = npt.NDArray[np.uint8]

MARKER_PLATE_SCALE, FLOOR_SHEETS_SCALE = "print scale of the car sheet", "print scale of the floor sheets"
"""Causes, among those that all poses of a clip share, which a ruler on the printed bars would make smaller."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """One printed square marker lying flat.

    id: number in the dictionary.  size: side of the black square, m.
    x, y: its centre, m (floor axes for a floor marker, car axes for a car marker).
    turn: rad anticlockwise seen from above, 0 when the marker's own top edge points to +y.
    sheet: markers with the same sheet name were printed on one page (their mutual places are sure).
    """

    id: int
    size: float
    x: float
    y: float
    turn: float = 0.0
    sheet: str = ""

    def corners(self) -> FloatArray:
        """(4, 2) m: top-left, top-right, bottom-right, bottom-left of the printed marker, seen from above."""
        half = self.size / 2
        square = np.array([[-half, half], [half, half], [half, -half], [-half, -half]])
        c, s = np.cos(self.turn), np.sin(self.turn)
        turned: FloatArray = square @ np.array([[c, s], [-s, c]]) + [self.x, self.y]
        return turned


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorLayout:
    """Floor markers. place_u: standard uncertainty of a place, m; scale_u: relative, of the print."""

    dictionary: str
    markers: tuple[Marker, ...]
    place_u: float = 0.0005
    scale_u: float = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class CarMarkers:
    """Markers on the car's plate, places in car axes (origin on the ground, mid rear axle).

    height: of the marker plane above the floor, m.  height_u, place_u (plate x, y, m; common to all markers),
    turn_u (plate yaw, rad), scale_u (relative, print): standard uncertainties.
    """

    dictionary: str
    markers: tuple[Marker, ...]
    height: float
    height_u: float = 0.002
    place_u: float = 0.001
    turn_u: float = 0.002
    scale_u: float = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class FingerMarker:
    """A marker worn on the pushing finger, as the card says.

    size: side of the black square, m.  height: of the fingertip above the floor while it pushes, m.
    tip: (3,) m, from the marker's middle to the fingertip in the marker's own axes: ahead (where its top edge
    points), left, up (negative: the tip is below).  tip_u: (3,).  height_u, size_u: m.  tilt_u: rad, how far from
    level the marker is worn, each way.  All u are standard uncertainties.
    """

    dictionary: str
    id: int
    size: float
    height: float
    tip: FloatArray
    tip_u: FloatArray
    height_u: float = 0.002
    size_u: float = 0.0001
    tilt_u: float = 0.17


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Pinhole with Brown-Conrady distortion, OpenCV's order.

    matrix: (3, 3) px.  distortion: (5,) k1 k2 p1 p2 k3.  size: (width, height) px.
    known: False when the numbers were estimated from a clip instead of calibrated.
    u: (9,) standard uncertainties of fx fy cx cy k1 k2 p1 p2 k3, zeros when unknown.
    scales: whether it may be taken for pictures of the same shape and another size. Numbers from elsewhere may not: a
    phone that films smaller often crops, and nobody saw which.
    """

    matrix: FloatArray
    distortion: FloatArray
    size: tuple[int, int]
    known: bool = True
    u: FloatArray = field(default_factory=lambda: np.zeros(9))
    scales: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipCards:
    """What the cards say of a clip.

    camera: a calibration for this resolution (or one of the same shape), or None: focal length and k1 are then
    estimated from the floor markers at a stated cost.  readout: s that the camera takes to read a picture from its
    first row to its last, None when not known.  slower: the file's times over true ones, 8 for 240 pictures a second
    stored to be played at 30.  pixel_shape: width over height of a pixel, as the file states it; counts without
    a calibration only.
    """

    floor: FloorLayout
    car: CarMarkers
    camera: Camera | None = None
    readout: float | None = None
    slower: float = 1.0
    pixel_shape: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraView:
    """Where the camera stood: camera = rotation @ floor + place.

    time: (k,) s, increasing.  rotation: (k, 3, 3).  place: (k, 3) m.  k is 1 for a camera that stood still; otherwise
    every frame read has a row, nan where the floor was not seen.
    """

    time: FloatArray
    rotation: FloatArray
    place: FloatArray

    def at(self, moment: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Rotations (..., 3, 3) and places (..., 3) of the frames nearest to the moments (...), s.

        moment: (...) s.
        """
        row = np.searchsorted(0.5 * (self.time[1:] + self.time[:-1]), moment)
        return self.rotation[row], self.place[row]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shutter:
    """A rolling shutter's part in a track of n poses (`vision.camera.rolling_shutter`).

    readout: s from the first row to the last; known: from the card, otherwise the longest that there can be.
    bias: (n, 3) m, m, rad, by how much such a readout (top row first) puts each pose off, the common delay left out.
    delay: s, that common delay against the picture's middle row.
    taken_out_u: s, standard uncertainty of a readout that a moving camera's floor told (negative: last row first) and
    that is taken out of all poses; bias and delay are then what this uncertainty leaves.  None: nothing is taken out.
    """

    readout: float
    known: bool
    bias: FloatArray
    delay: float
    taken_out_u: float | None = None

    @property
    def standard(self) -> FloatArray:
        """(n, 3) the bias as one standard uncertainty: all of it, or, with the readout anywhere up to the longest
        one, the root mean square of a uniform distribution that starts at zero, 1/sqrt(3) of it."""
        return self.bias if self.known else self.bias / np.sqrt(3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClipTrack:
    """Timed floor poses of the car from one clip; n vouched-for frames.

    time: (n,) s, presentation times from the stream's start, increasing.
    pose: (n, 3) x, y (m, floor axes) and yaw (rad, unwrapped) of the car axes.
    covariance: (n, 3, 3) the part that differs from frame to frame.
    repeating: (n, 3, 3) the part that repeats while the car rests and so never averages away.
    blur: (n,) px that a car marker moved during the exposure, estimated.
    lean: (n, 2) rad, roll and pitch of the marker plane against the floor.
    lift: (n,) m, how high the car is held over the floor, 0 where it stands; empty where nobody asked.
    frames_read, frames_left_out: counts.  left_out: reason -> count.
    size: (width, height) px.  ink_shift: px.  corner_noise: px.  camera: the one used.
    view: where it stood, see `CameraView`.  seen: (n, c) which of the car's markers count in each pose.
    shared: (k, n, 3) how far one standard uncertainty of each shared cause (height, print scale, plate place,
        floor places, camera) moves every pose. Causes are independent and the same in all frames of the clip:
        add `shared[i]` to `pose`, compute again, and the change is that cause's part of the uncertainty.
    shared_names: (k,) their names in words.
    shutter: the rolling shutter's part; it is in `covariance` already, where it looks independent from frame to
        frame, which it is not.  None when it was not estimated.
    picture_time: (p,) s of every picture of the clip, where they are not those that the file states (noted by the
        recorder, slow motion, missing pictures); empty: the file's own.
    read_time: (p,) s of every picture as it was read, after slow motion was taken into account.
    notes: sentences for people (track quality in words).  warnings: what to change.
    """

    time: FloatArray
    pose: FloatArray
    covariance: FloatArray
    repeating: FloatArray
    blur: FloatArray
    lean: FloatArray
    frames_read: int
    frames_left_out: int
    left_out: dict[str, int]
    size: tuple[int, int]
    ink_shift: float
    corner_noise: float
    camera: Camera
    view: CameraView
    seen: BoolArray
    shared: FloatArray = field(default_factory=lambda: np.zeros((0, 0, 3)))
    shared_names: tuple[str, ...] = ()
    shutter: Shutter | None = None
    lift: FloatArray = field(default_factory=lambda: np.zeros(0))
    picture_time: FloatArray = field(default_factory=lambda: np.zeros(0))
    read_time: FloatArray = field(default_factory=lambda: np.zeros(0))
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
