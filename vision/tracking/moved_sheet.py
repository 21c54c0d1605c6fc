"""A floor sheet that was moved while the clip ran: its markers lie elsewhere at the end, those of others do not."""

import numpy as np

from vision.base.types import BoolArray, FloatArray, FloorLayout
from vision.floor.laid_sheets import sheet_names, sheet_numbers

KICKED_AWAY = 0.25  # px, of a marker's middle; shadows that cross it take it 0.05 px away
STAYED = 0.15  # px
MOSTLY_STILL = 0.5  # of the frames: in fewer, what moved cannot be told from the camera
LEAST_SIGHTINGS = 2  # of a marker in either third of the clip


def moved_sheet_sentences(
    time: FloatArray, on_floor: FloatArray, layout: FloorLayout, *, still: BoolArray, m_per_px: float
) -> list[str]:
    """A sentence for each sheet that moved between frames in which the camera stood still.

    time: (n,) s.  on_floor: (n, m, 4, 2) px, nan where not seen.  still: (n,) frames in which the camera stood.
    m_per_px: at the floor's distance.
    """
    if still.sum() < 3 or still.mean() < MOSTLY_STILL:
        return []
    time, on_floor = time[still], on_floor[still]
    third = (time[-1] - time[0]) / 3.0
    middle = on_floor.mean(axis=2)
    first, last = middle[time <= time[0] + third], middle[time >= time[-1] - third]
    begun, ended = (_usual(part) for part in (first, last))
    away = np.hypot(*np.moveaxis(ended - begun, -1, 0))  # (m,)
    sheet_of = np.array(sheet_numbers(layout))
    names = sheet_names(layout)
    seen = np.isfinite(away)
    sentences, gone = [], np.zeros(len(away), bool)
    for sheet, name in enumerate(names):
        own = seen & (sheet_of == sheet)
        moved = own & (away > KICKED_AWAY)
        if moved.sum() < max(2, int(own.sum()) - 1):
            continue
        gone |= own
        row = int(np.where(moved, away, 0.0).argmax())
        when = _when(time, middle, begun, ended, row)
        way = 1e3 * m_per_px * float(away[row])
        sentences.append(
            f"The floor sheet {name} was moved in mid-clip, at about {when:.1f} s, by "
            f"{way:.{1 if way < 1.0 else 0}f} mm or so: tape the sheets down and push again."
        )
    others = away[seen & ~gone]
    return sentences if len(others) >= 2 and others.max() <= STAYED else []


def _usual(middle: FloatArray) -> FloatArray:
    """(n, m, 2) -> (m, 2): where each marker was, nan for one seen too rarely."""
    place = np.full(middle.shape[1:], np.nan)
    for marker in range(middle.shape[1]):
        own = middle[np.isfinite(middle[:, marker, 0]), marker]
        if len(own) >= LEAST_SIGHTINGS:
            place[marker] = np.median(own, axis=0)
    return place


def _when(time: FloatArray, middle: FloatArray, begun: FloatArray, ended: FloatArray, row: int) -> float:
    """s, when a marker was first nearer to where it ended than to where it began."""
    seen = np.flatnonzero(np.isfinite(middle[:, row, 0]))
    to = [np.hypot(*(middle[seen, row] - place[row]).T) for place in (begun, ended)]
    return float(time[seen[np.argmax(to[1] < to[0])]])
