"""pivotbench bench"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import log_folder, log_option, tell


@bench_command(
    "bench",
    example="pivotbench bench --virtual",
    then="the page tells the next step itself",
    words_of="bench",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=None, help="Port of the page (otherwise 8377 or a free one)."
)
@log_option
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@click.option("--virtual", is_flag=True, help="Start with the virtual bench, which needs no hardware.")
def command(port: int | None, log_dir: Path | None, no_browser: bool, virtual: bool) -> None:
    """Open the bench page: weigh, push, see and compare in a browser on this machine.

    Only this machine can reach the page, until you press "Let phones guess" or open "Big weights" there.
    Ctrl-C ends it; everything recorded is kept.
    """
    from rig.page.server.serve import Serving, open_browser

    serving = Serving(log_folder(log_dir), port=port)

    def ready() -> None:
        tell(f"The bench page: {serving.url}   (Ctrl-C ends it)", err=True)
        if virtual:
            serving.bench.switch_virtual(True)
        if not no_browser:
            open_browser(serving.url)

    serving.run(ready)
