"""`pads` alone, on a real pseudo-terminal: what is heard, and what goes onto the bench card."""

import json
import threading
import time
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from rig.base.errors import BenchError, InputError
from rig.command.pads import pads as listening
from rig.main import main
from rig.pads.first_contact.first_lines import FirstLines
from rig.pads.lines import Reading
from rig.pads.patterns import PatternLines
from rig.pads.port import PortInfo, PortList
from tests.rig.pads.scripted_pad import ScriptedPad


def heard(monkeypatch: pytest.MonkeyPatch, line: bytes, *words: str) -> str:
    """What the command prints while a board sends this line again and again."""
    pad, stop = ScriptedPad(), threading.Event()

    def send() -> None:
        while not stop.is_set():
            pad.send(line + b"\n")
            time.sleep(0.01)

    monkeypatch.setattr("rig.pads.port.list_ports", lambda: PortList(ports=(PortInfo(device=pad.url),), complete=True))
    board = threading.Thread(target=send)
    board.start()
    try:
        done = CliRunner().invoke(listening.command, list(words), catch_exceptions=False)
    finally:
        stop.set()
        board.join()
        pad.unplug()
    assert done.exit_code == 0, done.output
    return done.stdout


def test_another_format_gets_its_pattern_ready_for_the_card(monkeypatch: pytest.MonkeyPatch) -> None:
    said = heard(monkeypatch, b'w\' "12.5;-3;400;0.25" g')
    assert 'w\' "12.5;-3;400;0.25" g' in said
    lines = [line for line in said.splitlines() if line.startswith("line_pattern = ")]
    pattern = tomllib.loads(lines[0])["line_pattern"]  # as it would be copied
    read = PatternLines(pattern=pattern).parse(b'w\' "12.5;-3;400;0.25" g')
    assert isinstance(read, Reading)
    assert read.counts == (12.5, -3.0, 400.0, 0.25)
    assert "Press each pad" in said  # which is which, no line says


def test_it_is_written_onto_the_bench_card_when_asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    card = tmp_path / "bench.toml"
    card.write_text('# ours\ncard = "bench"\nname = "Workshop"\n[pads]\nport = "COM9"  # the old board\n')
    said = heard(monkeypatch, b"12.5;-3;400;0.25", "--write", str(card))
    pads = tomllib.loads(card.read_text())["pads"]
    assert pads["line_pattern"] == "<c1>;<c2>;<c3>;<c4>"
    assert Path(pads["port"]).parent.name.startswith("scripted-pad-")
    assert pads["baud"] == 115_200
    assert card.read_text().startswith("# ours\n")
    assert f"wrote {card}: port COM9 → {pads['port']}" in said


