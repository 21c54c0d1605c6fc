"""A card on A5 with its differences in bold, and a card that travels as one file.

Held against: the PDF as poppler reads it (an independent program), ISO 216 for the size of A5, Python's own
tomllib and hashlib for the travelling file.
"""

import hashlib
import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

from rig.base.errors import InputError
from rig.cards.keys.car import CarCard
from rig.cards.read import read_card
from rig.cards.template import card_text
from rig.jobs.record.card_travel import MEASURE_AGAIN, send_card, sheet_rows, take_card
from rig.report.card_sheet import write_card_sheet
from rig.virtual.dunlin import CAR_KEYS
from tests.values.cards_typed import run

needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs apt-get install poppler-utils")


def card_file(folder: Path, name: str, **keys: object) -> Path:
    """A car card of the workshop's car, with keys of its own."""
    path = folder / f"{name}.toml"
    path.write_text(card_text("car", CAR_KEYS | {"name": name} | keys), encoding="utf-8")
    return path


def test_only_what_differs_is_marked(tmp_path: Path) -> None:
    base = read_card(card_file(tmp_path, "Dunlin"), CarCard)
    changed = read_card(
        card_file(tmp_path, "Dunlin stretched", **{"geometry.wheelbase_mm": 261.0, "rear.kind": "solid"}), CarCard
    )
    marked = {row.path: (row.now, row.baseline) for row in sheet_rows(changed, base) if row.baseline is not None}
    assert marked == {"geometry.wheelbase_mm": ("261", "257"), "rear.kind": ("solid", "free")}
    assert not any(row.baseline for row in sheet_rows(base, base))
    assert not any(row.baseline for row in sheet_rows(changed, None))


def test_the_page_in_html_sets_differences_in_bold(tmp_path: Path) -> None:
    base = read_card(card_file(tmp_path, "Dunlin"), CarCard)
    changed = read_card(card_file(tmp_path, "<Dunlin & co>", **{"geometry.wheelbase_mm": 261.0}), CarCard)
    text = write_card_sheet(tmp_path / "sheet.html", changed, base).read_text(encoding="utf-8")
    assert "<b>261 mm (was 257)</b>" in text
    assert text.count("(was") == 1
    assert "&lt;Dunlin &amp; co&gt;" in text
    assert "<Dunlin" not in text
    with pytest.raises(InputError, match=r"\.pdf or \.html"):
        write_card_sheet(tmp_path / "sheet.doc", changed)


@needs_poppler
def test_the_pdf_is_one_a5_page_with_the_differences_in_another_type(tmp_path: Path) -> None:
    base = read_card(card_file(tmp_path, "Dunlin"), CarCard)
    changed = read_card(card_file(tmp_path, "Dunlin stretched", **{"geometry.wheelbase_mm": 261.0}), CarCard)
    sheet = write_card_sheet(tmp_path / "sheet.pdf", changed, base)
    info = subprocess.run(["pdfinfo", str(sheet)], capture_output=True, text=True, check=True).stdout
    assert "Pages:           1" in info
    size = next(line for line in info.splitlines() if line.startswith("Page size"))
    wide, high = (float(size.split()[at]) for at in (2, 4))
    assert (wide / 72 * 25.4, high / 72 * 25.4) == pytest.approx((148, 210), abs=0.5)  # ISO 216, A5
    words = subprocess.run(["pdftotext", "-layout", str(sheet), "-"], capture_output=True, text=True, check=True).stdout
    assert "261 mm (was 257)" in words
    assert words.count("(was") == 1
    fonts = subprocess.run(["pdffonts", str(sheet)], capture_output=True, text=True, check=True).stdout
    assert "Bold" in fonts


@needs_poppler
def test_just_the_differing_rows_are_bold_in_the_pdf(tmp_path: Path) -> None:
    base = read_card(card_file(tmp_path, "Dunlin"), CarCard)
    keys = {"geometry.wheelbase_mm": 261.0, "rear.kind": "solid"}
    changed = read_card(card_file(tmp_path, "Dunlin stretched", **keys), CarCard)
    sheet = write_card_sheet(tmp_path / "sheet.pdf", changed, base)
    told = subprocess.run(
        ["pdftohtml", "-xml", "-i", "-stdout", str(sheet)], capture_output=True, text=True, check=True
    ).stdout
    bold = {one.strip() for one in re.findall(r"<b>(.*?)</b>", told)}
    # title and heads, and of the rows those that differ, key and value
    assert bold == {
        "Dunlin stretched",
        "what",
        "value",
        "geometry: wheelbase",
        "261 mm (was 257)",
        "rear: kind",
        "solid (was free)",
    }


def test_a_card_arrives_letter_by_letter_with_what_must_be_measured_again(tmp_path: Path) -> None:
    card = card_file(tmp_path, "Dunlin ü 🚗")
    text = '\n# a "quoted" \\ path, """ three and a tab\t\n' + card.read_text(encoding="utf-8")
    card.write_bytes(text.replace("\n", "\r\n").encode())
    sent = send_card(card, tmp_path / "on its way.toml", sender="Hall")
    plain = tomllib.loads(sent.read_text(encoding="utf-8"))
    assert plain["text"] == text
    assert plain["sha256"] == hashlib.sha256(text.encode()).hexdigest()
    assert len(plain["measure_again"]) == len(MEASURE_AGAIN)
    assert any("grip" in line and "floor" in line for line in plain["measure_again"])
    taken = take_card(sent, tmp_path / "other bench")
    assert taken.path.read_text(encoding="utf-8") == text
    assert (taken.card.name, taken.sent_by) == ("Dunlin ü 🚗", "Hall")
    with pytest.raises(InputError, match="here already"):
        take_card(sent, tmp_path / "other bench")
    head, again, *rest = run("new", "take", sent, tmp_path / "third").splitlines()
    third = tmp_path / "third" / taken.path.name
    assert head == f"wrote {third}: Dunlin ü 🚗, sent {taken.sent_at} from Hall"
    assert again == "To be measured again here:"
    assert rest == [f"  {what}: {why}" for what, why in MEASURE_AGAIN]


def test_a_changed_or_foreign_file_is_refused(tmp_path: Path) -> None:
    sent = send_card(card_file(tmp_path, "Dunlin"), tmp_path / "sent.toml")
    changed = sent.read_text(encoding="utf-8").replace("wheelbase_mm = 257.0", "wheelbase_mm = 275.0")
    for content, words in (
        (changed.encode(), "changed on the way"),
        (b'card = "car"\n', "not a travelling car card"),
        (b'travel = "travelling car card, version 1"\ntext = "card"\n', "not a travelling car card"),
        (b'travel = "a letter"\ntext = "card"\nsha256 = "0"\n', "not a travelling car card"),
        (b"\xff\xfe\x00", "cannot be read"),
    ):
        sent.write_bytes(content)
        with pytest.raises(InputError, match=words):
            take_card(sent, tmp_path / "elsewhere")
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize(
    ("name", "file"),
    [("Con", "car-con.toml"), ("COM3", "car-com3.toml"), ("Aux: 2", "aux-2.toml"), ("Nulli", "nulli.toml")],
)
def test_a_card_taken_gets_a_name_that_windows_takes(name: str, file: str, tmp_path: Path) -> None:
    sent = send_card(card_file(tmp_path, name), tmp_path / "sent.toml")
    assert take_card(sent, tmp_path / "here").path.name == file
