"""An address as a QR code (ISO/IEC 18004), by OpenCV's encoder: rows of 0 and 1 that the page draws."""

import cv2
import numpy as np

BORDER = 4
"""Light modules that the standard asks for on every side."""


def qr_rows(text: str) -> list[str]:
    """One string of 0 (light) and 1 (dark) a row of modules, with the light border that a reader needs."""
    dark = cv2.QRCodeEncoder.create().encode(text) < 128
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    code = np.pad(dark[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1], BORDER)
    return ["".join("01"[int(module)] for module in row) for row in code]
