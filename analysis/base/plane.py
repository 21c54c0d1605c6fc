"""Rigid motion in the plane: poses, the pole of a finite displacement, turn per travel.

A pose is x, y (m) and yaw (rad, anticlockwise seen from above) of the car axes in floor axes; the car axes
have their origin on the ground at the middle of the rear axle, x forward, y left (after ISO 8855).
Every function takes leading `...` axes.
"""

import numpy as np

from analysis.base.arrays import FloatArray


def rotation(angle: FloatArray | float) -> FloatArray:
    """Rotation matrices (..., 2, 2) that turn by angle (...), rad, anticlockwise."""
    c, s = np.cos(angle), np.sin(angle)
    matrix: FloatArray = np.stack([np.stack([c, -s], -1), np.stack([s, c], -1)], -2)
    return matrix


def place(pose: FloatArray, point_car: FloatArray) -> FloatArray:
    """Floor places (..., 2), m, of body points (..., 2) given in car axes, at poses (..., 3).

    pose: (..., 3) m, m, rad, floor axes.  point_car: (..., 2) m.
    """
    pose, point_car = np.asarray(pose, float), np.asarray(point_car, float)
    turned: FloatArray = np.einsum("...ij,...j->...i", rotation(pose[..., 2]), point_car) + pose[..., :2]
    return turned


def compose(outer: FloatArray, inner: FloatArray) -> FloatArray:
    """Pose (..., 3) of something that stands at `inner` in the axes whose own pose is `outer`."""
    outer, inner = np.asarray(outer, float), np.asarray(inner, float)
    yaw = (outer[..., 2] + inner[..., 2])[..., None]
    pose: FloatArray = np.concatenate([place(outer, inner[..., :2]), yaw], -1)
    return pose


def invert(pose: FloatArray) -> FloatArray:
    """Pose (..., 3) of the floor axes in the axes at `pose`: compose(pose, invert(pose)) is zero."""
    pose = np.asarray(pose, float)
    back = -np.einsum("...ji,...j->...i", rotation(pose[..., 2]), pose[..., :2])
    inverse: FloatArray = np.concatenate([back, -pose[..., 2:]], -1)
    return inverse


def slide_parts(pose_start: FloatArray, pose_end: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Forward way, sideways way (m, ...) of the rear-axle middle along the middle heading, and 2 sin(dpsi/2).

    With c the pole in car axes the three are 2 c_y sin, -2 c_x sin and 2 sin of half the turn, whatever c.
    pose_start, pose_end: (..., 3) m, m, rad, floor axes.
    """
    start, end = np.asarray(pose_start, float), np.asarray(pose_end, float)
    way, middle = end[..., :2] - start[..., :2], (start[..., 2] + end[..., 2]) / 2.0
    c, s = np.cos(middle), np.sin(middle)
    forward: FloatArray = c * way[..., 0] + s * way[..., 1]
    sideways: FloatArray = c * way[..., 1] - s * way[..., 0]
    chord: FloatArray = 2.0 * np.sin((end[..., 2] - start[..., 2]) / 2.0)
    return forward, sideways, chord


def swing_pole(pose_start: FloatArray, pose_end: FloatArray) -> FloatArray:
    """Swing pivot (..., 2), m, in car axes: the body point on the same floor place at both poses.

    Infinite or nan when the car did not turn. Yaw must be unwrapped (a turn below a full one).
    pose_start, pose_end: (..., 3) m, m, rad, floor axes.
    """
    forward, sideways, chord = slide_parts(pose_start, pose_end)
    with np.errstate(divide="ignore", invalid="ignore"):
        point: FloatArray = np.stack([-sideways, forward], -1) / chord[..., None]
    return point


def sideways_travel(pose_start: FloatArray, pose_end: FloatArray, wheelbase: float | FloatArray) -> FloatArray:
    """Sideways travel (...), m, of the mid-wheelbase point along the left axis of the middle heading.

    pose_start, pose_end: (..., 3) m, m, rad, floor axes.
    """
    _, sideways, chord = slide_parts(pose_start, pose_end)
    travel: FloatArray = sideways + np.asarray(wheelbase) * chord / 2.0
    return travel


def turn_per_travel(pose_start: FloatArray, pose_end: FloatArray, wheelbase: float | FloatArray) -> FloatArray:
    """Turn per travel kappa (...), 1/m, of the slide between two poses (..., 3).

    kappa = 2 sin(dpsi/2) / dy, dy the sideways travel of the mid-wheelbase point in the axes of the middle
    heading: then L/2 - 1/kappa is exactly the x of the swing pivot. Zero for a straight slide; infinite when
    the car turns about the mid-wheelbase point itself; nan when it does not move.
    pose_start, pose_end: (..., 3) m, m, rad, floor axes.
    """
    *_, chord = slide_parts(pose_start, pose_end)
    with np.errstate(divide="ignore", invalid="ignore"):
        kappa: FloatArray = chord / sideways_travel(pose_start, pose_end, wheelbase)
    return kappa


def slide_jacobian(pose_start: FloatArray, pose_end: FloatArray) -> FloatArray:
    """Derivatives (..., 3, 6) of `slide_parts` after start x, y, yaw and end x, y, yaw.

    pose_start, pose_end: (..., 3) m, m, rad, floor axes.
    """
    start, end = np.asarray(pose_start, float), np.asarray(pose_end, float)
    forward, sideways, _ = slide_parts(start, end)
    middle, half = (start[..., 2] + end[..., 2]) / 2.0, (end[..., 2] - start[..., 2]) / 2.0
    c, s, zero, cosine = np.cos(middle), np.sin(middle), np.zeros_like(middle), np.cos(half)
    rows = [
        np.stack([-c, -s, sideways / 2.0, c, s, sideways / 2.0], -1),
        np.stack([s, -c, -forward / 2.0, -s, c, -forward / 2.0], -1),
        np.stack([zero, zero, -cosine, zero, zero, cosine], -1),
    ]
    jacobian: FloatArray = np.stack(rows, -2)
    return jacobian


def turn_per_travel_jacobian(pose_start: FloatArray, pose_end: FloatArray, wheelbase: float | FloatArray) -> FloatArray:
    """Derivatives (..., 7) of `turn_per_travel` after start x, y, yaw, end x, y, yaw and the wheelbase.

    pose_start, pose_end: (..., 3) m, m, rad, floor axes.
    """
    slide = slide_jacobian(pose_start, pose_end)
    *_, chord = slide_parts(pose_start, pose_end)
    length = np.asarray(wheelbase, float)
    travel = sideways_travel(pose_start, pose_end, length)
    of_travel = slide[..., 1, :] + length[..., None] * slide[..., 2, :] / 2.0
    of_poses = slide[..., 2, :] / travel[..., None] - (chord / travel**2)[..., None] * of_travel
    of_length = -(chord**2) / (2.0 * travel**2)
    jacobian: FloatArray = np.concatenate([of_poses, of_length[..., None]], -1)
    return jacobian
