"""Installation from nothing: the source archive and the wheel made of it, in fresh environments outside the tree.

    python tests/benchmarks/install.py [--quick] [--only newest|lowest] [--python PATH ...]

1. packages: the tree is copied without what git leaves out, the source archive made of it, the wheel made of that.
   Both must hold what belongs in: every file of the four packages in the wheel, the tests as well in the archive.
2. newest: the wheel alone in a fresh environment with the newest dependencies, in a folder with a blank and an umlaut:
   every module is imported, the page is served whole and drawn by a browser where there is one, `pivotbench log check`,
   `pivotbench demo`, and a few tests of the archive (cards, log, one weighing, one tracking, forecasts); uninstalling
   leaves what was measured and nothing else. The same with each further Python: those named with --python, otherwise
   every other one from 3.11 up that is found here.
3. lowest: exactly the lower bounds that pyproject.toml states, with the same steps.
Baseline: none; each step either ends with 0 or does not. --quick leaves the demo and the tests to `lowest`, and the
newest dependencies to the other Pythons, where there are any. Ends with 1 when a step fails. Last line: one JSON
object; `failed_steps` is to be 0, `pythons` lists what ran.
"""

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import time
import tomllib
import urllib.request
import zipfile
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("rig", "vision", "analysis", "firmware_notes")
SHORT_TESTS = (
    "tests/rig/cards/test_cards.py",
    "tests/rig/log/test_store.py",
    "tests/analysis/forecast/test_forecast.py",
    "tests/rig/jobs/weighing/test_weighing.py::test_pads_calibrated_with_masses_weigh_the_car_turned_or_not",
    "tests/vision/tracking/test_track.py::test_a_clear_clip_is_tracked_to_a_twentieth_of_a_millimetre",
)
FOLDER = "Käfer und Öl"
LIMIT_S = 1800
OLDEST = (3, 11)
IMPORT_ALL = """
import importlib, pkgutil, sys
from pathlib import Path
here = Path(sys.prefix).resolve()
for room in ("rig", "vision", "analysis"):
    package = importlib.import_module(room)
    assert here in Path(package.__file__).resolve().parents, package.__file__
    for module in pkgutil.walk_packages(package.__path__, room + "."):
        importlib.import_module(module.name)
from rig.base.notes import board_notes
assert len(board_notes()) > 10
"""


def lower_bounds() -> list[str]:
    """`name==version` of every dependency's lower bound."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [re.sub(r">=", "==", one) for one in project["dependencies"]]


def files_of(tree: Path, folders: Iterable[str]) -> set[str]:
    """Every file of these folders that a package is made of, by its path in the tree."""
    found = (path for folder in folders for path in (tree / folder).rglob("*") if path.is_file())
    return {path.relative_to(tree).as_posix() for path in found if "__pycache__" not in path.parts}


def missing_from(packed: Iterable[str], tree: Path, folders: Iterable[str]) -> list[str]:
    """The files of the tree's folders that a wheel or a source archive lacks. packed: the names in it."""
    return sorted(files_of(tree, folders) - set(packed))


def other_pythons() -> list[str]:
    """A path for each other Python from 3.11 up that this machine has, oldest first."""
    names = [shutil.which(f"python3.{minor}") for minor in range(OLDEST[1], 20)]
    places = [*Path("~/.pyenv/versions").expanduser().glob("3.*/bin/python"), *(Path(name) for name in names if name)]
    found: dict[tuple[int, ...], str] = {}
    for place in places:
        said = subprocess.run(
            [str(place), "-c", "import sys; print(*sys.version_info[:2])"], capture_output=True, text=True
        )
        if said.returncode == 0:
            found.setdefault(tuple(map(int, said.stdout.split())), str(place))
    return [found[number] for number in sorted(found) if number >= OLDEST and number != sys.version_info[:2]]


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
        self.note(name, begun, "" if ok else words or "ended badly without a word")
        return ok

    def note(self, name: str, begun: float, wrong: str) -> None:
        """Keep and show how a step ended. begun: perf_counter at its start. wrong: "" when nothing is."""
        self.said[name] = {"ok": not wrong, "s": round(time.perf_counter() - begun, 1)}
        words = f"FAILED, {self.said[name]['s']} s\n{wrong}" if wrong else f"good, {self.said[name]['s']} s"
        print(f"{name}: {words}", flush=True)

    @property
    def failed(self) -> int:
        """How many did not end with 0."""
        return sum(not one["ok"] for one in self.said.values())