def test_a_port_that_is_no_pads_is_not_written(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    card = tmp_path / "bench.toml"
    card.write_text('card = "bench"\nname = "Workshop"\n')
    with pytest.raises(InputError, match="no port speaks as pads do"):
        heard(monkeypatch, b"temperature 21.5", "--write", str(card))
    assert card.read_text() == 'card = "bench"\nname = "Workshop"\n'


def test_for_programs_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    told = json.loads(heard(monkeypatch, b"1 2 3", "--json", "--seconds", "0.5"))
    ((row),) = told["ports"].values()
    assert row["pattern"] == ""
    assert set(row["lines"]) == {"1 2 3"}


def test_a_computer_without_pads_is_a_failure_that_says_what_to_plug_in(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A socket of the computer itself is there with nothing in it; the shell sees 1, as for any failed operation."""
    pad = ScriptedPad()
    there = PortList(ports=(PortInfo(device=pad.url),), complete=True)
    monkeypatch.setattr("rig.pads.port.list_ports", lambda: there)
    with pytest.raises(SystemExit) as ended:
        main(["pads", "--seconds", "0.2"])
    said = capsys.readouterr()
    assert ended.value.code == 1
    assert f"{pad.url}: silent" in said.out
    assert "a socket of the computer itself" in said.out
    assert "no pads were heard" in said.err
    monkeypatch.setattr("rig.pads.port.list_ports", lambda: PortList(ports=(), complete=True))
    with pytest.raises(SystemExit) as ended:
        main(["pads"])
    assert ended.value.code == 1
    assert "no serial port is there" in capsys.readouterr().err
    usb = PortList(ports=(PortInfo(device=pad.url, usb=True),), complete=True)
    monkeypatch.setattr("rig.pads.port.list_ports", lambda: usb)
    with pytest.raises(SystemExit):
        main(["pads", "--seconds", "0.2"])
    assert "a socket of the computer itself" not in capsys.readouterr().out
    pad.unplug()


def test_a_port_that_is_named_and_not_there_is_refused() -> None:
    with pytest.raises(BenchError, match="no such port"):
        CliRunner().invoke(listening.command, ["--port", "/dev/no-such-port"], catch_exceptions=False)


def four_ports(monkeypatch: pytest.MonkeyPatch, lines: list[bytes], *words: str) -> tuple[str, list[str]]:
    """What the command prints while four boards send a line each; and their ports."""
    pads, stop = [ScriptedPad() for _ in lines], threading.Event()

    def send() -> None:
        while not stop.is_set():
            for pad, line in zip(pads, lines, strict=True):
                pad.send(line)
            time.sleep(0.01)

    there = PortList(ports=tuple(PortInfo(device=pad.url) for pad in pads), complete=True)
    monkeypatch.setattr("rig.pads.port.list_ports", lambda: there)
    boards = threading.Thread(target=send)
    boards.start()
    try:
        done = CliRunner().invoke(listening.command, list(words), catch_exceptions=False)
    finally:
        stop.set()
        boards.join()
        for pad in pads:
            pad.unplug()
    assert done.exit_code == 0, done.output
    return done.stdout, [pad.url for pad in pads]


def test_four_scales_on_four_ports_are_one_bench(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    card = tmp_path / "bench.toml"
    card.write_text('card = "bench"\nname = "Workshop"\n')
    lines = [f"ST,GS,+ {kg:.3f} kg\r".encode() for kg in (0.431, 0.367, 0.403, 0.390)]
    _, ports = four_ports(monkeypatch, lines, "--write", str(card))
    pads = tomllib.loads(card.read_text())["pads"]
    assert pads["ports"] == ports
    assert pads["unit"] == "kg"
    read = PatternLines(pattern=pads["line_pattern"], unit=pads["unit"]).parse(lines[2].strip())
    assert isinstance(read, Reading)
    assert read.counts[0] == pytest.approx(403)


def test_one_scale_alone_is_shown_and_not_written(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    said = heard(monkeypatch, b"ST,GS,+  431.2 g")
    assert "one pad a port, in g" in said
    assert "four such ports are wanted" in said
    card = tmp_path / "bench.toml"
    card.write_text('card = "bench"\nname = "Workshop"\n')
    with pytest.raises(InputError, match="nothing was written"):
        heard(monkeypatch, b"ST,GS,+  431.2 g", "--write", str(card))
    assert "ports" not in card.read_text()


def test_a_decimal_comma_and_the_unit_go_onto_the_card(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    card = tmp_path / "bench.toml"
    card.write_text('card = "bench"\nname = "Workshop"\n')
    line = "VR 0,367 kg; VL 0,431 kg; HR 0,390 kg; HL 0,403 kg"
    heard(monkeypatch, line.encode(), "--write", str(card))
    pads = tomllib.loads(card.read_text())["pads"]
    assert (pads["unit"], pads["decimal_mark"]) == ("kg", "comma")
    read = PatternLines(pattern=pads["line_pattern"], unit="kg", decimal_mark="comma").parse(line.encode())
    assert isinstance(read, Reading)
    assert read.counts == pytest.approx((431, 367, 403, 390))  # FL FR RL RR, whatever their order on the line


def test_four_single_pads_are_proposed_only_where_no_port_has_all_four() -> None:
    """By hand: what a bench card would hold for each way to take the ports."""

    def one(single: bool, pattern: str = "<c1>") -> FirstLines:
        return FirstLines(lines=(), kind="", pattern=pattern, pads=True, keys={"unit": "g"}, single=single, baud=9600)

    four = {f"port {n}": one(True) for n in range(4)}
    both = {"pads.unit": "g", "pads.baud": 9600}
    assert listening._proposed(dict(four)) == [{"pads.ports": ["port 0", "port 1", "port 2", "port 3"]} | both]
    assert listening._proposed(four | {"all": one(False)}) == [{"pads.port": "all"} | both]
    assert listening._proposed(four | {"port 3": one(True, "<c1> g")}) == []  # they do not speak alike
    assert listening._proposed({"port 0": one(True), "broken": "cannot open it"}) == []
