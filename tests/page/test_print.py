"""What is printed, printed: to PDF on A4 and Letter, upright and across, and looked at by another program (poppler).

Truth: the page's own edge and size (ISO 216; ANSI/ASME Y14.1), and the millimetres of the drawings.
"""

import re
import shutil
import subprocess
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest

from analysis.figures.pushed_cars import CarFromAbove, cars_from_above
from rig.page.bench.changes import STEM, Changes
from rig.page.server.record import report_text
from rig.virtual.dunlin import ON_SPRINGS
from tests.page.browser import served, until_bench

SIZES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MM = 72 / 25.4
"""PDF points."""
EDGE_MM = 5.0
"""Nearer to the edge many printers print nothing (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Word:
    """A printed word: page from 0, its box in mm from the upper left."""

    text: str
    page: int
    box: tuple[float, float, float, float]


def words_of(pdf: Path) -> tuple[list[Word], list[tuple[float, float]]]:
    """All words of a PDF, and the size of each page in mm."""
    told = subprocess.run(["pdftotext", "-bbox", str(pdf), "-"], capture_output=True, check=True).stdout
    pages = ElementTree.fromstring(re.sub(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]", b"", told)).findall(".//{*}page")
    sizes = [(float(page.attrib["width"]) / MM, float(page.attrib["height"]) / MM) for page in pages]
    words = [
        Word(
            text=word.text or "",
            page=number,
            box=tuple(float(word.attrib[side]) / MM for side in ("xMin", "yMin", "xMax", "yMax")),  # type: ignore[arg-type]
        )
        for number, page in enumerate(pages)
        for word in page.findall("{*}word")
    ]
    return words, sizes


def ink_margins(pdf: Path, folder: Path) -> list[float]:
    """Of each page, mm between its edge and the nearest ink."""
    subprocess.run(["pdftoppm", "-r", "50", "-gray", str(pdf), str(folder / "page")], check=True)
    found = []
    for picture in sorted(folder.glob("page*.pgm")):
        dark = cv2.imread(str(picture), cv2.IMREAD_GRAYSCALE) < 200
        rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
        if len(rows):
            sides = (rows[0], len(dark) - 1 - rows[-1], columns[0], dark.shape[1] - 1 - columns[-1])
            found.append(min(sides) * 25.4 / 50)
        picture.unlink()
    return found


def parts(text: str) -> list[str]:
    """Its words; one with a hyphen may stand on two lines."""
    return re.findall(r"[^\W_]+", text)


@pytest.mark.thorough
@pytest.mark.parametrize(("size", "landscape"), [(size, landscape) for size in SIZES for landscape in (False, True)])
def test_nothing_is_cut_on_paper(browser: Any, tmp_path: Path, size: str, landscape: bool) -> None:
    if shutil.which("pdftotext") is None or shutil.which("pdftoppm") is None:
        pytest.skip("poppler is missing: apt-get install poppler-utils")
    across, up = SIZES[size][::-1] if landscape else SIZES[size]
    with served(tmp_path / "bench") as serving:
        bench = serving.bench
        bench.save_card("car", dict(ON_SPRINGS))
        bench.on_pads.weigh_typed([400.0, 410.0, 390.0, 400.0], 1.0)
        bench.pushes.judge_typed(-20.0, 1.0)
        page = browser.new_page()
        page.goto(serving.url)
        until_bench(page, lambda: bench.verdict is not None and not bench.work.busy)
        a_change(serving.page.changes)
        one_sheet = ("print/push", "print/weights", "print/region?bar_front=2", "print/change")
        for name in ("print/pack", "print/ring", "print/keys", *one_sheet, "report"):
            if name == "report":  # a file for those who have no page
                page.goto("about:blank")
                page.set_content(report_text(bench))
                page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
            else:
                page.goto(serving.url + name)
            pdf = tmp_path / "printed.pdf"
            page.pdf(path=pdf, format=size, landscape=landscape, prefer_css_page_size=False)
            words, pages = words_of(pdf)
            assert pages
            assert len(pages) == 1 or name not in one_sheet, name
            for got in pages:
                assert got == pytest.approx((across, up), abs=0.5)
            for word in words:
                left, top, right, bottom = word.box
                inside = left >= EDGE_MM and top >= EDGE_MM and right <= across - EDGE_MM and bottom <= up - EDGE_MM
                assert inside, (name, word)
            margins = ink_margins(pdf, tmp_path)
            assert min(margins) >= EDGE_MM, name
            assert len(margins) == len(pages), f"{name} has an empty page"

            # every word of the page is on paper
            printed = {part for word in words for part in parts(word.text)}
            texts = "[...document.querySelectorAll('h1, h2, p, li, td, th, svg text')].map((n) => n.textContent)"
            told = {part for text in page.evaluate(texts) for part in parts(text)}
            assert len(told) > 20
            assert told <= printed, (name, told - printed)

            # nor is a drawing's text cut at the drawing's own edge
            cut = page.evaluate(
                "[...document.querySelectorAll('svg text')].filter((n) => { const a = n.getBoundingClientRect(),"
                " b = n.ownerSVGElement.getBoundingClientRect();"
                " return a.left < b.left || a.right > b.right || a.top < b.top - 1 || a.bottom > b.bottom + 1; })"
                ".map((n) => n.textContent)"
            )
            assert cut == [], (name, cut)

            # no heading stands last on its page
            for heading in page.evaluate("[...document.querySelectorAll('h1, h2')].map((n) => n.textContent)"):
                places = heading_places(heading, words)
                assert places, (name, heading)
                for at, sheet in places:
                    below = [word for word in words if word.page == sheet and word.box[1] > at + 1.0]
                    assert below, (name, heading)

            if name == "print/pack":
                rail_to_scale(words, 257.0)


def a_change(changes: Changes) -> None:
    """An answer as long as they come, with its picture: two cars side by side."""
    cars = [
        CarFromAbove(
            title=title,
            wheelbase=0.257,
            body=(0.085, 0.08, 0.19),
            contact_place=np.array([[0.257, 0.08], [0.257, -0.08], [0.0, 0.08], [0.0, -0.08]]),
            end=np.array([0.004, 0.03, turn]),
            push=np.array([0.1285, -0.095]),
            side=1,
            nose_mm=27.0,
            tail_mm=33.0,
            balance=(0.131, 0.004),
            forecast=0.129,
        )
        for title, turn in (("plain as it came", -0.02), ("front rubber, stiffer rear bar", -0.09))
    ]
    changes.folder.mkdir(parents=True, exist_ok=True)
    cars_from_above(cars).savefig(changes.folder / f"{STEM}.png", dpi=110)
    lines = [
        "The balance moved forward by 3.1 ± 0.9 points (8 mm): 50.3 → 53.4 %. Beyond chance.",
        "The weights explain 0.1 of it, the tyres 3.0 ± 0.9: front grip up by 13 ± 4 % against the rear.",
        "2 pushes with the first, 3 with the second, order A B B A B; what wears or warms up in between cannot be told "
        "from the change where the order is A A B B.",
        "Pushed at 50 % with the first and at 53 % with the second set-up: the finger's place is common to both.",
        "The marker plate was put on anew between the two set-ups: its place is in the ± once for each of them.",
        "To see half a point, five more pushes each.",
    ]
    changes.newest = {"record": 12, "lines": lines, "why": "", "picture": "/api/change.png?record=12"}


def heading_places(heading: str, words: list[Word]) -> list[tuple[float, int]]:
    """Lower edge (mm) and page of every place where a heading's words stand one after the other, in a heading's size:
    a cell of a table may say the same."""
    wanted = heading.split()
    usual = float(np.median([word.box[3] - word.box[1] for word in words]))
    runs = (words[i : i + len(wanted)] for i in range(len(words) - len(wanted) + 1))
    return [
        (run[-1].box[3], run[-1].page)
        for run in runs
        if [word.text for word in run] == wanted and run[0].box[3] - run[0].box[1] > 1.1 * usual
    ]


def rail_to_scale(words: list[Word], wheelbase: float) -> None:
    """Notches 0 to 10, each a tenth of the wheelbase from the next on the same piece."""
    start = next(i for i, word in enumerate(words) if word.text == "push" and words[i + 1].text == "rail")
    numbers = [word for word in words[start:] if re.fullmatch(r"\d|10", word.text)]
    rows: dict[tuple[int, int], list[Word]] = {}
    for word in numbers:
        rows.setdefault((word.page, round(word.box[1])), []).append(word)
    pieces = [row for row in rows.values() if len(row) >= 3]
    seen = {int(word.text) for row in pieces for word in row}
    assert seen == set(range(11))
    for row in pieces:
        middles = sorted((sum(word.box[::2]) / 2, int(word.text)) for word in row)
        for (x, n), (further, m) in pairwise(middles):
            assert m == n + 1
            assert further - x == pytest.approx(wheelbase / 10, abs=0.3)
