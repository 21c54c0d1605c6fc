"""Weigh, push, change and log without what Windows lacks, on its code pages. Truth: the same commands as they are."""

import contextlib
import io
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import cv2
import pytest

from rig.base.spelled import HANDLER
from rig.main import main

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "tests" / "data" / "kept_bench"
ANSWERS = [
    ["weigh", "typed.toml"],
    ["push", "measure", "first.toml", "--clip", "first.mp4", "--out", "Ergebnisse für alle"],
    ["change", "first.toml", "second.toml"],
]
RECORDS = [
    ["push", "first.toml", "--clip", "two-pushes.mp4", "--push", "1", "--out", "Ergebnisse für alle"],
    ["log"],
    ["log", "report", "--out", "Bericht.html"],
    ["log", "export", "Ausfuhr"],
    ["log", "check"],
    ["log", "aside", "1", "--why", "Ölfleck auf dem Boden"],
    ["new", "mein-Prüfstand", "--wheelbase", "261", "--track", "165", "--wheels", "blocked"],
    ["new", "sheets", "mein-Prüfstand/car.toml", "--out", "sheets"],
    ["pads", "list"],
    [],
]


def bench(folder: Path) -> Path:
    """The kept bench's cards and its clip, and two test cards each with a clip of its first push alone."""
    folder.mkdir(parents=True)
    for path in [*(KEPT / "cards").iterdir(), *(KEPT / "clips").iterdir()]:
        shutil.copy(path, folder)
    pictures = first_push(folder / "two-pushes.mp4")
    for name, last in (("first", len(pictures)), ("second", len(pictures) - 1)):
        write_clip(folder / f"{name}.mp4", pictures[:last])
        text = re.sub(
            r'(?m)^clip = "[^"]*"', f'clip = "{name}.mp4"', (KEPT / "cards" / "first.toml").read_text("utf-8")
        )
        text = re.sub(r'(?m)^name = "[^"]*"', f'name = "{name} test"', text)
        weights = "[typed]\nweights_g = [455.0, 380.0, 345.0, 405.0]"
        (folder / f"{name}.toml").write_text(re.sub(r"(?m)^\[typed\]", weights, text), "utf-8")
    return folder


def first_push(clip: Path) -> list[Any]:
    """The pictures of the clip up to the rest between its two pushes."""
    capture, found = cv2.VideoCapture(str(clip)), []
    while len(found) < 62 and (read := capture.read())[0]:
        found.append(read[1])
    return found


def write_clip(path: Path, pictures: list[Any]) -> None:
    height, width = pictures[0].shape[:2]
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), 30, (width, height))
    for picture in pictures:
        writer.write(picture)
    writer.release()


def as_they_are(folder: Path, ways: list[list[str]]) -> list[str]:
    """What the commands say here, on a terminal that knows all signs."""
    here, said = bench(folder / "bench"), io.StringIO()
    with contextlib.chdir(here), contextlib.redirect_stdout(said):
        for command in ways:
            with pytest.raises(SystemExit) as ended:
                main([*command, "--log", str(folder / "log")])
            assert ended.value.code == 0, said.getvalue()
    return said.getvalue().splitlines()


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("page", "ways"),
    [
        ("cp437", [*ANSWERS, *RECORDS]),
        ("cp1252", ANSWERS),
    ],
)
def test_the_commands_run_without_what_windows_lacks(page: str, ways: list[list[str]], tmp_path: Path) -> None:
    here = bench(tmp_path / "Käfer und Öl")
    commands, codes = tmp_path / "commands.json", tmp_path / "codes.json"
    commands.write_text(json.dumps(ways), "utf-8")
    script = ROOT / "tests" / "rig" / "as_on_windows.py"
    said = subprocess.run(
        [sys.executable, "-X", "utf8=0", "-X", "warn_default_encoding", script, codes, commands],
        cwd=here,
        env={key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
        | {"PYTHONIOENCODING": page, "PIVOTBENCH_LOG": str(tmp_path / "log")},
        capture_output=True,
        timeout=300,
        check=False,
    )
    words, trouble = said.stdout.decode(page), said.stderr.decode(page)
    assert said.returncode == 0, trouble
    assert json.loads(codes.read_text("utf-8")) == [0] * len(ways), words + trouble
    assert "at fault" not in trouble
    expected = as_they_are(tmp_path / "here", [way for way in ways if way in ANSWERS])
    spelled = [line.encode(page, HANDLER).decode(page) for line in expected]
    assert [line for line in spelled if line not in words.splitlines()] == []
    assert "\x1b" not in words + trouble  # no terminal, no colours
