"""`bench`, `pads list` and `log import`: what is asked for reaches the job. No page is served, no port opened."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """What was done with the page, in turn."""
    did: list[Any] = []

    class Served:
        url = "http://127.0.0.1:4711/"

        def __init__(self, folder: Path, *, port: int | None) -> None:
            did.append((folder.name, port))
            self.bench = SimpleNamespace(switch_virtual=lambda on: did.append(("virtual", on)))

        def run(self, ready: Callable[[], None]) -> None:
            ready()
            did.append("served")

    page = SimpleNamespace(Serving=Served, open_browser=did.append)
    monkeypatch.setitem(sys.modules, "rig.page.server.serve", page)  # what it needs takes seconds to load
    return did


@pytest.mark.parametrize(
    ("words", "did"),
    [
        ("", [("log", None), Ellipsis, "served"]),
        ("--virtual --port 9000", [("log", 9000), ("virtual", True), Ellipsis, "served"]),
        ("--no-browser", [("log", None), "served"]),
    ],
)
def test_the_page_is_served_and_shown(run: Run, served: list[Any], words: str, did: list[Any]) -> None:
    code, _, err = run(f"bench {words}")
    assert code == 0
    assert served == ["http://127.0.0.1:4711/" if one is Ellipsis else one for one in did]
    assert "The bench page: http://127.0.0.1:4711/   (Ctrl-C ends it)" in err


PORT = SimpleNamespace(device="/dev/ttyACM3", description="pads", serial_number="42")


@pytest.mark.parametrize(
    ("ports", "complete", "lines"),
    [
        ((PORT,), True, ["/dev/ttyACM3             pads"]),
        ((PORT,), False, ["/dev/ttyACM3             pads", "note: this system was slow to answer"]),
        ((), True, ["No serial port found. Plug the pads in"]),
    ],
)
def test_ports_are_listed(
    run: Run, monkeypatch: pytest.MonkeyPatch, ports: tuple[Any, ...], complete: bool, lines: list[str]
) -> None:
    monkeypatch.setattr("rig.pads.port.list_ports", lambda: SimpleNamespace(ports=ports, complete=complete))
    code, out, _ = run("pads list")
    shown = out.strip().splitlines()
    assert code == 0
    assert [one[: len(line)] for one, line in zip(shown, lines, strict=False)] == lines
    assert ("No serial port" in out) is (not ports)
    told = json.loads(run("pads list --json")[1])
    assert (len(told["ports"]), told["complete"]) == (len(ports), complete)


def test_what_was_taken_in_is_told(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: dict[str, Any] = {}

    def import_bench(log: Any, folder: Path, *, without_sums: bool, progress: Any) -> Any:
        asked.update(folder=folder.name, without_sums=without_sums)
        return SimpleNamespace(new=7, known=3, missing=["clip.mp4", "two.csv"])

    monkeypatch.setattr("rig.archive.bundle.import_bench", import_bench)
    (tmp_path / "sent").mkdir()
    code, out, err = run("log import sent")
    assert code == 0
    assert asked == {"folder": "sent", "without_sums": False}
    said = out + err
    assert "7 new records, 3 were here already" in said
    assert "clip.mp4 is not in the folder" in said
    assert "two.csv is not in the folder" in said
