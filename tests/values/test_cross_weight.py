"""Cross weight is the share of front right with rear left, whoever says it.

By hand: 500, 300, 300, 300 g (FL FR RL RR): (300 + 300) / 1400 = 42.857 %, the other diagonal 800 / 1400 = 57.143 %.
"""

import json
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from rig.cards.template import card_text
from rig.main import main
from rig.pads.live_view import TerminalKeys
from rig.pads.steps import Step
from rig.virtual.pads import VirtualPads

CAR_G = {"FL": 500.0, "FR": 300.0, "RL": 300.0, "RR": 300.0}
WIRED = ["RR", "FL", "FR", "RL"]  # pads 1 to 4
SPRINGS = {
    f"chassis.{end}.{name}": value
    for end in ("front", "rear")
    for name, value in (("spring_n_per_mm", 2.5), ("motion_ratio", 0.65), ("collar_pitch_mm", 0.75))
}


def cards(folder: Path, **test: object) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "car.toml").write_text(card_text("car", SPRINGS))
    (folder / "bench.toml").write_text(card_text("bench", {"pads.wheels": WIRED}))
    (folder / "test.toml").write_text(card_text("test", {key.replace("__", "."): value for key, value in test.items()}))
    return folder / "test.toml"


def run(*arguments: str | Path) -> None:
    with pytest.raises(SystemExit) as ended:
        main([str(one) for one in arguments])
    assert ended.value.code == 0


class Hands:
    """Does on the pads what the commands ask a person for. evened: the car is even from its second placing on."""

    def __init__(self, pads: VirtualPads, *, evened: bool = False) -> None:
        self.pads, self.evened, self.placed = pads, evened, 0

    def __call__(self, step: Step) -> None:
        loads = np.zeros(4)
        if step.action == "mass" and step.pad is not None:
            loads[step.pad] = step.mass_g
        elif step.action == "car":
            even = self.evened and self.placed > 0
            loads[:] = [350.0 if even else CAR_G[wheel] for wheel in WIRED]
            self.placed += 1
        self.pads.set_loads(loads.tolist())


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[VirtualPads, Path, Path]]:
    """Pads, their test card, and a log with their calibration and zero."""
    folder = tmp_path_factory.mktemp("cross")
    test = cards(folder / "cards")
    with VirtualPads(seed=4, rate=80, time_factor=30.0) as pads, pytest.MonkeyPatch.context() as patch:
        patch.setattr("rig.command.pads.calibrate.ask_in_terminal", lambda **_: Hands(pads))
        more = ("--port", pads.url, "--log", folder / "log")
        run("pads", "calibrate", test, "--mass", "300", "--mass", "800", "--cycles", "1", *more)
        pads.set_loads([0.0] * 4)
        run("pads", "zero", test, *more)
        yield pads, test, folder / "log"


def shares(text: str) -> tuple[float, float]:
    """Per cent of the cross weight and of the other diagonal, as a person reads them."""
    found = [
        re.search(words + r"\)?\s+([\d.]+) %", text, re.IGNORECASE)
        for words in (r"front right \+ rear left", r"front left \+ rear right")
    ]
    assert all(found), text
    return tuple(float(one.group(1)) for one in found if one)  # type: ignore[return-value]


def test_typed_weights_in_words_record_and_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    test = cards(tmp_path / "cards", typed__weights_g=list(CAR_G.values()))
    run("weigh", test, "--log", tmp_path / "log")
    said = capsys.readouterr().out
    assert "cross weight (front right + rear left)" in said
    assert shares(said) == (42.86, 57.14)
    run("log", "report", "--log", tmp_path / "log", "--out", tmp_path / "all.html")
    assert re.search(r"cross weight \(front right with rear left\) 42\.86 ± ", (tmp_path / "all.html").read_text())


def test_the_live_view(
    calibrated: tuple[VirtualPads, Path, Path], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    pads, test, log = calibrated
    pads.set_loads([CAR_G[wheel] for wheel in WIRED], at_once=True)
    wait = TerminalKeys.key
    looks = iter([None] * 12)
    key: Callable[[TerminalKeys, float], str | None] = lambda self, s: next(looks, "q") or wait(self, s)  # noqa: E731
    monkeypatch.setattr(TerminalKeys, "key", key)
    run("pads", "live", test, "--port", pads.url, "--log", log)
    said = capsys.readouterr().out
    assert "cross weight (front right + rear left)" in said
    np.testing.assert_allclose(shares(said.split("moving")[-1]), (42.86, 57.14), atol=0.4)  # points; the pads' noise


@pytest.mark.parametrize(("target", "first"), [("42.9", "within 0.5 of 43 %"), ("50", "Rear-left collar")])
def test_the_loop_brings_front_right_and_rear_left_to_the_target(
    calibrated: tuple[VirtualPads, Path, Path],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    target: str,
    first: str,
) -> None:
    """Asked for what the car has, nothing is turned; for more, a rear left spring gets preload (it pushes its own
    wheel and the front right one down)."""
    pads, test, log = calibrated
    shutil.copytree(log, tmp_path / "log")
    monkeypatch.setattr("rig.command.weigh.cross.ask_in_terminal", lambda **_: Hands(pads, evened=True))
    more = ("--bars", "none", "--port", pads.url, "--log", tmp_path / "log", "--json")
    run("weigh", "cross", test, "--target", target, *more)
    told = json.loads(capsys.readouterr().out)
    judged = told["steps"][2]
    assert re.match(r"Front-right with rear-left carries 42\.[89] %", judged)
    assert first in judged
    assert told["diagonal_fr_rl_pct"][0] == pytest.approx(42.857, abs=0.2)


@pytest.mark.parametrize("command", ["weigh cross", "pads live", "aim ballast"])
def test_help_says_which_diagonal_it_is(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    run(*command.split(), "--help")
    said = " ".join(capsys.readouterr().out.lower().split())
    assert re.search(r"cross weight(:| \()[^.]*front right \+ rear left", said)
    assert "front left + rear right" not in said
