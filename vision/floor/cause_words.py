"""What contradicts the cards on the floor, in words: the likeliest cause, what it would explain, what to do."""

import numpy as np

from vision.base.types import FloorLayout
from vision.floor.causes import FloorCause, FloorCauseKind
from vision.floor.fit import FloorFit
from vision.floor.laid_sheets import sheet_names

LEAST_MOVE = 0.001
"""m: a sheet that lies nearer to its place is no news."""
ODD_ONE = 0.3
"""Of the sheet that is farthest off its size; where no other is so far off, it is the one."""
FIRST = "The floor markers contradict the cards. Most probable: "

OTHERS = {
    FloorCauseKind.SHEET_MOVED: "a sheet that lies elsewhere",
    FloorCauseKind.ALL_PRINTED: "sheets printed at another size",
    FloorCauseKind.SHEET_PRINTED: "one sheet printed at another size",
    FloorCauseKind.BOWED: "a floor that is not flat",
    FloorCauseKind.LENS: "the lens",
}


def floor_sentences(fit: FloorFit, layout: FloorLayout, *, calibrated: bool = False) -> list[str]:
    """A sentence for each cause found; sheets that a loose card lets lie elsewhere; waves in the paper.

    calibrated: the lens was known before.
    """
    names = sheet_names(layout)
    sentences = [_sentence(cause, fit, names, calibrated=calibrated) for cause in fit.causes]
    moved = {cause.sheet for cause in fit.causes if cause.kind is FloorCauseKind.SHEET_MOVED}
    apart = np.hypot(fit.sheet[:, 0], fit.sheet[:, 1])
    for sheet, name in enumerate(names):
        if len(names) > 1 and not moved and apart[sheet] > max(4.0 * layout.place_u, LEAST_MOVE):
            sentences.append(
                f"The floor sheet {name} lies {1e3 * apart[sheet]:.1f} mm from the place on the card: measure again, "
                "or learn the layout from the clip."
            )
    if fit.wave > 5e-4:
        sentences.append(
            f"The paper of the floor sheets is not flat: corners lie about {1e3 * fit.wave:.1f} mm higher or lower "
            "than their sheets. Flatten the sheets and tape them down; it is in the ±."
        )
    return sentences


def _one_print(fit: FloorFit, sheet: int, name: str, other: str) -> str:
    both, more = 100.0 * fit.floor.stretches(fit.laid)[sheet]
    return (
        f"{FIRST}the floor sheet {name} is printed at {100.0 + both + more:.1f} % along x and "
        f"{100.0 + both - more:.1f} % along y{other}. Measure its printed bar, and print all sheets alike."
    )


def _sentence(cause: FloorCause, fit: FloorFit, names: tuple[str, ...], *, calibrated: bool) -> str:
    other = f"; next in line: {OTHERS[cause.other]}" if cause.other is not None and cause.share < 0.95 else ""
    name = names[cause.sheet] if cause.sheet >= 0 else ""
    if cause.kind is FloorCauseKind.SHEET_MOVED:
        dx, dy, turn = fit.sheet[cause.sheet]
        turned = f" and turned by {abs(np.degrees(turn)):.1f}°" if abs(turn) > 0.005 else ""
        against = "the other" if len(names) == 2 else "the others"
        return (
            f"{FIRST}the floor sheet {name} lies {1e3 * np.hypot(dx, dy):.1f} mm from its place against {against}"
            f"{turned}{other}. Measure its place again, or learn the layout from the clip."
        )
    if cause.kind is FloorCauseKind.ALL_PRINTED:
        off = np.abs(fit.floor.stretches(fit.laid)[:, 0])
        if (off > ODD_ONE * off.max()).sum() == 1 and len(names) > 1:
            return _one_print(fit, int(off.argmax()), names[int(off.argmax())], other)
        size = 100.0 * (1.0 + float(fit.floor.stretches(fit.laid)[:, 0].mean()))
        return (
            f"{FIRST}the floor sheets are printed at {size:.1f} % of the size on the bench card{other}. Measure "
            "their printed bar with a ruler and write it as bar_mm under [floor], and measure the distance between "
            "the sheets."
        )
    if cause.kind is FloorCauseKind.SHEET_PRINTED:
        return _one_print(fit, cause.sheet, name, other)
    if cause.kind is FloorCauseKind.BOWED:
        corner = fit.corner_place
        height = 1e3 * float(np.ptp(fit.floor.bow_shapes(corner[..., :2]) @ fit.laid[fit.floor.bow_part]))
        return (
            f"{FIRST}the floor is not flat here: its height under the sheets differs by about {height:.1f} mm{other}. "
            "Film on a flatter floor or table, or flatten the sheets."
        )
    if calibrated:
        return (
            f"{FIRST}the clip was not filmed through the lens that was calibrated (another phone, mode or zoom: its "
            f"focal length seems to be {fit.intrinsics[0]:.0f} px){other}. Calibrate the camera as it films pushes, or "
            "take the lens and the calibration off the bench card."
        )
    return (
        f"{FIRST}the lens bends the picture more than an ordinary one{other}: calibrate the camera with "
        "pivotbench camera calibrate, or film with the main lens instead of the wide one."
    )
