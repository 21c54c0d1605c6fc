"""The notes on the pad board, as they are installed and as they are written into a folder."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from rig.base.errors import BenchError, InputError
from rig.base.notes import board_notes, lay_notes
from rig.command.pads.board import command

ROOT = Path(__file__).parents[3]


def test_the_notes_on_the_board_come_with_the_program() -> None:
    notes = {str(path): data for path, data in board_notes().items()}
    tree = ROOT / "firmware_notes"
    there = [path for path in tree.rglob("*") if path.is_file() and path.suffix not in (".py", ".pyc")]
    assert notes == {path.relative_to(tree).as_posix(): path.read_bytes() for path in there}
    assert {"protocol.md", "wiring.md", "firmware/Makefile", "firmware/core/line.c"} <= set(notes)


def test_an_installation_without_the_notes_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def missing(name: str) -> Path:
        raise ModuleNotFoundError(name)

    for found in (missing, lambda _: tmp_path):  # not there, or an empty folder of that name
        monkeypatch.setattr("rig.base.notes.resources.files", found)
        with pytest.raises(BenchError, match="missing from this installation"):
            board_notes()


def test_the_notes_are_written_into_a_folder_and_somebodys_own_board_stays(tmp_path: Path) -> None:
    folder = tmp_path / "Brett für Pads"
    done = CliRunner().invoke(command, ["--out", str(folder)])
    assert done.exit_code == 0, done.output
    assert done.output == f"wrote {len(board_notes())} files into {folder}: begin with {folder / 'wiring.md'}\n"
    assert (folder / "firmware" / "Makefile").read_bytes() == (ROOT / "firmware_notes/firmware/Makefile").read_bytes()
    assert len(lay_notes(folder)) == len(board_notes())  # the same once more changes nothing
    own = folder / "firmware" / "board" / "board_328p.c"
    own.write_text("/* my pins */", "utf-8")
    (folder / "protocol.md").unlink()
    with pytest.raises(InputError, match=r"board_328p.c.*nothing was written"):
        lay_notes(folder)
    assert own.read_text("utf-8") == "/* my pins */"
    assert not (folder / "protocol.md").exists()
