"""pivotbench pads record"""

from pathlib import Path

import click

from rig.command.group import bench_command
from rig.command.options import progress, tell


@bench_command(
    "record",
    example="pivotbench pads record /dev/ttyUSB0 traffic.txt --seconds 30",
    then="pivotbench pads live test.toml --port replay:traffic.txt",
)
@click.argument("port")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--seconds", type=click.FloatRange(0, min_open=True), default=None, help="Stop after this long.")
@click.option("--baud", type=click.IntRange(300), default=115_200, show_default=True)
@click.option(
    "--force",
    is_flag=True,
    help="With the load cell on the finger: for a push that another camera films. Begin and end with it off the car.",
)
def command(port: str, file: Path, seconds: float | None, baud: int, force: bool) -> None:
    """Keep the raw traffic of PORT in FILE, until Ctrl-C. It can be played back as the port replay:FILE."""
    import time
    from contextlib import ExitStack

    from rig.base.cautions import FINGER
    from rig.pads.force_file import force_recorded
    from rig.pads.reader import PadReader
    from rig.pads.traffic import TrafficRecorder

    with ExitStack() as stack:
        if force:
            reader = stack.enter_context(force_recorded(port, file, baud=baud))
            tell(f"{FINGER} Off the car for a second, push, off the car for a second, then Ctrl-C.", err=True)
        else:
            recorder = stack.enter_context(TrafficRecorder(file, port=port))
            reader = stack.enter_context(PadReader(port, baud=baud, tap=recorder.tap))
        bar = stack.enter_context(progress("recording"))
        start = time.monotonic()
        try:
            while seconds is None or time.monotonic() - start < seconds:
                time.sleep(0.1)
                if reader.recording_error is not None:
                    raise reader.recording_error
                if seconds is not None:
                    bar(min((time.monotonic() - start) / seconds, 1.0))
        except KeyboardInterrupt:
            pass
        tally, gaps = reader.tally, reader.gaps
    away = sum(gap.end - gap.start for gap in gaps)
    stretches = f"{len(gaps)} stretches" if len(gaps) > 1 else "1 stretch"
    without = f"; without a port for {away:.1f} s in {stretches}" if gaps else ""
    tell(
        f"{file}: {tally.intact} whole lines, {tally.damaged} damaged, {tally.lost} lost{without}; play back with "
        f"--port replay:{file}"
    )
