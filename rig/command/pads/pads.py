"""pivotbench pads"""

import json

import click

from rig.command.group import bench_command
from rig.command.options import json_option, show


@bench_command(
    "pads",
    example="pivotbench pads --port /dev/ttyUSB0",
    then="pivotbench pads calibrate test.toml --mass 200 --mass 500 --mass 1000",
    words_of="pads",
)
@click.option("--port", "only", default="", help="Listen to this port alone: a device or a pyserial URL.")
@click.option("--baud", type=click.IntRange(300), default=115_200, show_default=True)
@click.option("--seconds", type=click.FloatRange(0.1, 60), default=2.0, show_default=True, help="Patience with each.")
@json_option
def command(only: str, baud: int, seconds: float, as_json: bool) -> None:
    """Say what is connected: the first lines of each serial port, and the line_pattern that would read them.

    Ports are opened to listen, which restarts some boards; nothing is sent.
    """
    from rig.base.errors import BenchError
    from rig.pads.first_lines import FirstLines, first_lines
    from rig.pads.port import list_ports, open_port, reason_lost

    names = [only] if only else [port.device for port in list_ports().ports]
    heard: dict[str, FirstLines | str] = {}
    for name in names:
        click.echo(f"listening to {name} …", err=True)
        try:
            port = open_port(name, baud=baud)
        except BenchError as error:
            if only:
                raise
            heard[name] = str(error)
            continue
        try:
            heard[name] = first_lines(port, patience=seconds)
        except OSError as error:
            heard[name] = reason_lost(error)
        finally:
            port.close()
    lines = [] if names else ["No serial port found. Plug the pads in; pivotbench pads list says more."]
    for name, found in heard.items():
        if isinstance(found, str):
            lines.append(f"{name}: {found}")
            continue
        lines += [f"{name}: {found.kind}", *(f"    {line}" for line in found.lines)]
        lines.append(f"Onto the bench card, under [pads]: port = {json.dumps(name)}")
        if found.pattern:
            lines.append(f"line_pattern = {json.dumps(found.pattern)}")
            lines.append("Press each pad: <c1> must be the pad named first in wheels.")
    rows = {
        name: {"trouble": found}
        if isinstance(found, str)
        else {"lines": list(found.lines), "kind": found.kind, "pattern": found.pattern}
        for name, found in heard.items()
    }
    show("\n".join(lines), {"ports": rows}, as_json=as_json)
