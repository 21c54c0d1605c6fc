"""`new`: the eight things by options or asked on a real pseudo-terminal; unsymmetric, so that a swap would show."""

import os
import pty
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from vision.base.types import CarMarkers, FloorLayout

Run = Callable[..., tuple[int, str, str]]
SAID: dict[str, Any] = {
    "car": {"name": "Dunlin soft", "wheelbase_mm": 261.0, "track_front_mm": 152.0, "track_rear_mm": 171.0},
    "bars": (98.5, 98.5),
    "push": {"position_pct": 53.5, "side": "left", "wheels": "as on the car card"},
}
OPTIONS = (
    "--name 'Dunlin soft' --wheelbase 261 --track 152 --track 171 --bar 98.5 --wheels free --position 53.5 --side left"
)


def on_the_cards(folder: Path) -> dict[str, Any]:
    """What stands on three cards of the eight things."""
    car, bench, test = (tomllib.loads((folder / f"{kind}.toml").read_text()) for kind in ("car", "bench", "test"))
    return {
        "car": {"name": car["name"]} | car["geometry"],
        "bars": (car.get("plate", {}).get("bar_mm"), bench["floor"].get("bar_mm")),
        "push": test["push"],
    }


def at_a_terminal(folder: Path, typed: str) -> tuple[int, str, str]:
    """`new FOLDER` on a pseudo-terminal with these lines typed; exit code, what the terminal showed, what was piped."""
    host, device = pty.openpty()
    os.write(host, typed.encode())
    try:
        done = subprocess.run(
            [sys.executable, "-c", "from rig.main import main; main()", "new", str(folder)],
            stdin=device,
            stdout=subprocess.PIPE,
            stderr=device,
            timeout=60,
            text=True,
            check=False,
        )
        os.close(device)
        shown = b""
        while True:
            try:
                shown += os.read(host, 65536)
            except OSError:  # the far end is closed: all was read
                break
    finally:
        os.close(host)
    return done.returncode, shown.decode(), done.stdout


def test_each_option_lands_in_its_key(run: Run, tmp_path: Path) -> None:
    code, out, err = run(f"new b {OPTIONS}")
    assert (code, err) == (0, "")
    assert on_the_cards(tmp_path / "b") == SAID
    assert "Not measured yet" not in out
    assert "After printing" not in out
    assert "Next: pivotbench new sheets b/car.toml" in out
    assert "Then: pivotbench weigh b/test.toml" in out
    code, out, err = run("new b")
    assert code == 2
    assert "there is a card already" in err


def test_one_track_is_both(run: Run, tmp_path: Path) -> None:
    assert run("new b --track 151")[0] == 0
    assert on_the_cards(tmp_path / "b")["car"] | {"name": ""} == {
        "name": "",
        "wheelbase_mm": 257.0,
        "track_front_mm": 151.0,
        "track_rear_mm": 151.0,
        "sizes": "not measured",
    }
    assert run("new c --track 1 --track 2 --track 3")[0] == 2


