"""Installation from nothing: a wheel in a fresh environment, and the lower bounds of every dependency.

    python tests/benchmarks/install.py [--quick] [--only newest|lowest] [--python PATH ...]

1. newest: builds a wheel and installs it in a fresh environment with the newest dependencies; `pivotbench log check`,
   `pivotbench demo` and a few tests (cards, log, one weighing, one tracking, forecasts) run there. The same for each
   further Python named with --python.
2. lowest: exactly the lower bounds that pyproject.toml states, with the same steps.
Baseline: none; each step either ends with 0 or does not. --quick leaves the demos and further Pythons out. Ends with 1
when a step fails. Last line: one JSON object; `failed_steps` is to be 0.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SHORT_TESTS = (
    "tests/rig/cards/test_cards.py",
    "tests/rig/log/test_store.py",
    "tests/analysis/forecast/test_forecast.py",
    "tests/rig/jobs/test_weighing.py::test_pads_calibrated_with_masses_weigh_the_car_turned_or_not",
    "tests/vision/tracking/test_track.py::test_a_clear_clip_is_tracked_to_a_twentieth_of_a_millimetre",
)
LIMIT_S = 1800


def lower_bounds() -> list[str]:
    """`name==version` of every dependency's lower bound."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [re.sub(r">=", "==", one) for one in project["dependencies"]]


class Steps:
    """Commands run one after the other. said: name -> {"ok", "s"}."""

    def __init__(self) -> None:
        self.said: dict[str, dict[str, object]] = {}

    def run(self, name: str, *command: object, cwd: Path = ROOT) -> bool:
        """Run one command; note whether it ended with 0, and how long it took."""
        begun = time.perf_counter()
        # with the tree on the path of Python, pip takes the project for installed
        surroundings = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
        try:
            done = subprocess.run(
                [str(part) for part in command],
                cwd=cwd,
                env=surroundings,
                capture_output=True,
                encoding="utf-8",
                errors="replace",
                timeout=LIMIT_S,
                check=False,
            )
            ok, words = done.returncode == 0, done.stdout[-1500:] + done.stderr[-1500:]
        except (OSError, subprocess.TimeoutExpired) as error:
            ok, words = False, str(error)
        self.said[name] = {"ok": ok, "s": round(time.perf_counter() - begun, 1)}
        print(
            f"{name}: {'good' if ok else 'FAILED'}, {self.said[name]['s']} s" + ("" if ok else f"\n{words}"), flush=True
        )
        return ok

    @property
    def failed(self) -> int:
        """How many did not end with 0."""
        return sum(not one["ok"] for one in self.said.values())


def environment(
    steps: Steps, kind: str, place: Path, python: str, wheel: Path, constraints: Path, *, demo: bool
) -> None:
    """One fresh environment with one Python: install, check, demo, a few tests."""
    folder = place / kind.replace(" ", "-")
    programs = folder / ("Scripts" if sys.platform == "win32" else "bin")
    if not steps.run(f"{kind}: environment", python, "-m", "venv", folder):
        return
    # without compiling everything beforehand: most modules of scipy are never loaded here
    install = [
        programs / "python",
        "-m",
        "pip",
        "install",
        "-q",
        "--no-compile",
        "--only-binary=:all:",
        "--disable-pip-version-check",
    ]
    extra = ["-c", constraints] if kind == "lowest" else []
    if not steps.run(f"{kind}: install", *install, *extra, wheel, "pytest", "pytest-xdist", "hypothesis"):
        return
    steps.run(f"{kind}: check", programs / "pivotbench", "log", "check", "--log", place / f"log {kind}", cwd=place)
    if demo:
        steps.run(f"{kind}: demo", programs / "pivotbench", "demo", "--out", place / f"demo {kind}", cwd=place)
    steps.run(f"{kind}: tests", programs / "python", "-m", "pytest", "-n", "0", "-p", "no:cacheprovider", *SHORT_TESTS)


def main() -> None:
    """Run the parts; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="no demos, this Python alone")
    parser.add_argument("--only", choices=["newest", "lowest"])
    parser.add_argument("--python", nargs="*", default=[], metavar="PATH", help="further Pythons to try")
    given = parser.parse_args()
    steps = Steps()
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        constraints = place / "lower.txt"
        constraints.write_text("\n".join(lower_bounds()) + "\n", encoding="utf-8")
        built = steps.run("wheel", sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", place / "wheel", ROOT)
        if built:
            wheel = next((place / "wheel").glob("*.whl"))
            kinds = [given.only] if given.only else ["newest", "lowest"]
            wanted = [(kind, sys.executable) for kind in kinds]
            if not given.quick:
                wanted += [(f"newest on {number}", python) for number, python in enumerate(given.python, start=1)]
            for kind, python in wanted:
                environment(steps, kind, place, python, wheel, constraints, demo=not given.quick)
    print(
        json.dumps(
            {
                "failed_steps": steps.failed,
                "python": sys.version.split()[0],
                "pythons": given.python,
                "lower_bounds": lower_bounds(),
                "steps": steps.said,
            }
        )
    )
    sys.exit(1 if steps.failed else 0)


if __name__ == "__main__":
    main()
