"""Floor sheets that lie otherwise to each other at the end of a clip than at its beginning, though the camera moves.

A camera that stands shows a sheet that is kicked by itself (`vision.tracking.moved_sheet`). One that a hand holds moves
in every picture; then each picture is asked where one sheet lies against the others, beside the camera's own place and
focal length. A single picture knows that to a few tenths of a millimetre; many at either end know it better.
"""

from dataclasses import dataclass

import numpy as np

from vision.base.errors import InputError
from vision.base.types import Camera, FloatArray, FloorLayout
from vision.fitting.clip_floor import fit_clip_floor
from vision.fitting.gauss_newton import Optics
from vision.fitting.poses import sheet_offsets
from vision.floor.fit import FloorFit
from vision.floor.laid_sheets import sheet_names, sheet_numbers

SHEETS_IN_MARKERS = 4
LEAST_PICTURES = 4
"""At either end of the clip."""
MOST_PICTURES = 40
LEAST_APART = 0.001
"""m, of the corner that went farthest; paper with waves and a lens that is not quite the fitted one stay below 0.4 mm
(corners made of hand-held clips)."""
TAPE_DOWN = "Tape the sheets down, lock lens and zoom, and push again"
SURELY_APART = 5.0
"""Standard uncertainties, of pictures whose errors are taken as alike in groups of four."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """names: of the sheet, and of the others when there is only one other.  way: m.  since: s, where it began."""

    names: tuple[str, ...]
    way: float
    since: float

    @property
    def words(self) -> str:
        """What was seen and what it may be, without a full stop."""
        who = f"sheets {' and '.join(self.names)} lie" if len(self.names) > 1 else f"sheet {self.names[0]} lies"
        other = "to each other" if len(self.names) > 1 else "to the others"
        return (
            f"the floor {who} otherwise {other}, by about {1e3 * self.way:.0f} mm, from {self.since:.1f} s "
            "on: a sheet was moved in mid-clip, or the camera changed its lens or its zoom"
        )


def sheets_apart(time: FloatArray, on_floor: FloatArray, layout: FloorLayout, fit: FloorFit) -> Apart | None:
    """The sheet that went farthest against the others, None where none did or too little was seen of them.

    time: (n,) s.  on_floor: (n, m, 4, 2) px, nan where not seen.
    """
    numbers, names = np.array(sheet_numbers(layout)), sheet_names(layout)
    rich = np.flatnonzero(np.isfinite(on_floor).all((2, 3)).sum(1) >= SHEETS_IN_MARKERS)
    if len(names) < 2 or len(rich) < 3 * LEAST_PICTURES:
        return None
    third = len(rich) // 3
    first, last = (
        part[np.linspace(0, third - 1, min(third, MOST_PICTURES)).astype(int)] for part in (rich[:third], rich[-third:])
    )
    between = rich[third:-third]
    picked = np.concatenate([first, between[:: max(1, len(between) // MOST_PICTURES)], last])
    optics = Optics(intrinsics=fit.intrinsics, basis=fit.basis, ink=fit.ink, least_residual=0.08)
    found: list[Apart] = []
    for sheet in range(1 if len(names) == 2 else 0, len(names)):
        own = numbers == sheet
        offset = sheet_offsets(on_floor[picked].astype(float), fit.corner_place, optics, own)
        begun, ended = offset[: len(first)], offset[-len(last) :]
        change = np.median(ended, axis=0) - np.median(begun, axis=0)
        u = np.sqrt(sum(4.0 * part.var(axis=0) / len(part) for part in (begun, ended)))
        arm = fit.corner_place[own][..., :2] - fit.corner_place[own][..., :2].mean((0, 1))
        turned = np.stack([-arm[..., 1], arm[..., 0]], axis=-1)
        way = float(np.linalg.norm(change[:2] + change[2] * turned, axis=-1).max())
        if way < LEAST_APART or not np.any(np.abs(change) > SURELY_APART * u):
            continue
        reach = float(np.linalg.norm(arm, axis=-1).max())
        to = [np.linalg.norm((offset - np.median(part, axis=0)) * [1.0, 1.0, reach], axis=1) for part in (begun, ended)]
        since = float(time[picked[int(np.argmax(to[1] < to[0]))]])
        found.append(Apart(names=tuple(names) if len(names) == 2 else (names[sheet],), way=way, since=since))
    return max(found, key=lambda one: one.way, default=None)


def check_sheets_stayed(time: FloatArray, on_floor: FloatArray, layout: FloorLayout, camera: Camera) -> None:
    """Raise InputError where sheets that no longer fit the card did so at the clip's beginning.

    For a camera that never stood. time: (n,) s.  on_floor: (n, m, 4, 2) px.
    """
    begun = on_floor[: len(time) // 3]
    try:
        fit = fit_clip_floor(begun, layout, camera, still=np.zeros(len(begun), bool))
    except InputError:
        return
    apart = sheets_apart(time, on_floor, layout, fit)
    if apart is not None:
        raise InputError(apart.words, where="clip", remedy=TAPE_DOWN)
