"""A body that leans takes its plate aside: the lean measured in each frame, taken out of the poses.

Seen from above, a plate at height h on a body that rolls by an angle moves by h times its sine, which a fit that holds
the plate level takes for a slide of the car. Where the lean changes by more than its noise, every pose is put back to
where the car stands; about which height the body leans stays unknown and goes into the uncertainty. A plate that then
stands lower or higher than before the push (a nose that dips about the rear axle, springs that stick) is seen farther
off or nearer by the camera: that is measured and taken out, too.
"""

from dataclasses import dataclass, replace

import numpy as np

from vision.base.types import ClipTrack, FloatArray
from vision.base.windows import neighbours
from vision.fitting.noise import copied_spread
from vision.fitting.solve import Solved

AT_START, LEAN_FRAMES = 15, 3
"""Frames behind the lean before and after the push, and behind each frame's."""
LEAST_LEAN = np.radians(0.12)
SURE_ONCE, SURE_LASTING = 5.0, 2.5
"""rad, and standard uncertainties in a single frame and at rest after the push, from which a change of lean counts."""
REPEATS = 0.04
"""px, of a corner, that no smoothing makes smaller."""
ABOUT_U = 0.2
"""Of the plate's height: standard uncertainty of the height about which the body leans (roll centres of scale cars
lie near the ground)."""
LEAST_SINK, SURE_SINK = 0.0005, 4.0
"""m, and standard uncertainties, from which a change of the plate's height from before the push to after it counts."""
SINK_U = 0.3
"""Of a change of height: its standard uncertainty beside its noise."""
SINK_CAUSE = "how far the body sank"
LEAN_CAUSE = "height about which the body leans"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeanPart:
    """What the lean does to n poses. shift: (n, 3) m, m, rad to be taken off.  new, repeating: (n, 3, 3) covariances.
    causes: (c, n, 3) one standard uncertainty each of what stays unknown, names: (c,) of what.  change: (n, 2) rad
    since the start, smoothed.  sure: larger than all that a coder leaves of a picture's corners, too: worth a word.
    sunk: m, by how much lower the plate stands after the push; 0 where that is too little to tell.
    """

    shift: FloatArray
    new: FloatArray
    repeating: FloatArray
    causes: FloatArray
    names: tuple[str, ...]
    change: FloatArray
    sure: bool
    sunk: float


