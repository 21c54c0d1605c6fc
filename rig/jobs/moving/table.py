"""Columns of numbers out of a table that a person or another program wrote."""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from rig.base.errors import InputError
from rig.base.files import small_file


def columns(path: Path, wanted: Sequence[str]) -> FloatArray:
    """(m, k) the wanted columns of a CSV table whose first line names them, in any order, others left out.

    Raises InputError naming the head or the line that cannot be used.
    """
    try:
        lines = small_file(path, "table").decode("utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            "cannot read this table", where=str(path), remedy="Name a CSV table that you may read"
        ) from error
    heads = [word.strip() for word in lines[0].split(",")] if lines else []
    missing = [name for name in wanted if name not in heads]
    if missing:
        raise InputError(
            f"the first line does not name {', '.join(missing)}", where=str(path), remedy="Add these heads"
        )
    column = [heads.index(name) for name in wanted]
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        cells = line.split(",")
        try:
            row = [float(cells[k]) for k in column]
            if not all(map(math.isfinite, row)):
                raise ValueError
        except (ValueError, IndexError) as error:
            raise InputError(
                f"line {number} does not hold {len(column)} numbers",
                where=str(path),
                remedy="Correct or delete that line",
            ) from error
        rows.append(row)
    return np.array(rows, dtype=float).reshape(-1, len(column))
