"""A lens that a person typed onto the bench card: what cannot be meant, and the camera that it is."""

import numpy as np

from analysis.base.arrays import FloatArray
from rig.base.errors import InputError
from rig.cards.keys.bench import BenchCard, Lens
from vision.base.types import Camera

SHARE_U = 0.003
"""Of focal length and width: by how much calibrations of one phone by two people differ (from memory, no source)."""
OFF_MIDDLE = 0.25
"""Of the picture's side: a principal point farther from its middle belongs to another picture."""
UNLIKE = 1.25
"""Focal lengths along and across differ by as much as pixels are longer than wide: never by so much."""


def typed_lens(bench: BenchCard) -> Camera | None:
    """The lens that stands on the bench card, None where none does."""
    lens = bench.camera.lens
    if lens is None:
        return None
    centre_u = SHARE_U * lens.width_px
    u = [
        SHARE_U * lens.fx_px if lens.fx_px_u is None else lens.fx_px_u,
        SHARE_U * lens.fy_px if lens.fy_px_u is None else lens.fy_px_u,
        centre_u if lens.cx_px_u is None else lens.cx_px_u,
        centre_u if lens.cy_px_u is None else lens.cy_px_u,
    ]
    return Camera(
        matrix=np.array([[lens.fx_px, 0.0, lens.cx_px], [0.0, lens.fy_px, lens.cy_px], [0.0, 0.0, 1.0]]),
        distortion=np.array([lens.k1, lens.k2, lens.p1, lens.p2, lens.k3]),
        size=(lens.width_px, lens.height_px),
        u=np.array([*u, lens.k1_u, lens.k2_u, lens.p1_u, lens.p2_u, lens.k3_u]),
        scales=False,
    )


def refuse_lens(bench: BenchCard, where: str) -> None:
    """Raise InputError for a lens that belongs to no picture of the size beside it, or stands beside a calibration."""
    lens = bench.camera.lens
    if lens is None:
        return
    if bench.camera.calibration:
        raise InputError(
            "camera: there is a lens, and a calibration is named, too",
            where=where,
            remedy="Take out one of them: [camera.lens], or calibration",
        )
    for key, centre, side in (("cx_px", lens.cx_px, lens.width_px), ("cy_px", lens.cy_px, lens.height_px)):
        if abs(centre / side - 0.5) > OFF_MIDDLE:
            raise InputError(
                f"camera.lens.{key} = {centre:g} is not near the middle of a side of {side} pixels ({side / 2:g})",
                where=where,
                remedy="Give the numbers of one calibration, with the size of the pictures that it was made from",
            )
    if max(lens.fx_px, lens.fy_px) > UNLIKE * min(lens.fx_px, lens.fy_px):
        raise InputError(
            f"camera.lens.fx_px = {lens.fx_px:g} and fy_px = {lens.fy_px:g} are not of one lens with square pixels",
            where=where,
            remedy="Both are nearly alike: check for a slipped digit, and that neither is cx_px or cy_px",
        )
    if _folds(lens):
        raise InputError(
            "camera.lens: with these k1, k2 and k3 the picture would fold over before its corners",
            where=where,
            remedy="The order is k1, k2, p1, p2, k3 in many programs: check which number is which, and their signs. A "
            "fisheye model's numbers do not fit here",
        )


def _folds(lens: Lens) -> bool:
    """Whether points farther out are seen farther in, somewhere in the picture."""
    corners = np.array([[0, 0], [lens.width_px, 0], [0, lens.height_px], [lens.width_px, lens.height_px]], float)
    away = (corners - [lens.cx_px, lens.cy_px]) / [lens.fx_px, lens.fy_px]
    reach = float(np.hypot(away[:, 0], away[:, 1]).max())
    r: FloatArray = np.linspace(0.0, 4.0 * reach, 2000)
    seen = r * (1.0 + lens.k1 * r**2 + lens.k2 * r**4 + lens.k3 * r**6)
    back = np.flatnonzero(np.diff(seen) <= 0)
    return bool(len(back) and seen[back[0]] < reach)
