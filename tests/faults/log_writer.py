"""A process that fills a log and acknowledges each record on its output only after `record` has returned.

    python log_writer.py FOLDER FIRST COUNT

Ends as the command line does: its words on the error output, its exit code.
"""

import sys
from pathlib import Path

from rig.base.failures import explain
from rig.log.store import BenchLog
from tests.whole_records import numbered


def fill(folder: Path, first: int, count: int) -> None:
    """Write `count` records whose figures follow from their number."""
    with BenchLog(folder) as log:
        for number in range(first, first + count):
            raw = folder.parent / f"raw-{number}.txt"
            raw.write_text(f"{number}\n" * 10, encoding="ascii")
            card = log.add_card("car", f"c{number}", f"text {number} " + "x" * 500)
            file = log.add_file("raw", raw)
            made = numbered(log, f"p{number}", number, cards=[card], files=[file])
            print(made.id, number, flush=True)


if __name__ == "__main__":
    try:
        fill(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
    except Exception as error:
        failure = explain(error)
        print(failure.text, file=sys.stderr)
        sys.exit(failure.exit_code)
