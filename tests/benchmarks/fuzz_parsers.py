"""Fuzz every parser, guided by coverage: lines, patterns, traffic, cards, plans, exports; clips by mutation.

    PYTHONPATH=. python tests/benchmarks/fuzz_parsers.py
        [--quick] [--seconds S] [--only TARGET ...] [--clips N] [--engine own|atheris] [--keep]

Text parsers: mutated samples; an input that reaches an edge (line after line) of rig.* not seen before joins the
corpus. With `--engine atheris` (where that package is installed) libFuzzer guides instead. A finding is any exception
but the room's own error, or an input that takes over 5 s. `--keep` writes new corpus inputs of up to 300 bytes, at
most five a target, into tests/data/corpus.
Clips: small valid AVI, MP4 and WebM files with changed bytes, read in a process of its own: success or a room's error
within 20 s; a crash of that process is a finding.

Baseline, in the same run: blind mutation without guidance for a fifth of the time; `edges` of both are given. With
libFuzzer the baseline is what the samples reach by themselves.
The last line is one JSON object.
"""

import argparse
import hashlib
import importlib.util
import json
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

from tests.faults.mutate import mutate
from tests.faults.parsers import KEPT, TARGETS, Target, corpus

ROOT = str(Path(__file__).parents[2] / "rig")
SLOWEST_S = 5.0


@dataclass(slots=True)
class Edges:
    """Pairs of successive lines inside this project's files that running something reached."""

    seen: set[tuple[CodeType, int, int]] = field(default_factory=set)
    _files: dict[CodeType, bool] = field(default_factory=dict)

    def watch(self, run: Callable[[], None]) -> int:
        """Run something and return how many new edges it reached."""
        before, seen = len(self.seen), self.seen

        def enter(frame: FrameType, event: str, argument: Any) -> Any:
            code = frame.f_code
            if not self._files.setdefault(code, code.co_filename.startswith(ROOT)):
                return None
            last = 0

            def step(frame: FrameType, event: str, argument: Any) -> Any:
                nonlocal last
                if event == "line":
                    seen.add((code, last, frame.f_lineno))
                    last = frame.f_lineno
                return step

            return step

        sys.settrace(enter)
        try:
            run()
        finally:
            sys.settrace(None)
        return len(seen) - before


@dataclass(slots=True)
class Found:
    """What fuzzing one target came to. findings: (what, the input)."""

    runs: int = 0
    edges: int = 0
    kept: list[bytes] = field(default_factory=list)
    findings: dict[str, bytes] = field(default_factory=dict)


def fuzz(name: str, seconds: float, *, seed: int, guided: bool = True) -> Found:
    """Fuzz one target for a time."""
    target, rng, found, edges = TARGETS[name], random.Random(seed), Found(), Edges()
    inputs = corpus(name)
    for data in inputs:
        try_one(target, data, edges, found)
    end, first = time.monotonic() + seconds, len(inputs)
    while time.monotonic() < end:
        # newer inputs are taken more often: they lead to where nobody has been
        start = rng.choice(inputs[first:]) if len(inputs) > first and rng.random() < 0.5 else rng.choice(inputs)
        data = mutate(start, rng, inputs)
        if try_one(target, data, edges, found) and guided:
            inputs.append(data)
            found.kept.append(data)
    found.edges = len(edges.seen)
    return found


def try_one(target: Target, data: bytes, edges: Edges, found: Found) -> int:
    """Run one input; new edges. Notes a finding once for each kind and line."""
    start, new = time.monotonic(), 0
    try:
        new = edges.watch(lambda: target(data))
    except Exception as error:
        trace = error.__traceback__
        while trace is not None and trace.tb_next is not None:
            trace = trace.tb_next
        where = f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace else "?"
        found.findings.setdefault(f"{type(error).__name__} at {where}", data)
    if time.monotonic() - start > SLOWEST_S:
        found.findings.setdefault("slow", data)
    found.runs += 1
    return new


def keep(name: str, inputs: list[bytes]) -> None:
    """Write up to five short new inputs, the last found first."""
    folder = KEPT / name
    folder.mkdir(parents=True, exist_ok=True)
    room = 5 - len(list(folder.iterdir()))
    for data in [one for one in reversed(inputs) if len(one) <= 300][: max(0, room)]:
        (folder / hashlib.sha256(data).hexdigest()[:12]).write_bytes(data)


def atheris_run(name: str, seconds: float) -> tuple[dict[str, Any], list[bytes]]:
    """One target under libFuzzer, in a process of its own: it ends the process. (figures, inputs worth keeping)."""
    code = (
        "import sys, atheris\n"
        "with atheris.instrument_imports(include=['rig', 'tests.faults']):\n"
        "    from tests.faults.parsers import TARGETS\n"
        f"atheris.Setup(sys.argv, TARGETS[{name!r}])\n"
        "atheris.Fuzz()\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        for number, data in enumerate(corpus(name)):
            (Path(folder) / str(number)).write_bytes(data)
        done = subprocess.run(
            [
                sys.executable,
                "-c",
                code,
                f"-max_total_time={int(seconds)}",
                "-timeout=30",
                "-max_len=20000",
                "-seed=1",
                "-print_final_stats=1",
                f"-artifact_prefix={folder}/",
                folder,
            ],
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            check=False,
        )
        grown = [
            path.read_bytes()
            for path in sorted(Path(folder).iterdir(), key=lambda one: one.stat().st_mtime)
            if len(path.name) == 40
        ]  # libFuzzer names what it found worth keeping by its SHA-1
    stats = dict(line.split(": ", 1) for line in done.stderr.splitlines() if line.startswith("stat::"))
    # the first count comes from the samples alone, the last from all that was found
    edges = [int(count) for count in re.findall(r"^#\d+\s+\w+\s+cov: (\d+)", done.stderr, re.MULTILINE)] or [0]
    told = {
        "runs": int(stats.get("stat::number_of_executed_units", 0)),
        "edges": edges[-1],
        "baseline_edges": edges[0],
        "findings": [] if done.returncode == 0 else [done.stderr[-1500:]],
    }
    return told, grown


def make_clips(folder: Path) -> list[Path]:
    """Three small clips of a moving square, one a container."""
    import cv2
    import numpy as np

    made = []
    for ending, codec in (("avi", "MJPG"), ("mp4", "mp4v"), ("webm", "VP80")):
        path = folder / f"clip.{ending}"
        writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*codec), 30.0, (64, 48))
        for index in range(8):
            picture = np.full((48, 64, 3), 60, np.uint8)
            picture[10:30, 5 + 4 * index : 20 + 4 * index] = 220
            writer.write(picture)
        writer.release()
        if path.exists() and path.stat().st_size > 300:
            made.append(path)
    return made


