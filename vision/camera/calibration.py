"""A camera's lens from views of a flat board: parameters, their doubt, and which views were left out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from vision.base.errors import InputError, VisionError
from vision.base.robust import MAD_TO_SIGMA
from vision.base.types import Camera, FloatArray
from vision.camera.board_views import (
    Board,
    BoardView,
    Coverage,
    board_family,
    coverage,
    views_in_clip,
    views_in_photos,
)

FEWEST_VIEWS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardCalibration:
    """A calibrated camera.

    camera: with standard uncertainties `u` of fx fy cx cy k1 k2 p1 p2 k3 (0 for a fixed k3).
    rms: px, distance of the corners used from where the camera puts them.  view_rms: (views used,) px.
    views_used: names.  views_left_out: name -> reason.  coverage: of the views used.
    warnings: sentences for people.
    """

    camera: Camera
    rms: float
    view_rms: FloatArray
    views_used: tuple[str, ...]
    views_left_out: dict[str, str]
    coverage: Coverage
    warnings: tuple[str, ...]


def calibrate(views: Sequence[BoardView], *, free_k3: bool = False, reject: bool = True) -> BoardCalibration:
    """Fit pinhole and Brown-Conrady lens to board views of one picture size.

    free_k3: fit k3 too; fixed at 0 is steadier.  reject: leave out views that fit far worse than the
    others (a bent board, blur, a wrong corner), worst first, judged against the median view.
    The uncertainties come from the spread of the residuals and take corner errors as independent.
    Source of the method: Zhang, IEEE PAMI 22(11), 2000, as OpenCV carries it out.
    Raises InputError for too few views or mixed sizes; VisionError when the fit fails or makes no sense.
    """
    if len({view.size for view in views}) > 1:
        raise InputError(
            "the pictures have different sizes",
            where="calibration",
            remedy="Calibrate each size and orientation of the camera apart",
        )
    used, left_out = list(views), {}
    while True:
        if len(used) < FEWEST_VIEWS:
            raise InputError(
                f"only {len(used)} usable views of the board",
                where="calibration",
                remedy=f"Show the board from at least {FEWEST_VIEWS}, better 10 sides, "
                "whole, flat and sharp, and check its number of squares",
            )
        rms, matrix, lens, spread, view_rms = _fit(used, free_k3)
        worst = int(np.argmax(view_rms))
        limit = _limit(view_rms)
        if not reject or view_rms[worst] <= limit:
            break
        left_out[used[worst].name] = (
            f"corners miss by {view_rms[worst]:.2f} px, the other views by about {np.median(view_rms):.2f} px"
        )
        del used[worst]
    u = np.zeros(9)
    u[: len(spread)] = spread[:9]
    covered = coverage(used)
    warnings = list(covered.advice)
    if len(left_out) > len(views) // 3:
        warnings.append(f"{len(left_out)} of {len(views)} views did not fit: is the board flat and the picture sharp?")
    if u[0] > 0.005 * matrix[0, 0]:
        warnings.append(
            f"The focal length is only known to {100 * u[0] / matrix[0, 0]:.1f} %: tilt the board more and come closer."
        )
    camera = Camera(matrix=matrix, distortion=lens, size=views[0].size, known=True, u=u)
    return BoardCalibration(
        camera=camera,
        rms=rms,
        view_rms=view_rms,
        views_left_out=left_out,
        views_used=tuple(view.name for view in used),
        coverage=covered,
        warnings=tuple(warnings),
    )


def calibrate_from_files(
    paths: Sequence[Path], board: Board, *, free_k3: bool = False, progress: Callable[[float], None] | None = None
) -> BoardCalibration:
    """Calibrate from one clip, or from photos (JPEG, PNG, ...).

    progress: share of the looking.  A user who stops (KeyboardInterrupt) during a clip still gets the
    calibration of the views had so far when they are enough.  Raises as `calibrate`, and InputError
    for files that cannot be read or do not show the board.
    """
    photos = len(paths) != 1 or cv2.haveImageReader(str(paths[0]))
    found: list[BoardView] = []
    stream = views_in_photos(paths, board, progress) if photos else views_in_clip(paths[0], board, progress=progress)
    try:
        for view in stream:
            found.append(view)
    except KeyboardInterrupt:
        if len(found) < FEWEST_VIEWS:
            raise
    if not found:
        family = "" if not board.dictionary else board_family(paths, photos=photos)
        if family not in ("", board.dictionary):
            raise InputError(
                f"no picture shows a board with markers of {board.dictionary}, but markers of {family} are in them",
                where="calibration",
                remedy=f"Give --dictionary {family}, and the board's number of squares",
            )
        raise InputError(
            "no picture shows the whole board described",
            where="calibration",
            remedy="Check the number of squares and the family of its markers, light it evenly, come closer",
        )
    return calibrate(found, free_k3=free_k3)


def _limit(view_rms: FloatArray) -> float:
    """Worst rms that still belongs: median and scaled median deviation, 3.5 of them, never under 1.5 medians."""
    middle = float(np.median(view_rms))
    spread = MAD_TO_SIGMA * float(np.median(np.abs(view_rms - middle)))
    return max(middle + 3.5 * spread, 1.5 * middle)


def _fit(views: Sequence[BoardView], free_k3: bool) -> tuple[float, FloatArray, FloatArray, FloatArray, FloatArray]:
    """rms, matrix, distortion (5,), standard deviations (9,), rms per view."""
    flat: list[Any] = [np.column_stack([v.place, np.zeros(len(v.place))]).astype(np.float32) for v in views]
    seen: list[Any] = [v.pixel.astype(np.float32) for v in views]
    flags = 0 if free_k3 else cv2.CALIB_FIX_K3
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 200, 1e-10)
    start: Any = None
    try:
        rms, matrix, lens, _, _, spread, _, per_view = cv2.calibrateCameraExtended(
            flat, seen, views[0].size, start, start, flags=flags, criteria=stop
        )
    except cv2.error as error:
        raise VisionError(
            "the camera cannot be worked out from these views",
            where="calibration",
            remedy="Tilt the board more and show it from more sides",
        ) from error
    matrix, lens = np.asarray(matrix, float), np.asarray(lens, float).ravel()[:5]
    focal, width = matrix[0, 0], max(views[0].size)
    if not (np.all(np.isfinite(matrix)) and np.all(np.isfinite(lens)) and 0.2 * width < focal < 20 * width):
        raise VisionError(
            "the camera worked out from these views makes no sense",
            where="calibration",
            remedy="Tilt the board more and show it from more sides",
        )
    return float(rms), matrix, lens, np.asarray(spread, float).ravel(), np.asarray(per_view, float).ravel()
