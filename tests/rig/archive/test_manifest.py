"""An export as a whole: its sums and counts, and each thing that is refused of them with its place."""

import hashlib
import json
from pathlib import Path

import pytest

from rig.archive.manifest import SummedFolder, check_counts, check_sums
from rig.base.errors import InputError


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two files of its own beside the manifest; 5 records, 4 cards, 2 files."""
    made = SummedFolder(tmp_path)
    made.write("b/two.csv", "second")
    made.write("one.csv", "first")
    made.close(records=5, cards=4, files=2)
    return tmp_path


def test_what_is_written_is_what_is_held_against_it(folder: Path) -> None:
    assert json.loads((folder / "manifest.json").read_text()) == {
        "form": 2,
        "records": 5,
        "cards": 4,
        "files": 2,
        "sums": 3,
    }
    lines = [
        f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}"
        for name in ("b/two.csv", "manifest.json", "one.csv")
    ]
    assert (folder / "SHA256SUMS").read_text() == "\n".join(lines) + "\n"
    shares: list[float] = []
    counts = check_sums(folder, progress=shares.append)
    assert counts == {"records": 5, "cards": 4, "files": 2, "sums": 3}
    assert shares == pytest.approx([1 / 3, 2 / 3, 1.0])
    check_counts(folder, counts, records=5, cards=4, files=2)
    with pytest.raises(InputError, match="it should hold 4 cards and holds 3"):
        check_counts(folder, counts, records=5, cards=3, files=2)


@pytest.mark.parametrize(
    ("line", "wrong"),
    [(1, "no sum"), (2, "0" * 64 + "  ../manifest.json"), (3, "0" * 64 + "  /one.csv"), (2, "0" * 64 + " one.csv")],
)
def test_a_line_that_is_no_sum_of_a_file_here_is_named(folder: Path, line: int, wrong: str) -> None:
    lines = (folder / "SHA256SUMS").read_text().splitlines()
    lines[line - 1] = wrong
    (folder / "SHA256SUMS").write_text("\n".join(lines) + "\n")
    with pytest.raises(InputError) as refused:
        check_sums(folder)
    assert refused.value.where == f"{folder / 'SHA256SUMS'}, line {line}"


def test_files_that_lack_or_are_others_are_named(folder: Path) -> None:
    (folder / "one.csv").write_text("another")
    with pytest.raises(InputError) as refused:
        check_sums(folder)
    assert (refused.value.where, refused.value.what[:14]) == (str(folder / "one.csv"), "the content is")
    (folder / "b" / "two.csv").unlink()
    with pytest.raises(InputError) as refused:
        check_sums(folder)
    assert (refused.value.where, refused.value.what) == (
        str(folder / "b" / "two.csv"),
        "a file of this export is missing",
    )


def test_sums_that_were_cut_short_are_noticed(folder: Path) -> None:
    lines = (folder / "SHA256SUMS").read_text().splitlines()
    (folder / "SHA256SUMS").write_text("\n".join(lines[:2]) + "\n")
    with pytest.raises(InputError, match="it lists 2 files of 3"):
        check_sums(folder)
    (folder / "SHA256SUMS").write_text(lines[0] + "\n")
    with pytest.raises(InputError, match=r"it does not list manifest\.json"):
        check_sums(folder)


@pytest.mark.parametrize(("form", "says"), [(3, "has form 3, this program knows 2"), ("2", "not the manifest")])
def test_an_export_of_a_newer_form_is_not_guessed_at(tmp_path: Path, form: object, says: str) -> None:
    made = SummedFolder(tmp_path)
    made.write("manifest.json", json.dumps({"form": form, "records": 0, "cards": 0, "files": 0, "sums": 1}))
    (tmp_path / "SHA256SUMS").write_text(f"{made.sums['manifest.json']}  manifest.json\n")
    with pytest.raises(InputError, match=says):
        check_sums(tmp_path)