def read_spoilt_clips(start: int, count: int) -> None:
    """The worker: read spoilt clips one by one, telling the number of each before it is read."""
    import os

    os.environ["OPENCV_FFMPEG_LOGLEVEL"] = "-8"
    from vision.base.errors import InputError, VisionError
    from vision.clip.frames import FrameReader

    with tempfile.TemporaryDirectory() as aside:
        clips = [(path.suffix, path.read_bytes()) for path in make_clips(Path(aside))]
        everything = [data for _, data in clips]
        for number in range(start, start + count):
            print("try", number, flush=True)
            rng = random.Random(number)
            ending, data = clips[number % len(clips)]
            path = Path(aside) / f"spoilt{ending}"
            path.write_bytes(mutate(data, rng, everything, longest=100_000))
            try:
                with FrameReader(path, threads=1 + number % 2) as reader:
                    frames = sum(1 for _ in reader)
                print("read", number, frames, flush=True)
            except (InputError, VisionError) as error:
                print("told", number, str(error).replace("\n", " ")[:80], flush=True)
            except Exception as error:
                print("finding", number, repr(error)[:200].replace("\n", " "), flush=True)


def fuzz_clips(count: int, *, start: int = 0) -> dict[str, Any]:
    """Read `count` spoilt clips in worker processes; a worker that dies or stands still is a finding."""
    import queue
    import threading

    read = told = 0
    findings: list[str] = []
    number, end = start, start + count
    while number < end:
        worker = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.fuzz_parsers", "--spoilt-clips", str(number), str(end - number)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        lines: queue.Queue[str] = queue.Queue()

        def gather(worker: subprocess.Popen[str] = worker, lines: queue.Queue[str] = lines) -> None:
            assert worker.stdout is not None
            for line in worker.stdout:
                lines.put(line)
            lines.put("")

        threading.Thread(target=gather, daemon=True).start()
        while True:
            try:
                line = lines.get(timeout=20.0)
            except queue.Empty:
                findings.append(f"clip {number} hangs")
                worker.kill()
                break
            if not line:
                break
            word, which, *rest = line.split()
            number = int(which) + (word != "try")
            read += word == "read"
            told += word == "told"
            if word == "finding":
                findings.append(f"clip {which}: {' '.join(rest)}")
        if worker.wait() != 0 and (not findings or "hangs" not in findings[-1]):
            findings.append(f"clip {number} ends the process ({worker.returncode})")
        if number < end:
            number += 1
    return {"runs": count, "read": read, "told": told, "findings": findings}


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="2 s a target, 60 clips")
    parser.add_argument("--seconds", type=float, default=600.0, help="for each target")
    parser.add_argument("--only", nargs="*", choices=[*TARGETS, "clips"], default=[*TARGETS, "clips"])
    parser.add_argument("--clips", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--engine", choices=["own", "atheris"], default="own")
    parser.add_argument("--keep", action="store_true")
    parser.add_argument("--spoilt-clips", nargs=2, type=int, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.spoilt_clips:
        read_spoilt_clips(*given.spoilt_clips)
        return
    if given.engine == "atheris" and importlib.util.find_spec("atheris") is None:
        parser.error("atheris is not installed here")
    seconds, clips = (2.0, 60) if given.quick else (given.seconds, given.clips)
    told: dict[str, Any] = {}
    for name in [name for name in given.only if name != "clips"]:
        if given.engine == "atheris":
            told[name], grown = atheris_run(name, seconds)
            if given.keep:
                keep(name, grown)
        else:
            for data in corpus(name):  # what is set up once and kept belongs to neither
                TARGETS[name](data)
            blind = fuzz(name, seconds / 5, seed=given.seed, guided=False)
            found = fuzz(name, seconds, seed=given.seed)
            if given.keep:
                keep(name, found.kept)
            told[name] = {
                "runs": found.runs,
                "edges": found.edges,
                "blind_edges": blind.edges,
                "findings": sorted(set(found.findings) | set(blind.findings)),
            }
            for what, data in (blind.findings | found.findings).items():
                print(f"{name}: {what}: {data[:300]!r}")
        print(name, told[name], flush=True)
    if "clips" in given.only:
        told["clips"] = fuzz_clips(clips)
        print("clips", told["clips"], flush=True)
    findings = sum(len(one["findings"]) for one in told.values())
    print(json.dumps({"findings": findings, "seconds_each": seconds, "engine": given.engine, "targets": told}))


if __name__ == "__main__":
    main()
