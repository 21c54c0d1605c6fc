"""Ten minutes of the real firmware on the emulated board, streamed at 80 lines a second to the program's own reader.

Counted: whatever the host sees wrong (lines damaged, lost, repeated; values missing, torn or wrong, against the loads
and the noise that the emulator was told) and whatever the emulator sees wrong (clock pulses outside the data sheet,
pads read late or not at all, bytes dropped). Converters run on clocks of their own, up to 1 % apart.

Baseline in the same run, a tenth as long: the same firmware changed to what simpler sketches do, one clock line for all
converters.

Run: PYTHONPATH=. python tests/benchmarks/firmware_stream.py [--quick]. The last line is one JSON object.
"""

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

from tests.firmware_notes.firmware_build import MUTANTS, build_changed, build_in, missing_tools
from tests.firmware_notes.firmware_stream import Bench, board_faults, faults, stream_at_80


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one minute in place of ten")
    seconds = 60.0 if parser.parse_args().quick else 600.0
    if reason := missing_tools():
        print(json.dumps({"skipped": reason}))
        return
    told: dict[str, object] = {"seconds": seconds}
    with tempfile.TemporaryDirectory() as aside:
        firmware = build_in(Path(aside))
        for name, elf, length in (
            ("", None, seconds),
            ("baseline_shared_clock_", build_changed(Path(aside) / "changed", MUTANTS["shared clock"]), seconds / 10),
        ):
            bench, began = Bench(firmware, elf), time.monotonic()
            try:
                stream = stream_at_80(bench, length)
            finally:
                bench.close()
            found = faults(stream) + board_faults(stream)
            print(
                f"{name or 'firmware'}: {len(stream.frames)} lines, {length:g} s of the board in "
                f"{time.monotonic() - began:.0f} s; {found or 'nothing wrong'}",
                file=sys.stderr,
            )
            told |= {f"{name}lines": len(stream.frames), f"{name}kinds_of_fault": len(found)}
    print(json.dumps(told))


if __name__ == "__main__":
    main()
