"""`push film` at the terminal: what is asked for reaches the camera, what was kept is told with its next step."""

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.base.cautions import BATTERY, PUPILS
from rig.camera.recorder import Recording
from rig.camera.source import CameraMode
from rig.jobs.pushing import film as filming
from rig.jobs.pushing.film import LiveLook, Onlookers
from rig.pads.force_file import beside
from tests.values.cards_typed import write
from vision.clip.live_advice import PictureJudgement

Run = Callable[..., tuple[int, str, str]]


def judged(*advice: str) -> PictureJudgement:
    rest: dict[str, Any] = {"marker_px": 40.0, "paper": 200.0, "sharpness": 0.9, "car_corner": None}
    return PictureJudgement(floor_seen=3, floor_of=6, car_seen=2, car_of=4, advice=advice, **rest)


@pytest.mark.parametrize("force", [True, False])
def test_what_was_kept_is_told(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, force: bool) -> None:
    card = write(tmp_path / "cards")
    asked: dict[str, Any] = {}

    def film_push(cards: Any, folder: Path, onlookers: Onlookers, **more: Any) -> Recording:
        asked.update(more, folder=folder, test=cards.test.name)
        folder.mkdir(exist_ok=True)
        clip = folder / "push 1.avi"
        if force:
            beside(clip).write_text("")
        for recording, advice in ((False, ("more light", "closer")), (False, ("more light",)), (False, ()), (True, ())):
            mode = CameraMode(asked=(640, 480, 30.0), granted=(640, 480, 30.0), measured_fps=None)
            onlookers.say(LiveLook(judgement=judged(*advice), mode=mode, moving=recording, recording=recording))
        return Recording(clip=clip, times=folder / "push 1.times.json", pictures=97, lost=3, skipped=5, seconds=2.44)

    monkeypatch.setattr(filming, "film_push", film_push)
    line = f"push film {shlex.quote(str(card))} --camera 7 --out kept --port COM9"
    code, out, err = run(line)
    assert code == 0
    assert (asked["device"], asked["force_port"], asked["folder"], asked["test"]) == ("7", "COM9", Path("kept"), "test")
    said = " ".join(out.split())
    assert "97 pictures over 2.4 s; 3 were lost because the disk is too slow" in said
    assert "the camera skipped 5" in said
    assert f"Next: pivotbench push {card} --clip 'kept/push 1.avi'" in said.replace('"', "'")
    assert err.splitlines()[0] == f"{BATTERY} {PUPILS}"  # where the hand is, before it moves
    looks = [one for one in err.splitlines() if one.startswith("floor ")]
    assert looks == [f"floor 3/6, car 2/4: {text}" for text in ("more light", "ready: push when you like", "recording")]
    told = json.loads(run(f"{line} --json")[1])
    assert told == {
        "clip": "kept/push 1.avi",
        "times": "kept/push 1.times.json",
        "pictures": 97,
        "lost": 3,
        "skipped": 5,
        "seconds": 2.44,
    } | ({"force": str(beside(Path("kept/push 1.avi")))} if force else {})
