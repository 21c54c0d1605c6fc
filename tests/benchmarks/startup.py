"""How soon `pivotbench --help` answers. Baseline, in the same run: the interpreter alone, and with click imported.

python tests/benchmarks/startup.py [--quick]
"""

import argparse
import json
import statistics
import subprocess
import sys
import time


def median_ms(command: list[str], runs: int) -> float:
    """Median wall time of a command, ms."""
    taken = []
    for _ in range(runs + 1):
        start = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        taken.append(1e3 * (time.perf_counter() - start))
    return statistics.median(taken[1:])


def main() -> None:
    """Run and print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    runs = 3 if parser.parse_args().quick else 15
    python = median_ms([sys.executable, "-c", "pass"], runs)
    click = median_ms([sys.executable, "-c", "import click"], runs)
    ours = median_ms([sys.executable, "-m", "rig.main", "--help"], runs)
    print(f"python {python:.0f} ms, python with click {click:.0f} ms, pivotbench --help {ours:.0f} ms")
    print(
        json.dumps(
            {"help_ms": ours, "baseline_python_ms": python, "baseline_click_ms": click, "times_click": ours / click}
        )
    )


if __name__ == "__main__":
    main()
