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
def command(port: str, file: Path, seconds: float | None, baud: int) -> None:
    """Keep the raw traffic of PORT in FILE, until Ctrl-C. It can be played back as the port replay:FILE."""
    import time

    from rig.pads.reader import PadReader
    from rig.pads.traffic import TrafficRecorder

    start = time.monotonic()
    with (
        TrafficRecorder(file, port=port) as recorder,
        PadReader(port, baud=baud, tap=recorder.tap) as reader,
        progress("recording") as bar,
    ):
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
