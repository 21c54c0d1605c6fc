"""pivotbench camera"""

from rig.command.group import bench_command
from rig.command.options import json_option, show


@bench_command(
    "camera",
    example="pivotbench camera",
    then="pivotbench push film test.toml",
    words_of="camera",
)
@json_option
def command(as_json: bool) -> None:
    """List the cameras of this machine. Clips filmed with a phone work without any of them."""
    from rig.camera.source import list_cameras

    found = list_cameras()
    lines = [f"{camera.device:<16} {camera.name}" for camera in found] or ["No camera is plugged in."]
    show("\n".join(lines), {"cameras": [{"device": c.device, "name": c.name} for c in found]}, as_json=as_json)
