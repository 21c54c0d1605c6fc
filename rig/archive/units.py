"""The unit of every column of an export's tables, for whoever does not know how this program names things."""

import csv
import io
import re
from collections.abc import Mapping

UNIT_OF_ENDING = {
    "g_per_mm": "g/mm",
    "grams_per_mm": "g/mm",
    "per_mm": "1/mm",
    "per_m": "1/m",
    "m_rad": "m rad",
    "mm_s": "mm/s",
    "m_s2": "m/s²",
    "m_s": "m/s",
    "rad2": "rad²",
    "N2": "N²",
    "g2": "g²",
    "m2": "m²",
    "pct": "%",
    "deg": "degree",
    "rad": "rad",
    "px": "px",
    "ms": "ms",
    "mm": "mm",
    "c": "°C",
    "g": "g",
    "m": "m",
    "N": "N",
    "s": "s",
}
"""Ending of a name -> unit; longer endings first."""
_ENDING = re.compile(rf"(?:^|_)(?P<unit>{'|'.join(UNIT_OF_ENDING)})$")
OTHERWISE = (
    ("calibration", r"pads\.\d+\.(coefficients|mass_shift)\.1", "counts"),
    ("calibration", r"pads\.\d+\.(coefficients|mass_shift)\.2", "counts/g"),
    ("calibration", r"pads\.\d+\.(coefficients|mass_shift)\.3", "counts/g²"),
    ("calibration", r"pads\.\d+\.covariance\.1\.1", "counts²"),
    ("calibration", r"pads\.\d+\.covariance\.(1\.2|2\.1)", "counts²/g"),
    ("calibration", r"pads\.\d+\.covariance\.(1\.3|2\.2|3\.1)", "counts²/g²"),
    ("calibration", r"pads\.\d+\.covariance\.(2\.3|3\.2)", "counts²/g³"),
    ("calibration", r"pads\.\d+\.covariance\.3\.3", "counts²/g⁴"),
    ("calibration", r"pads\.\d+\.residual_sd", "counts"),
    ("calibration", r"pads\.\d+\.gravity", "m/s²"),
    ("zero", r"(counts|u|noise)\.\d+", "counts"),
    ("finger calibration", r"counts\.\d+|zero_counts", "counts"),
    ("finger calibration", r"counts_per_n(_u)?", "counts/N"),
    ("push", r"track\.camera\.(matrix\.[12]\.[123]|size\.\d)", "px"),
    ("push", r"track\.camera\.u\.[1-4]", "px"),
)
"""Table, column, unit where the name does not tell it."""
NO_FIGURES = ("id", "at_utc", "title", "software")
"""Columns of every table that are no figures, even where a test is called 12."""


def column_unit(table: str, column: str, *, numbers: bool) -> str:
    """The unit of a column; "1" for numbers without one (counts of things, ratios, odds), "" for words.

    table: without its ending.  column: parts with dots between, as `cg_x_m.interval.1`.
    """
    for of, pattern, unit in OTHERWISE:
        if of == table and re.fullmatch(pattern, column):
            return unit
    if not numbers or column in NO_FIGURES:
        return ""
    for part in reversed(column.split(".")):
        # place_mm_u, travel_u_mm, kappa_interval_per_m: the doubt of a figure has its unit
        found = _ENDING.search(re.sub(r"_u$", "", part))
        if found is not None:
            return UNIT_OF_ENDING[found["unit"]]
    return "1"


def unit_table(tables: Mapping[str, str]) -> str:
    """CSV of table, column, unit for every column. tables: name of a file -> its content as CSV."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(["table", "column", "unit"])
    for name, content in tables.items():
        rows = list(csv.DictReader(io.StringIO(content, newline="")))
        for column in csv.DictReader(io.StringIO(content, newline="")).fieldnames or ():
            numbers = any(_number(row[column]) for row in rows)
            table = name.rpartition("/")[2].removesuffix(".csv")
            writer.writerow([name, column, column_unit(table, column, numbers=numbers)])
    return text.getvalue()


def _number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