def packages(steps: Steps, place: Path) -> tuple[Path, Path] | None:
    """The wheel, and the source archive unpacked; None when they cannot be made."""
    copy, made = place / "copy", place / "made"
    left_out = shutil.ignore_patterns(
        ".git", ".venv", "build", "dist", "*.egg-info", "__pycache__", ".*_cache", ".hypothesis", "artefacts", "demo"
    )
    shutil.copytree(
        ROOT,
        copy,
        ignore=lambda folder, names: (
            left_out(folder, names) if folder == str(ROOT) else shutil.ignore_patterns("__pycache__")(folder, names)
        ),
    )
    # without --wheel: the wheel is built of the source archive
    if not steps.run("packages", sys.executable, "-m", "build", "--outdir", made, copy):
        return None
    wheel, archive = next(made.glob("*.whl")), next(made.glob("*.tar.gz"))
    begun = time.perf_counter()
    with tarfile.open(archive) as packed:
        packed.extractall(place / "archive", filter="data")
    source = next((place / "archive").iterdir())
    with zipfile.ZipFile(wheel) as zipped:
        in_wheel = zipped.namelist()
    lacking = [f"the wheel lacks {name}" for name in missing_from(in_wheel, copy, PACKAGES)]
    besides = ("tests", "LICENSE", "CHANGELOG.md", "DEVELOPERS.md", "README.md")
    in_archive = files_of(source, (*PACKAGES, "tests")) | {path.name for path in source.iterdir()}
    lacking += [f"the source archive lacks {name}" for name in missing_from(in_archive, copy, (*PACKAGES, "tests"))]
    lacking += [f"the source archive lacks {name}" for name in besides if name not in in_archive]
    foreign = {name.split("/")[0] for name in in_wheel if ".dist-info/" not in name} - set(PACKAGES)
    lacking += [f"the wheel brings {name}, which does not belong in it" for name in sorted(foreign)]
    steps.note("packages: what is in them", begun, "\n".join(lacking))
    return wheel, source


def page(steps: Steps, name: str, program: Path, cwd: Path) -> None:
    """Serve the page from the installed program: every file that it names must come, and a browser must draw it."""
    begun, wrong = time.perf_counter(), ""
    log = cwd / "log of the page"
    with subprocess.Popen(
        [program, "bench", "--virtual", "--no-browser", "--port", "0", "--log", log],
        cwd=cwd,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
    ) as served:
        assert served.stdout is not None
        try:
            said = ""
            while not (found := re.search(r"http://\S+", said)) and (line := served.stdout.readline()):
                said += line
            if found is None:
                raise OSError(f"no address was told: {said}")
            address = found[0].rstrip("/.,") + "/"
            html = urllib.request.urlopen(address, timeout=20).read().decode("utf-8")
            wanted = re.findall(r'"/(static/[^"]+)"', html)
            wanted += [f"static/{path.name}" for path in (ROOT / "rig/page/static").rglob("*.js")]
            for part in wanted:
                urllib.request.urlopen(address + part, timeout=20).read()
            browser = shutil.which("chromium") or shutil.which("chromium-browser")
            if browser:
                drawn = subprocess.run(
                    [
                        browser,
                        "--headless",
                        "--no-sandbox",
                        "--disable-gpu",
                        "--timeout=5000",  # the page's stream of events never ends by itself
                        f"--user-data-dir={cwd / 'browser'}",
                        "--dump-dom",
                        address,
                    ],
                    capture_output=True,
                    encoding="utf-8",
                    errors="replace",
                    timeout=120,
                    check=False,
                ).stdout
                if "<svg" in html or "<svg" not in drawn:
                    wrong = f"a browser ran no script that draws the car: {len(drawn)} characters of {len(html)}"
        except (OSError, subprocess.TimeoutExpired) as error:
            wrong = str(error)
        finally:
            served.terminate()
    steps.note(name, begun, wrong)


