"""pivotbench pads list"""

from rig.command.group import bench_command
from rig.command.options import json_option, show


@bench_command(
    "list",
    example="pivotbench pads list",
    then="pivotbench pads calibrate test.toml --mass 200 --mass 1000",
)
@json_option
def command(as_json: bool) -> None:
    """List the serial ports of this machine. A typed name or URL works even if it is not listed."""
    from rig.pads.port import list_ports

    found = list_ports()
    rows = [
        {"device": port.device, "description": port.description, "serial_number": port.serial_number}
        for port in found.ports
    ]
    lines = [f"{row['device']:<24} {row['description'] or ''}" for row in rows]
    if not found.complete:
        lines.append("note: this system was slow to answer; the list may not be whole")
    if not rows:
        lines.append(
            "No serial port found. Plug the pads in; on Linux, join the group that owns the port "
            "(often dialout), then log in again."
        )
    show("\n".join(lines), {"ports": rows, "complete": found.complete}, as_json=as_json)