def lean_part(solved: Solved, kept: np.ndarray, noise: FloatArray, height: float) -> LeanPart | None:
    """The lean's part in the kept frames (n,), None where the body stays as level, and as high, as can be told.

    noise: (n,) px, of a corner from frame to frame.  height: m, of the plate.
    """
    if len(kept) < 2 * AT_START:
        return None
    lean, unit = solved.lean[kept], solved.lean_u[kept]
    change = _smooth(lean - np.median(lean[:AT_START], axis=0))
    frame_u = unit * noise[:, None] / np.sqrt(LEAN_FRAMES)
    repeats = unit * REPEATS

    def leans(px: float) -> bool:
        """Whether the lean changes by more than corners that err by so many px alike in neighbouring frames make it."""
        # The start's lean has the same errors once more.
        once, lasting = (
            factor * np.sqrt(2.0) * np.median(np.hypot(u, unit * px), axis=0)
            for factor, u in ((SURE_ONCE, frame_u), (SURE_LASTING, frame_u * np.sqrt(LEAN_FRAMES / AT_START)))
        )
        stays = np.abs(np.median(change[-AT_START:], axis=0))
        away = np.abs(change) > np.maximum(once, LEAST_LEAN)
        return bool(np.any(away) or np.any(stays > np.maximum(lasting, LEAST_LEAN)))

    by_height, height_unit = solved.by_height[kept], solved.rise[kept, 1]
    rise = solved.rise[kept, 0]
    risen = _smooth((rise - np.median(rise[:AT_START]))[:, None])[:, 0]
    stays = float(np.median(risen[-AT_START:]))
    at_rest = np.hypot(noise / np.sqrt(AT_START), np.hypot(REPEATS, np.sqrt(copied_spread(solved, kept))))
    sinks = abs(stays) > max(LEAST_SINK, SURE_SINK * np.sqrt(2.0) * float(np.median(height_unit * at_rest)))
    leaned = leans(REPEATS)
    if not leaned and not sinks:
        return None
    c, s = np.cos(solved.pose[kept, 2]), np.sin(solved.pose[kept, 2])
    zero = np.zeros_like(c)
    # left side up takes what is high to the right, nose down forward
    aside = height * np.stack([np.stack([s, c], -1), np.stack([-c, s], -1), np.stack([zero, zero], -1)], axis=1)
    by_lean = solved.by_lean[kept] + aside
    counts = np.array([leaned, leaned, sinks])  # roll, pitch, height
    by_both = np.concatenate([by_lean, by_height[..., None]], axis=-1)[..., counts]

    def covariance(u: FloatArray, of_height: FloatArray) -> FloatArray:
        part = by_both * np.column_stack([u, of_height])[:, None, counts]
        return np.asarray(part @ np.swapaxes(part, 1, 2), float)

    own_cause = ABOUT_U * np.einsum("nij,nj->ni", aside, change)
    parts = ((leaned, LEAN_CAUSE, own_cause), (sinks, SINK_CAUSE, SINK_U * by_height * risen[:, None]))
    return LeanPart(
        # a pose that was fitted for the height of before lies short of where a higher plate stands
        shift=np.einsum("nij,nj->ni", by_both, np.column_stack([change, -risen])[:, counts]),
        new=covariance(frame_u, height_unit * noise / np.sqrt(LEAN_FRAMES)),
        repeating=covariance(repeats, height_unit * REPEATS),
        causes=np.stack([cause for found, _, cause in parts if found]),
        names=tuple(name for found, name, _ in parts if found),
        change=change,
        sure=leaned and leans(float(np.hypot(REPEATS, np.sqrt(copied_spread(solved, kept))))),
        sunk=-stays if sinks else 0.0,
    )


def set_upright(track: ClipTrack, leans: LeanPart) -> ClipTrack:
    """The track (n poses) with the body's lean taken off its poses, and what stays unknown of it in its covariances."""
    return replace(
        track,
        pose=track.pose - leans.shift,
        covariance=track.covariance + leans.new,
        repeating=track.repeating + leans.repeating,
        shared=np.concatenate([track.shared, leans.causes]),
        shared_names=(*track.shared_names, *leans.names),
    )


def _smooth(lean: FloatArray) -> FloatArray:
    """(n, 2) the mean over the neighbours, without what a hand does to a single frame."""
    calm = np.median(neighbours(lean, 3), axis=-1)
    return np.asarray(neighbours(calm, LEAN_FRAMES).mean(-1), float)


def lean_sentence(change: FloatArray, height: float) -> str:
    """change: (n, 2) rad, smoothed.  height: m."""
    size = np.hypot(change[:, 0], change[:, 1])
    largest, stays = float(size.max()), float(np.median(size[-AT_START:]))
    left = f"; {np.degrees(stays):.1f}° of it stays after the push" if stays > 0.3 * largest else ""
    return (
        f"The body leaned by up to {np.degrees(largest):.1f}° against the start{left}. At the plate's height that is "
        f"{1e3 * height * largest:.1f} mm, which was taken out of the poses and is in the ±: push lower, let the body "
        "settle, and check the suspension for sticking."
    )


def sink_sentence(sunk: float) -> str:
    """sunk: m, positive where the plate stands lower after the push."""
    where = f"{1e3 * abs(sunk):.1f} mm {'lower' if sunk > 0 else 'higher'}"
    return (
        f"The plate stands {where} after the push than before: the body did not come back to its "
        "height. That was taken out of the poses and is in the ±: push lower, let the "
        "body settle, and check the suspension for sticking."
    )
