"""One car card on A5, with what differs from the baseline in bold."""

import html
from pathlib import Path

from analysis.base.signs import true_minus
from rig.base.errors import InputError
from rig.base.files import write_bytes, write_text
from rig.base.version import SOFTWARE
from rig.cards.keys.car import CarCard
from rig.jobs.record.card_travel import SheetRow, sheet_rows
from rig.report.html import Table
from rig.report.pdf import Pages

A5 = (5.83, 8.27)
"""Inches."""

_STYLE = (
    "@page{size:A5;margin:10mm}body{font:8.5pt/1.25 system-ui,sans-serif;max-width:128mm;margin:0 auto}"
    "h1{font-size:13pt;margin:0 0 2mm}table{border-collapse:collapse;width:100%}"
    "td,th{text-align:left;padding:.3mm 1.5mm;border-bottom:.2mm solid #bbb;vertical-align:top}"
)


def write_card_sheet(path: Path, card: CarCard, baseline: CarCard | None = None) -> Path:
    """Write the sheet as .pdf or .html. Raises InputError for another ending."""
    rows = sheet_rows(card, baseline)
    kind = path.suffix.lower()
    if kind == ".pdf":
        write_bytes(path, _pdf(card, baseline, rows))
    elif kind == ".html":
        write_text(path, _html(card, baseline, rows))
    else:
        raise InputError(f'"{path.suffix}" is not a kind of sheet', where=str(path), remedy="End it in .pdf or .html")
    return path


def _differences(baseline: CarCard | None, rows: list[SheetRow]) -> str:
    if baseline is None:
        return "All that its card says; uncertainties are on the card."
    count = sum(row.baseline is not None for row in rows)
    if not count:
        return f"The same as {baseline.name}."
    return f"Bold: {count} {'difference' if count == 1 else 'differences'} to {baseline.name}."


def _cells(row: SheetRow) -> list[str]:
    now = f"{row.now} {row.unit}".strip()
    return [_name(row.path), now if row.baseline is None else f"{now} (was {row.baseline})"]


def _name(path: str) -> str:
    """A key as people say it: the section, then the key without its unit."""
    units = ("_n_per_mm", "_ns_per_m", "_mm_per_s", "_kgm2", "_mm", "_g", "_deg", "_pct")
    for unit in units:
        if path.endswith(unit):
            path = path[: -len(unit)]
            break
    return path.replace("_", " ").replace(".", ": ")


def _pdf(card: CarCard, baseline: CarCard | None, rows: list[SheetRow]) -> bytes:
    # as large as it can be read, as small as it must be for one page
    room = A5[1] - 2 * 0.4 - 1.15
    size = max(min(8.0, room * 72 / (1.42 * max(len(rows) + 1, 1))), 4.5)
    pages = Pages(f"{SOFTWARE}", width=A5[0], height=A5[1], margin=0.4)
    pages.text(card.name, size=13, bold=True, after=0.04)
    pages.text(_differences(baseline, rows), size=8)
    bold = [number for number, row in enumerate(rows) if row.baseline is not None]
    table = Table(caption="", heads=("what", "value"), rows=[_cells(row) for row in rows])
    pages.table(table, size=size, bold_rows=bold)
    return pages.close()


def _html(card: CarCard, baseline: CarCard | None, rows: list[SheetRow]) -> str:
    lines = []
    for row in rows:
        name, value = (html.escape(true_minus(cell)) for cell in _cells(row))
        mark = ("<b>", "</b>") if row.baseline is not None else ("", "")
        lines.append(
            f'<tr title="{html.escape(row.meaning)}"><td>{mark[0]}{name}{mark[1]}</td>'
            f"<td>{mark[0]}{value}{mark[1]}</td></tr>"
        )
    title = html.escape(card.name)
    differences = html.escape(true_minus(_differences(baseline, rows)))
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{_STYLE}</style></head><body><h1>{title}</h1><p>{differences}</p>"
        f"<table><thead><tr><th>what</th><th>value</th></tr></thead><tbody>{''.join(lines)}</tbody></table>"
        f"<p>{html.escape(SOFTWARE)}</p></body></html>\n"
    )
