"""Look over a machine before a lesson: what is there, what is missing, and what to do about it."""

import importlib.metadata
import os
import platform
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from rig.base.disk import check_room
from rig.base.errors import BenchError
from rig.log.repair import check_log
from rig.log.replacement import decided
from rig.log.store import LOG_FILE

PACKAGES = (
    "numpy",
    "scipy",
    "opencv-python-headless",
    "matplotlib",
    "pyserial",
    "click",
    "rich",
    "msgspec",
    "tomlkit",
    "starlette",
    "uvicorn",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing looked at. text: what is so, and what to do when it is not good."""

    name: str
    good: bool
    text: str


def look_over(log_folder: Path) -> list[Finding]:
    """Everything that a bench needs from a machine. Nothing is changed."""
    return [_python(), *_packages(), _video(), _ports(), _cameras(), _log(log_folder), _room(log_folder)]


def _python() -> Finding:
    good = sys.version_info >= (3, 11)
    return Finding(
        name="Python",
        good=good,
        text=f"{platform.python_version()} on {platform.system()} "
        f"{platform.machine()}" + ("" if good else "; 3.11 or newer is needed"),
    )


def _packages() -> list[Finding]:
    versions, missing = [], []
    for name in PACKAGES:
        try:
            versions.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            missing.append(name)
    found = [
        Finding(
            name="packages",
            good=not missing,
            text=", ".join(versions)
            if not missing
            else f"{', '.join(missing)} missing; install pivotbench again into its environment",
        )
    ]
    both = [name for name in ("opencv-python", "opencv-contrib-python") if _installed(name)]
    if both:
        found.append(
            Finding(
                name="OpenCV",
                good=False,
                text=f"{both[0]} is installed beside opencv-python-headless and "
                "they overwrite each other; uninstall both, then install opencv-python-headless",
            )
        )
    return found


def _installed(name: str) -> bool:
    try:
        importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return False
    return True


def _video() -> Finding:
    """Write and read back a clip of each kind that is used here."""
    try:
        import cv2
        import numpy as np

        from vision.clip.quiet import quiet_stderr
    except ImportError as error:
        return Finding(
            name="video",
            good=False,
            text=f"OpenCV cannot be loaded ({error}); on Debian or Ubuntu: apt-get install libgl1 libglib2.0-0",
        )
    bad = []
    with tempfile.TemporaryDirectory() as folder:
        for ending, code in ((".avi", "MJPG"), (".mp4", "mp4v"), (".webm", "VP80")):
            path = str(Path(folder) / f"clip{ending}")
            with quiet_stderr():
                writer = cv2.VideoWriter(path, cv2.VideoWriter.fourcc(*code), 30.0, (64, 48))
            for level in (0, 120, 240):
                writer.write(np.full((48, 64, 3), level, np.uint8))
            writer.release()
            clip = cv2.VideoCapture(path)
            if not (clip.isOpened() and clip.read()[0]):
                bad.append(ending)
            clip.release()
    return Finding(
        name="video",
        good=not bad,
        text="AVI, MP4 and WebM can be written and read"
        if not bad
        else f"{', '.join(bad)} cannot be written and read back; install opencv-python-headless again",
    )


def _ports() -> Finding:
    from rig.pads.port import list_ports

    found = list_ports()
    if not found.ports:
        return Finding(name="ports", good=True, text="no serial port is plugged in")
    closed = [
        port.device
        for port in found.ports
        if port.device.startswith("/") and not os.access(port.device, os.R_OK | os.W_OK)
    ]
    if closed:
        return Finding(
            name="ports",
            good=False,
            text=f"no right to use {', '.join(closed)}; join the group that owns it (often dialout), then log in again",
        )
    return Finding(name="ports", good=True, text=", ".join(port.device for port in found.ports))


def _cameras() -> Finding:
    places = sorted(Path("/dev").glob("video*")) if os.name == "posix" else []
    closed = [str(place) for place in places if not os.access(place, os.R_OK | os.W_OK)]
    if closed:
        return Finding(name="cameras", good=False, text=f"no right to use {', '.join(closed)}; join the group video")
    text = ", ".join(map(str, places)) if places else "none seen here; clips from a phone work without one"
    return Finding(name="cameras", good=True, text=text)


def _log(folder: Path) -> Finding:
    log = folder / LOG_FILE
    if not log.is_file() and not decided(log.resolve()).exists():
        return Finding(name="log", good=True, text=f"none yet; it will be made in {folder}")
    try:
        health = check_log(folder)
    except BenchError as error:  # of a newer version, or somebody has it alone
        return Finding(name="log", good=False, text=f"{error.where}: {error.what}; {error.remedy}")
    if health.sound:
        return Finding(name="log", good=True, text=f"{log} is sound")
    return Finding(
        name="log",
        good=False,
        text=f"{log} is damaged ({health.problems[0]}); copy the folder, then run: pivotbench log check --repair",
    )


def _room(folder: Path) -> Finding:
    try:
        check_room(folder)
    except BenchError as error:
        return Finding(name="disk", good=False, text=f"{error.what}; {error.remedy}")
    return Finding(name="disk", good=True, text="there is room")
