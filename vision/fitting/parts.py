"""What some frames of a pass gave before all of them are joined, and what frames asked for again gave before."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from vision.base.types import FloatArray

SHARED_KEPT = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What is kept of one chunk of n frames; see Solved. What the poses were worked out with goes with the chunk.

    shared: (k, n, 3) of all causes.  residual: (n, m, 2) px, mean of each car marker, weight: (n, m) mean weight.
    apart: (n, m, 4, 2) px, as `CarPoses`, nan where not seen.  rise_u: (n,) m.  extra_ink: (n,) px.
    zoom, zoom_u: (n,) as `CameraPoses`, camera_noise: (n,) px of those fits.
    by_zoom: (n, 3) of the pose, the camera's included.  by_readout: (n, 3) per s, the same.
    """

    pose: FloatArray
    unit: FloatArray
    noise: FloatArray
    used: FloatArray
    floor_used: FloatArray
    repeating_gain: FloatArray
    lean: FloatArray
    lean_u: FloatArray
    by_lean: FloatArray
    by_height: FloatArray
    rise: FloatArray
    rise_u: FloatArray
    extra_ink: FloatArray
    marker_mean: FloatArray
    residual: FloatArray
    apart: FloatArray
    weight: FloatArray
    shared: FloatArray
    names: tuple[str, ...]
    camera_part: FloatArray
    m_per_px: FloatArray
    rotation: FloatArray
    place: FloatArray
    zoom: FloatArray
    zoom_u: FloatArray
    camera_noise: FloatArray
    by_zoom: FloatArray
    by_readout: FloatArray

    def of_frames(self) -> Iterator[tuple[str, FloatArray]]:
        """The fields with one row a frame, by name."""
        for one in fields(self):
            if one.name not in ("shared", "names"):
                yield one.name, getattr(self, one.name)


@dataclass(slots=True)
class Remembered:
    """What frames that are asked for again and again gave, on a floor that is known: each is worked out once.

    frames: of the last call, by their numbers.
    """

    frames: dict[int, Part] = field(default_factory=dict)


def one_of(part: Part, at: int) -> Part:
    """One frame of a part, by its place there."""
    own: dict[str, Any] = {name: value[at : at + 1] for name, value in part.of_frames()}
    return replace(part, **own, shared=part.shared[:, at : at + 1])


def together(parts: Sequence[Part]) -> Part:
    """Parts of one pass in one, worked out with the same."""
    rows = [dict(part.of_frames()) for part in parts]
    joined: dict[str, Any] = {name: np.concatenate([row[name] for row in rows]) for name in rows[0]}
    return replace(parts[0], **joined, shared=np.concatenate([part.shared for part in parts], axis=1))


def compact(shared: list[FloatArray], fixed: int, names: tuple[str, ...]) -> tuple[FloatArray, tuple[str, ...]]:
    """Join the many small camera causes of all chunks into the few independent combinations that matter."""
    camera_parts = [part[fixed:] for part in shared]
    flat = [np.where(np.isfinite(part), part, 0.0).reshape(len(part), -1) for part in camera_parts]
    values, vectors = np.linalg.eigh(np.sum([part @ part.T for part in flat], axis=0))
    order = np.argsort(values)[::-1][:SHARED_KEPT]
    kept = [i for i in order if values[i] > 1e-6 * max(values[order[0]], 1e-30)]
    joined = [
        np.concatenate([part[:fixed], np.einsum("ik,inj->knj", vectors[:, kept], part[fixed:])]) for part in shared
    ]
    return np.concatenate(joined, axis=1), names[: fixed + len(kept)]
