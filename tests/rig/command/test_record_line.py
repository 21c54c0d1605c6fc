"""The recorded traffic of a port, and what is said of it."""

import re
import threading
from pathlib import Path

from click.testing import CliRunner

from rig.command.pads.record import command
from rig.virtual.pads import VirtualPads


def test_a_port_that_was_away_is_said(tmp_path: Path) -> None:
    with VirtualPads(rate=80) as pads:
        pulled, back = threading.Timer(0.5, pads.unplug), threading.Timer(0.9, pads.plug_in)
        for act in (pulled, back):
            act.start()
        done = CliRunner().invoke(command, [pads.url, str(tmp_path / "away.txt"), "--seconds", "2.5"])
        for act in (pulled, back):
            act.join()
    assert done.exit_code == 0
    found = re.search(r"(\d+) whole lines, .*; without a port for (\S+) s in 1 stretch; play back", done.output)
    assert found, done.output
    assert int(found[1]) > 10
    assert (
        0.3 <= float(found[2]) < 2.5
    )  # 0.4 s less the time until the loss is noticed, and half a second between tries


def test_of_a_port_that_stayed_nothing_is_said(tmp_path: Path) -> None:
    with VirtualPads(rate=80) as pads:
        done = CliRunner().invoke(command, [pads.url, str(tmp_path / "stayed.txt"), "--seconds", "0.5"])
    assert " lost; play back with --port replay:" in done.output
