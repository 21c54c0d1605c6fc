"""pivotbench pads"""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.command.group import bench_command
from rig.command.onto_card import Written, onto_card
from rig.command.options import json_option, show, tell

if TYPE_CHECKING:
    from rig.cards.keys.fields import CardKeys
    from rig.pads.first_contact.first_lines import FirstLines

BUILT_IN = "no USB port: a socket of the computer itself, in which pads are seldom plugged"


@bench_command(
    "pads",
    example="pivotbench pads --port /dev/ttyUSB0",
    then="pivotbench pads calibrate test.toml --mass 200 --mass 500 --mass 1000",
    words_of="pads",
)
@click.option("--port", "only", default="", help="This port alone: a device or a pyserial URL.")
@click.option("--baud", type=click.IntRange(300), default=None, help="This rate alone; else the usual ones.")
@click.option("--seconds", type=click.FloatRange(0.1, 60), default=2.0, show_default=True, help="Patience with each.")
@click.option("--write", metavar="BENCH.toml", type=click.Path(path_type=Path), help="Write it onto this bench card.")
@json_option
def command(only: str, baud: int | None, seconds: float, write: Path | None, as_json: bool) -> None:
    """Say what is connected: first lines, and the keys that would read them. Opening restarts some boards."""
    from rig.base.errors import BenchError, InputError
    from rig.cards.written.edited import card_as_read
    from rig.pads.port import list_ports

    as_read = "" if write is None else card_as_read(write, "bench")
    found = list_ports().ports
    built_in = {port.device for port in found if not port.usb}
    names = [only] if only else [port.device for port in found]
    heard = {name: _heard(name, baud, seconds, must=bool(only)) for name in names}
    lines: list[str] = []
    proposed = _proposed(heard)
    written = Written()
    if write is not None and len(proposed) == 1:
        written = onto_card(write, "bench", proposed[0], as_read=as_read)
    for name, seen in heard.items():
        if isinstance(seen, str):
            lines.append(f"{name}: {seen}")
            continue
        apart = f" ({BUILT_IN})" if name in built_in and not seen.lines else ""
        lines += [f"{name}: {seen.kind}{apart}", *(f"    {line}" for line in seen.lines)]
        lines += [f"    note: {remark}" for remark in seen.remarks]
    if len(proposed) == 1:
        keys = [f"{key} = {json.dumps(value)}" for key, value in _keys(proposed[0]).items()]
        lines += written.lines or ["Onto the bench card, under [pads]:", *keys]
        lines += _then(proposed[0])
    elif any(not isinstance(seen, str) and seen.single for seen in heard.values()) and not proposed:
        lines.append(
            "One pad a port: four such ports are wanted, with lines of one form. Connect all four and look again, or "
            "name them on the bench card: ports = [...]"
        )
    elif proposed:
        lines.append("More than one port speaks as pads do: name one with --port to see its keys.")
    rows = {
        name: {"trouble": seen}
        if isinstance(seen, str)
        else {
            "lines": list(seen.lines),
            "kind": seen.kind,
            "pattern": seen.pattern,
            "pads": seen.pads,
            "keys": seen.keys or {},
            "baud": seen.baud,
            "remarks": list(seen.remarks),
        }
        for name, seen in heard.items()
    }
    show("\n".join(lines), {"ports": rows}, as_json=as_json)
    if written.refused is not None:
        raise written.refused
    if not proposed and not any(not isinstance(seen, str) and seen.lines for seen in heard.values()):
        raise BenchError(
            "no pads were heard" if names else "no serial port is there",
            where=", ".join(names) or "this computer",
            remedy="Plug the pads' cable into this computer and see that they have power: with a USB cable a port is "
            "there that was not there before (pivotbench pads list)",
        )
    if write is not None and len(proposed) != 1:
        raise InputError(
            f"{'no port' if not proposed else 'more than one port'} speaks as pads do: nothing was written",
            where=str(write),
            remedy="Name the port with --port" if proposed else "Look at what stands beside each port above",
        )


def _heard(name: str, baud: int | None, seconds: float, *, must: bool) -> "FirstLines | str":
    """What a port says, or why it cannot be heard; must: raise the latter."""
    from rig.base.errors import BenchError
    from rig.pads.first_contact.first_lines import USUAL_RATES, first_lines_at
    from rig.pads.port import BAUD, open_port, reason_lost

    tell(f"listening to {name} …", err=True)
    try:
        port = open_port(name, baud=baud or BAUD)
    except BenchError as error:
        if must:
            raise
        return str(error)
    try:
        return first_lines_at(port, baud or BAUD, patience=seconds, rates=() if baud else USUAL_RATES)
    except OSError as error:
        return reason_lost(error)
    finally:
        port.close()


def _proposed(heard: "dict[str, FirstLines | str]") -> "list[CardKeys]":
    """Keys for the bench card, one set for each way to take the ports: a port with four pads, or four with one each."""
    usable = {name: seen for name, seen in heard.items() if not isinstance(seen, str) and seen.pads}
    single = {name: seen for name, seen in usable.items() if seen.single}
    found: list[CardKeys] = [{"pads.port": name} | _for_card(seen) for name, seen in usable.items() if not seen.single]
    alike = len({seen.pattern for seen in single.values()}) == 1
    if len(single) == 4 and alike and not found:
        found.append({"pads.ports": list(single)} | _for_card(next(iter(single.values()))))
    return found


def _for_card(found: "FirstLines") -> "CardKeys":
    keys: CardKeys = {f"pads.{key}": value for key, value in (found.keys or {"line_pattern": ""}).items()}
    return keys | {"pads.baud": found.baud}


def _then(keys: "CardKeys") -> list[str]:
    """What is left to do by hand."""
    pattern, unit = str(keys.get("pads.line_pattern", "")), keys.get("pads.unit", "counts")
    if not pattern:
        return []
    first = "the port named first" if "pads.ports" in keys else "<c1>"
    first = f"the pad called {keys['pads.pad_names'][0]}" if "pads.pad_names" in keys else first
    lines = [f"Press each pad: {first} must be the pad named first in wheels."]
    if unit != "counts":
        lines.append(
            "Scales that show a weight need no check masses; one known mass on a pad shows that they are right."
        )
    return lines


def _keys(values: "CardKeys") -> "CardKeys":
    return {key.removeprefix("pads."): value for key, value in values.items()}