def test_without_a_terminal_it_says_which_lines_to_fill_in(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("new b")
    assert code == 0
    assert "Not measured yet: wheelbase_mm = 257, track_front_mm = 165, track_rear_mm = 165." in out
    assert "until then it counts as 100 ± 3 mm" in out  # 1.96 * 1.5
    assert on_the_cards(tmp_path / "b")["bars"] == (None, None)
    assert on_the_cards(tmp_path / "b")["car"]["sizes"] == "not measured"


@pytest.mark.parametrize(
    ("option", "says"),
    [
        ("--wheelbase 257,5", "Did you mean 257.5?"),
        ("--wheelbase 0.257", "Did you mean wheelbase_mm = 257?"),
        ("--position 0.85", "Did you mean position_pct = 85?"),
        ("--wheels locked", "Say blocked or free"),
        ("--side up", "Say left or right"),
    ],
)
def test_what_cannot_be_meant_writes_nothing(option: str, says: str, run: Run, tmp_path: Path) -> None:
    code, out, err = run(f"new b {option}")
    assert (code, out) == (2, "")
    assert says in err
    assert list(tmp_path.iterdir()) == []


def test_all_and_keys(run: Run, tmp_path: Path) -> None:
    assert run(f"new long --all {OPTIONS}")[0] == 0
    found = on_the_cards(tmp_path / "long")
    assert found["car"].items() >= SAID["car"].items()
    assert found["push"].items() >= SAID["push"].items()
    assert found["bars"] == SAID["bars"]
    assert (tmp_path / "long" / "phases.toml").exists()
    code, out, _ = run("new --keys")
    assert code == 0
    assert "car card, [chassis.front]: " in out
    assert {path.name for path in tmp_path.iterdir()} == {"long"}
    code, _, err = run("new")
    assert code == 2
    assert "Missing argument 'DIR'" in err


def test_asked_answers_land_in_their_keys(tmp_path: Path) -> None:
    code, shown, piped = at_a_terminal(tmp_path / "b", "Dunlin soft\n261\n152\n171\n98.5\nfree\n53.5\nleft\n")
    assert code == 0, shown
    assert on_the_cards(tmp_path / "b") == SAID
    for default in ("[my car]", "[257]", "[165]", "[152]", "[not measured]", "[blocked]", "[50]", "[right]"):
        assert default in shown  # of the rear track it is what was said of the front
    assert "wrote" not in shown
    assert piped.count("wrote") == 3


def test_enter_takes_the_default_and_a_slip_is_asked_again(tmp_path: Path) -> None:
    code, shown, piped = at_a_terminal(tmp_path / "b", "\n0.261\n261,5\n261.5\n149\n\n\nlocked\n\n\n\n")
    assert code == 0, shown
    assert "Did you mean wheelbase_mm = 261?" in shown
    assert "Did you mean 261.5?" in shown
    assert "Say blocked or free" in shown
    assert on_the_cards(tmp_path / "b") == {
        "car": {"name": "my car", "wheelbase_mm": 261.5, "track_front_mm": 149.0, "track_rear_mm": 149.0},
        "bars": (None, None),
        "push": {"position_pct": 50.0, "side": "right", "wheels": "blocked"},
    }
    assert "Not measured yet" not in piped


def test_who_stops_in_between_has_no_half_cards(tmp_path: Path) -> None:
    code, _, piped = at_a_terminal(tmp_path / "b", "Dunlin\n261\n\x04")  # Ctrl-D
    assert code != 0
    assert piped == ""
    assert not (tmp_path / "b").exists()


def test_cards_that_are_there_are_told_before_anything_is_asked(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "bench.toml").write_text("mine")
    code, shown, _ = at_a_terminal(tmp_path / "b", "\n" * 8)
    assert code == 2
    assert "there is a card already" in " ".join(shown.split())  # a long path breaks the line elsewhere
    assert "Wheelbase" not in shown


def test_the_plate_is_that_of_the_car(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plate drawn for another car shifts every balance point, so no wheelbase is taken that nobody gave. By hand:
    35 % of 200 mm is 70 mm."""
    printed: list[CarMarkers] = []

    def kept(_floor: FloorLayout, car: CarMarkers, **_where: Any) -> list[Path]:
        printed.append(car)
        return []

    monkeypatch.setattr("vision.markers.sheets.marker_sheets", kept)
    assert run("new b --wheelbase 200 --track 120")[0] == 0
    code, _, err = run("new sheets")
    assert (code, printed) == (2, [])
    assert "pivotbench new sheets my-bench/car.toml" in err
    card = tmp_path / "b" / "car.toml"
    short = card.read_text("utf-8")
    card.write_text(short + "middle_pct = 35\n", "utf-8")
    assert "its middle 70.0 mm ahead of the rear axle" in run("new sheets b/car.toml")[1]
    assert sum(one.x for one in printed[-1].markers) / 4 == pytest.approx(0.070)
    assert "too large for a car of 45 mm" in run("new sheets --wheelbase-mm 45")[1]
    assert "leave --wheelbase-mm out" in run("new sheets b/car.toml --wheelbase-mm 45")[2]
    own = "[[plate.markers]]\nid = 3\nsize_mm = 12\nx_mm = 31\ny_mm = -4\n"
    card.write_text(short.replace("[plate]", "[plate]\nbar_mm = 98.0") + own, "utf-8")
    assert "the markers listed on b/car.toml" in run("new sheets b/car.toml")[1]
    (only,) = printed[-1].markers  # to be printed as designed, whatever a print came out as
    assert (only.id, only.size, only.x, only.y) == pytest.approx((3, 0.012, 0.031, -0.004))
