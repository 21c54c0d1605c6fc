"""Line and branch coverage of the analysis and of the pad protocol by their own tests. Exit code 1 below the limit.

    PYTHONPATH=. python tests/benchmarks/covered.py [--quick] [--processes N] [--report FILE]

`lines` and `branches` are the shares of all statements and of all ways out of a condition that the tests ran; the
limit is 0.95 for each. `lowest` names the five modules with the most left out, with the lines. `--quick` runs the
protocol alone; `--report` runs nothing and judges what the coverage library wrote of another run, as `.ci/run` does
with that of all tests. The last line is one JSON object.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
LIMIT = 0.95
PADS, ANALYSIS = (
    ["tests/rig/pads/test_*.py", "tests/rig/virtual/test_pads.py"],
    ["tests/analysis/**/test_*.py", "tests/internals/test_*.py"],
)


def measure(quick: bool, processes: str, report: Path) -> tuple[dict[str, Any], bool]:
    """Run the tests under coverage; the report of the coverage library, and whether they passed."""
    patterns, sources = (PADS, ["rig.pads"]) if quick else (PADS + ANALYSIS, ["rig.pads", "analysis"])
    files = sorted(str(path.relative_to(ROOT)) for pattern in patterns for path in ROOT.glob(pattern))
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-n",
        processes,
        "-q",
        "-p",
        "no:cacheprovider",
        "-p",
        "pytest_cov",
        "--cov-branch",
        *(f"--cov={source}" for source in sources),
        f"--cov-report=json:{report}",
        *files,
    ]
    surroundings = os.environ | {"COVERAGE_FILE": str(report.with_suffix(".data")), "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(command, cwd=ROOT, env=surroundings, check=False)
    return json.loads(report.read_text(encoding="utf-8")), done.returncode == 0


def left_out(summary: dict[str, Any]) -> int:
    """Statements and ways that no test ran."""
    return int(summary["missing_lines"] + summary["missing_branches"])


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="the protocol alone")
    parser.add_argument("--processes", default="auto", help="for pytest's -n")
    parser.add_argument("--report", type=Path, help="JSON of a run that is over")
    given = parser.parse_args()
    began = time.monotonic()
    if given.report is not None:
        told, passed = json.loads(given.report.read_text(encoding="utf-8")), True
    else:
        with tempfile.TemporaryDirectory() as aside:
            told, passed = measure(given.quick, given.processes, Path(aside) / "coverage.json")
    files = sorted(told["files"].items(), key=lambda item: left_out(item[1]["summary"]), reverse=True)
    for name, file in files:
        if left_out(file["summary"]):
            ways = [f"{start}->{end if end > 0 else 'exit'}" for start, end in file["missing_branches"]]
            print(f"{name}: lines {file['missing_lines']}, branches {ways}")
    total = told["totals"]
    lines = total["covered_lines"] / total["num_statements"]
    branches = total["covered_branches"] / total["num_branches"]
    print(
        json.dumps(
            {
                "lines": round(lines, 4),
                "branches": round(branches, 4),
                "limit": LIMIT,
                "statements": total["num_statements"],
                "ways": total["num_branches"],
                "lowest": {name: round(file["summary"]["percent_covered"], 1) for name, file in files[:5]},
                "seconds": round(time.monotonic() - began, 1),
            }
        )
    )
    if not passed:
        sys.exit("The tests do not pass.")
    if min(lines, branches) < LIMIT:
        sys.exit(f"Coverage is below {LIMIT:.0%}.")


if __name__ == "__main__":
    main()
