"""What records are made of: the base of all their parts, and arrays as the tuples that a record holds."""

from collections.abc import Sequence

import msgspec
import numpy as np

from analysis.base.arrays import FloatArray

Pair = tuple[float, float]
Triple = tuple[float, float, float]
FourNumbers = tuple[float, float, float, float]
"""Wheels FL, FR, RL, RR, or pads 1 to 4."""
Numbers = tuple[float, ...]
Matrix = tuple[Numbers, ...]
Words = tuple[str, ...]


class Content(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Inputs, a result, or a part of one. A field that may be missing defaults to None and is then left out."""


class Empty(Content, frozen=True, kw_only=True):
    """Inputs of a record whose cards and files say everything."""


def pair(values: FloatArray | Sequence[float]) -> Pair:
    """values: (2,), as a record holds them."""
    first, second = _plain(values)
    return first, second


def triple(values: FloatArray | Sequence[float]) -> Triple:
    """values: (3,), as a record holds them."""
    first, second, third = _plain(values)
    return first, second, third


def four(values: FloatArray | Sequence[float]) -> FourNumbers:
    """values: (4,), as a record holds them."""
    first, second, third, fourth = _plain(values)
    return first, second, third, fourth


def numbers(values: FloatArray | Sequence[float]) -> Numbers:
    """values: (n,), as a record holds them."""
    return tuple(_plain(values))


def matrix(values: FloatArray | Sequence[Sequence[float]]) -> Matrix:
    """values: (n, m), as a record holds them."""
    return tuple(numbers(row) for row in np.asarray(values, dtype=float))


def finite(value: float | None) -> float | None:
    """A number, or None for one that is missing or not finite."""
    return None if value is None or not np.isfinite(value) else float(value)


def _plain(values: FloatArray | Sequence[float]) -> list[float]:
    plain: list[float] = np.asarray(values, dtype=float).tolist()
    return plain
