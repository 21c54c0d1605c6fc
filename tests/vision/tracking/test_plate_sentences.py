"""Markers that do not lie on the plate as on the card: a single odd one, and a plate in two parts (by hand)."""

import numpy as np
import pytest

from vision.markers.layouts import default_car
from vision.tracking.notes import plate_sentences

CAR = default_car(0.26)


@pytest.mark.parametrize(
    ("away", "apart", "weight", "said"),
    [
        ((0.03, 0.05, 0.04, 0.03), (0.01, 0.02, 0.03, 0.02), (0.96, 0.92, 0.92, 0.95), ""),
        ((2.0, 0.05, 0.04, 0.03), (2.0, 0.01, 0.03, 0.02), (0.0, 0.92, 0.92, 0.95), "marker 0 sits about 2.0 mm"),
        ((0.0, 0.1, 0.1, 0.5), (0.1, 0.1, 0.1, 0.5), (0.9, 0.9, 0.9, 0.2), "marker 3 sits about 0.5 mm"),
        ((0.0, 0.1, 0.1, 0.5), (0.1, 0.1, 0.1, 0.5), (0.9, 0.9, 0.9, 0.8), ""),  # one of four, and it counts
        ((1.3, 1.3, 1.3, 1.3), (0.03, 0.03, 0.06, 0.04), (0.9, 0.9, 0.9, 0.9), ""),  # a plate higher than the card says
        ((0.5, 0.6, 0.6, 0.5), (0.32, 0.34, 0.31, 0.37), (0.87, 0.81, 0.82, 0.85), "(their corners are 0.4 mm off)"),
        ((0.1, 0.0, 0.6, 0.5), (0.1, 0.1, 0.31, 0.33), (0.9, 0.9, 0.8, 0.8), "(their corners are 0.3 mm off)"),
    ],
)
def test_what_is_said_of_the_plate(
    away: tuple[float, ...], apart: tuple[float, ...], weight: tuple[float, ...], said: str
) -> None:
    sentences = plate_sentences(CAR, np.array(away), np.array(apart), np.array(weight))
    assert len(sentences) == bool(said)
    assert said in "".join(sentences)
