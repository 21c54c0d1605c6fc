"""Installation from nothing: a wheel in a fresh environment, and the lower bounds of every dependency.

1. Builds a wheel, installs it in a fresh environment, runs `pivotbench check` and `pivotbench demo`.
2. Installs exactly the lower bounds that pyproject.toml states, runs `check`, `demo` and a few tests with them.
Baseline: none; each step either ends with 0 or does not. --quick leaves out both demos. Last line: one JSON object.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
import time
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SHORT_TESTS = ("tests/rig/test_cards.py", "tests/rig/test_log.py", "tests/rig/test_card_sheet.py")
LIMIT_S = 900


def lower_bounds() -> list[str]:
    """`name==version` of every dependency's lower bound."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [re.sub(r">=", "==", one) for one in project["dependencies"]]


def step(said: dict[str, object], name: str, *command: object, cwd: Path = ROOT) -> bool:
    """Run one command; note whether it ended with 0, and how long it took."""
    begun = time.perf_counter()
    done = subprocess.run([str(part) for part in command], cwd=cwd, capture_output=True, text=True, timeout=LIMIT_S)
    said[name] = {"ok": done.returncode == 0, "s": round(time.perf_counter() - begun, 1)}
    print(f"{name}: {'good' if done.returncode == 0 else 'FAILED'}, {said[name]}")
    if done.returncode:
        print(done.stdout[-1500:], done.stderr[-1500:])
    return done.returncode == 0


def fresh(folder: Path) -> Path:
    """A fresh environment; gives the folder of its programs."""
    venv.create(folder, with_pip=True)
    return folder / ("Scripts" if sys.platform == "win32" else "bin")


def main() -> None:
    """Run both parts."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    said: dict[str, object] = {"python": sys.version.split()[0], "lower_bounds": lower_bounds()}
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        constraints = place / "lower.txt"
        constraints.write_text("\n".join(lower_bounds()) + "\n", encoding="utf-8")
        step(said, "wheel", sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", place / "wheel", ROOT)
        wheel = next((place / "wheel").glob("*.whl"), ROOT)
        for kind, extra in (("newest", []), ("lowest", ["-c", constraints])):
            programs = fresh(place / kind)
            pip = [programs / "python", "-m", "pip", "install", "-q", "--only-binary=:all:"]
            if not step(said, f"{kind}: install", *pip, *extra, wheel, "pytest", "pytest-xdist", "hypothesis"):
                continue
            log = place / f"log {kind}"
            step(said, f"{kind}: check", programs / "pivotbench", "check", "--log", log, cwd=place)
            if not quick:
                step(said, f"{kind}: demo", programs / "pivotbench", "demo", "--out", place / f"demo {kind}", cwd=place)
            if kind == "lowest":
                step(said, f"{kind}: tests", programs / "python", "-m", "pytest", "-n", "0", *SHORT_TESTS)
    print(json.dumps(said))


if __name__ == "__main__":
    main()