def environment(
    steps: Steps, kind: str, place: Path, python: str, wheel: Path, source: Path, constraints: Path, *, whole: bool
) -> None:
    """One fresh environment with one Python. whole: the demo and the few tests as well."""
    begun = place / kind.replace(" ", "-")
    folder, here = begun / "environment", begun / FOLDER
    here.mkdir(parents=True)
    programs = folder / ("Scripts" if sys.platform == "win32" else "bin")
    if not steps.run(f"{kind}: environment", python, "-m", "venv", folder):
        return
    # without compiling everything beforehand: most modules of scipy are never loaded here
    install = [programs / "python", "-m", "pip", "install", "-q", "--no-compile", "--only-binary=:all:"]
    extra = ["-c", constraints] if kind == "lowest" else []
    tools = ["pytest", "pytest-xdist", "hypothesis"] if whole else []
    if not steps.run(f"{kind}: install", *install, "--disable-pip-version-check", *extra, wheel, *tools, cwd=here):
        return
    steps.run(f"{kind}: imports", programs / "python", "-c", IMPORT_ALL, cwd=here)
    steps.run(f"{kind}: check", programs / "pivotbench", "log", "check", "--log", here / "log", cwd=here)
    page(steps, f"{kind}: page", programs / "pivotbench", here)
    if whole:
        steps.run(f"{kind}: demo", programs / "pivotbench", "demo", "--out", "demo für alle", cwd=here)
        # only the tests: with the packages of the tree beside them, these would be tested instead of the wheel
        tests = begun / "tests only"
        shutil.copytree(source / "tests", tests / "tests")
        shutil.copy(source / "pyproject.toml", tests)
        command = ["-m", "pytest", "-n", "0", "-p", "no:cacheprovider", *SHORT_TESTS]
        steps.run(f"{kind}: tests", programs / "python", *command, cwd=tests)
    uninstalled(steps, f"{kind}: uninstalled", programs, folder, here / "log")


def uninstalled(steps: Steps, name: str, programs: Path, folder: Path, log: Path) -> None:
    """Take the program away: nothing of it may be left in the environment, and what was measured must stay."""
    kept = sorted(path.name for path in log.parent.rglob("*.sqlite"))
    if not steps.run(name, programs / "python", "-m", "pip", "uninstall", "-q", "-y", "pivotbench", cwd=log.parent):
        return
    begun = time.perf_counter()
    left = [path for package in PACKAGES for path in folder.glob(f"[Ll]ib/**/site-packages/{package}")]
    left += list(programs.glob("pivotbench*"))
    wrong = [f"left behind: {path}" for path in left]
    if not kept or kept != sorted(path.name for path in log.parent.rglob("*.sqlite")):
        wrong.append(f"the log is gone, or there was none: {kept}")
    steps.note(f"{name}, what is left", begun, "\n".join(wrong))


def main() -> None:
    """Run the parts; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="demo and tests with the lowest dependencies alone")
    parser.add_argument("--only", choices=["newest", "lowest"])
    parser.add_argument("--python", nargs="*", default=None, metavar="PATH", help="further Pythons, else those found")
    given = parser.parse_args()
    further = other_pythons() if given.python is None else given.python
    steps, ran = Steps(), []
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        constraints = place / "lower.txt"
        constraints.write_text("\n".join(lower_bounds()) + "\n", encoding="utf-8")
        made = packages(steps, place)
        if made is not None:
            wanted = [(kind, sys.executable) for kind in ("lowest", "newest") if given.only in (None, kind)]
            if given.only != "lowest":
                wanted += [(f"newest on {Path(python).resolve().name}", python) for python in further]
            if given.quick and given.only is None and further:
                wanted.remove(("newest", sys.executable))  # the environment that runs this has these
            for kind, python in wanted:
                ran.append(python)
                environment(steps, kind, place, python, *made, constraints, whole=kind == "lowest" or not given.quick)
                shutil.rmtree(place / kind.replace(" ", "-"), ignore_errors=True)
    print(
        json.dumps(
            {
                "failed_steps": steps.failed,
                "python": sys.version.split()[0],
                "pythons": ran,
                "lower_bounds": lower_bounds(),
                "steps": steps.said,
            }
        )
    )
    sys.exit(1 if steps.failed else 0)


if __name__ == "__main__":
    main()
