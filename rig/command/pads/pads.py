"""pivotbench pads"""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.command.group import bench_command
from rig.command.onto_card import Written, onto_card
from rig.command.options import json_option, show, tell

if TYPE_CHECKING:
    from rig.cards.fields import CardKeys
    from rig.pads.first_lines import FirstLines


@bench_command(
    "pads",
    example="pivotbench pads --port /dev/ttyUSB0",
    then="pivotbench pads calibrate test.toml --mass 200 --mass 500 --mass 1000",
    words_of="pads",
)
@click.option("--port", "only", default="", help="Listen to this port alone: a device or a pyserial URL.")
@click.option("--baud", type=click.IntRange(300), default=115_200, show_default=True)
@click.option("--seconds", type=click.FloatRange(0.1, 60), default=2.0, show_default=True, help="Patience with each.")
@click.option("--write", metavar="BENCH.toml", type=click.Path(path_type=Path), help="Write it onto this bench card.")
@json_option
def command(only: str, baud: int, seconds: float, write: Path | None, as_json: bool) -> None:
    """Say what each serial port sends, and the line_pattern that would read it.

    Ports are opened to listen, which restarts some boards; nothing is sent.
    """
    from rig.base.errors import InputError
    from rig.cards.written.edited import card_as_read
    from rig.pads.port import list_ports

    as_read = "" if write is None else card_as_read(write, "bench")
    names = [only] if only else [port.device for port in list_ports().ports]
    heard = {name: _heard(name, baud, seconds, must=bool(only)) for name in names}
    lines = [] if names else ["No serial port found. Plug the pads in; pivotbench pads list says more."]
    usable = {name: found for name, found in heard.items() if not isinstance(found, str) and found.pads}
    written = Written()
    if write is not None and len(usable) == 1:
        ((name, found),) = usable.items()
        written = onto_card(write, "bench", _for_card(name, found, baud), as_read=as_read)
    for name, told in heard.items():
        if isinstance(told, str):
            lines.append(f"{name}: {told}")
            continue
        lines += [f"{name}: {told.kind}", *(f"    {line}" for line in told.lines)]
        if told.pads:
            keys = [f"{key} = {json.dumps(value)}" for key, value in _keys(_for_card(name, told, baud)).items()]
            lines += written.lines or ["Onto the bench card, under [pads]:", *keys]
        if told.pattern:
            lines.append("Press each pad: <c1> must be the pad named first in wheels.")
    rows = {
        name: {"trouble": told}
        if isinstance(told, str)
        else {"lines": list(told.lines), "kind": told.kind, "pattern": told.pattern, "pads": told.pads}
        for name, told in heard.items()
    }
    show("\n".join(lines), {"ports": rows}, as_json=as_json)
    if written.refused is not None:
        raise written.refused
    if write is not None and len(usable) != 1:
        raise InputError(
            f"{'no port' if not usable else 'more than one port'} speaks as pads do: nothing was written",
            where=str(write),
            remedy="Name the port with --port" if usable else "Look at what stands beside each port above",
        )


def _heard(name: str, baud: int, seconds: float, *, must: bool) -> "FirstLines | str":
    """What a port says, or why it cannot be heard; must: raise the latter."""
    from rig.base.errors import BenchError
    from rig.pads.first_lines import first_lines
    from rig.pads.port import open_port, reason_lost

    tell(f"listening to {name} …", err=True)
    try:
        port = open_port(name, baud=baud)
    except BenchError as error:
        if must:
            raise
        return str(error)
    try:
        return first_lines(port, patience=seconds)
    except OSError as error:
        return reason_lost(error)
    finally:
        port.close()


def _for_card(name: str, found: "FirstLines", baud: int) -> "CardKeys":
    return {"pads.port": name, "pads.line_pattern": found.pattern, "pads.baud": baud}


def _keys(values: "CardKeys") -> "CardKeys":
    return {key.removeprefix("pads."): value for key, value in values.items()}
