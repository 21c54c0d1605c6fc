"""What is filmed and how: the scene, the hand, light and sensor, the camera."""

from collections.abc import Callable
from dataclasses import dataclass

from vision.base.types import CarMarkers, FloatArray, FloorLayout
from vision.render.camera import RenderCamera


@dataclass(frozen=True, slots=True, kw_only=True)
class WornMarker:
    """A marker on the pushing finger, as it really sits there.

    tip: (3,) m, the fingertip from the marker's centre in the marker's own axes: ahead (where its top edge
    points), left, up (negative: the tip is below).  attitude: (3,) or (m, 3) rad: ahead's yaw in floor axes,
    then roll (left side up) and pitch (front edge down).
    """

    dictionary: str
    id: int
    size: float
    tip: FloatArray
    attitude: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """A pushing hand: a finger with a forearm behind it.

    tip: (m, 2) m in floor axes, at the times of the poses.  outward: (2,) from the tip to the arm.
    height: of the finger above the floor, m; above the marker plate it hides markers.  width: m.
    """

    tip: FloatArray
    outward: FloatArray
    height: float = 0.015
    width: float = 0.018
    worn: WornMarker | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Light and sensor.

    exposure: s, centred on the frame's time.  noise: grey levels rms.  gamma: of the stored picture.
    lens_blur: px, standard deviation.  ink_spread: m that black grows over every edge.
    brightness: of white paper, 0..1 before gamma.  vignette: share of light lost in the corners.
    """

    exposure: float = 1 / 125
    noise: float = 2.0
    gamma: float = 2.2
    lens_blur: float = 0.6
    ink_spread: float = 0.0
    brightness: float = 0.8
    vignette: float = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class PushScene:
    """What is filmed.

    time: (m,) s increasing.  pose: (m, 3) x, y (m), yaw (rad) of the car axes in floor axes; straight lines in
    between.  floor, car: the markers as they really lie.  lean: (2,) or (m, 2) rad, roll (left side up) and pitch
    (nose down) about the ground under the plate's middle.  outline: (k, 2) m, convex body from above in car axes.
    wheels: (n, 2) m, contact places.
    """

    time: FloatArray
    pose: FloatArray
    floor: FloorLayout
    car: CarMarkers
    lean: FloatArray | None = None
    hand: Hand | None = None
    outline: FloatArray | None = None
    wheels: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Filming:
    """How it is filmed.

    size: px.  fps: frames per second.  camera_path: the camera at a time, s, for a hand-held one; its lens must stay
    the same.  samples: per pixel and direction.
    readout: s, line v of h shows a moment (v / h - 1/2) readout later than the frame's; 0: all lines at once.
    """

    camera: RenderCamera
    size: tuple[int, int] = (1280, 720)
    fps: float = 30.0
    look: Look = Look()
    camera_path: Callable[[float], RenderCamera] | None = None
    samples: int = 3
    readout: float = 0.0
