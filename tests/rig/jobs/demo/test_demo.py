"""The main job end to end, as a person runs it: the demo, then the same commands by hand on what it left."""

import csv
import html
import json
import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from rig.jobs.record.where_one_stands import where_one_stands
from rig.log.store import BenchLog
from rig.main import main
from rig.records.force import PUSH_FORCE
from rig.records.pushing import PUSH

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    """Run one command; answers exit code, standard output, standard error."""

    def call(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        out, err = capfd.readouterr()
        return int(ended.value.code or 0), out, err

    return call


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder."""
    out = tmp_path_factory.mktemp("main job") / "demo"
    with pytest.raises(SystemExit) as ended:
        main(["demo", "--out", str(out)])
    assert not ended.value.code
    return out


def turn_per_travel(start: list[float], end: list[float], wheelbase: float) -> float:
    """kappa of two poses by plain plane geometry, apart from the project's own code (shared definition of kappa)."""
    middle = [np.array([p[0], p[1]]) + wheelbase / 2 * np.array([math.cos(p[2]), math.sin(p[2])]) for p in (start, end)]
    heading = (start[2] + end[2]) / 2
    sideways = (middle[1] - middle[0]) @ np.array([-math.sin(heading), math.cos(heading)])
    return float(2 * math.sin((end[2] - start[2]) / 2) / sideways)


@pytest.mark.xdist_group("demo")
def test_the_demo_does_the_whole_job(demo: Path, run: Run) -> None:
    setups = json.loads((demo / "result.json").read_text())["setups"]
    assert [(row["name"], row["push_position_pct"]) for row in setups] == [
        (name, pct) for name in ("alike", "front-grip", "rear-ballast") for pct in (50, 85)
    ]
    by = {(row["name"], row["push_position_pct"]): row for row in setups}
    for row in setups:
        assert row["verdict"] in ("agrees", "disagrees", "cannot tell")
        truth = json.loads((demo / "virtual-truth" / f"{row['name']}.json").read_text())
        # the weighing met the virtual car: within 5 g a corner, the stated allowance for placing it and pad errors
        np.testing.assert_allclose(row["corner_weights_g"], truth["corner_weights_g"], atol=5.0)
        for pivot in (row["measured"], row["predicted"]):
            low, high = pivot["kappa_interval_per_m"]
            assert low <= pivot["kappa_per_m"] <= high
            assert ("station_pct" in pivot) != ("bound_wheelbases" in pivot)
    # the seeing side against the integrated slide: kappa within 0.05 per metre, 1 % of the wheelbase at 85 %
    for (name, pct), row in by.items():
        truth = json.loads((demo / "virtual-truth" / f"{name}.json").read_text())
        push = next(push for title, push in truth["pushes"].items() if title.endswith(f"{pct:g} %"))
        real = turn_per_travel(push["start_pose"], push["end_pose"], truth["contacts_m"][0][0])
        assert row["measured"]["kappa_per_m"] == pytest.approx(real, abs=0.05)
    # directions, in kappa: common practice, no source
    for pct in (50, 85):
        kappa = {name: by[name, pct]["measured"]["kappa_per_m"] for name in ("alike", "front-grip", "rear-ballast")}
        assert kappa["front-grip"] < kappa["alike"] < kappa["rear-ballast"]
    for name in ("alike", "front-grip", "rear-ballast"):
        assert (demo / name / "push-85.png").stat().st_size > 10_000
    report = (demo / "report.html").read_text()
    # all pushes beside each other; each first as a person sees it, then from above with loads and pivots
    assert report.count("<svg") == 1 + 2 * 6
    assert "http://" not in report.replace("http://www.w3.org", "").replace("http://purl.org", "").replace(
        "http://creativecommons.org", ""
    )
    with BenchLog(demo / "log", read_only=True) as log:
        kinds = [record.kind for record in log.records()]
        forces = list(log.records(kind=PUSH_FORCE))
    assert {kind: kinds.count(kind) for kind in set(kinds)} == {
        "calibration": 1,
        "zero": 3,
        "weighing": 3,
        "push": 9,
        "prediction": 9,
        "comparison": 9,
        "balance": 9,
        "change": 2,
        "push force": 9,
        "grip": 9 + 6,  # the level by each push, and the axles' ratio by those near the balance point
    }
    # the finger's force tells what the virtual tyres grip: 95 % of it, a third more for nine of them
    for record in forces:
        name = {"alike": "alike", "more": "front-grip", "ballast": "rear-ballast"}[record.title.split()[0]]
        truth = json.loads((demo / "virtual-truth" / f"{name}.json").read_text())
        level = np.average(truth["grip"], weights=truth["corner_weights_g"])
        assert abs(math.log(record.result.level / level)) < 1.33 * 1.96 * record.result.level_u < 0.1

    # the same by hand, with the commands
    test, logs = demo / "front-grip" / "push-85.toml", demo / "log"
    code, out, _ = run("push", test, "--log", logs, "--out", demo / "by hand", "--json")
    assert code == 0
    again, at_once = json.loads(out), by["front-grip", 85]
    for pivot in ("measured", "predicted"):
        assert again[pivot]["kappa_per_m"] == pytest.approx(at_once[pivot]["kappa_per_m"], rel=1e-9)
    assert (demo / "by hand" / "push-85.html").exists()
    code, out, _ = run("log", "--log", logs, "--kind", "comparison", "--out", demo / "export")
    assert (code, out.count("comparison")) == (0, 10 + 1)
    rows = list(csv.DictReader((demo / "export" / "comparison.csv").open(encoding="utf-8", newline="")))
    assert sorted(row["verdict"] for row in rows[:6]) == sorted(row["verdict"] for row in setups)


def true_balance(demo: Path, name: str) -> float:
    """Front share of grip of the virtual car, per cent: statics, from what it really is."""
    truth = json.loads((demo / "virtual-truth" / f"{name}.json").read_text())
    limit = np.array(truth["corner_weights_g"]) * np.array(truth["grip"])
    return float(100 * limit[:2].sum() / limit.sum())


@pytest.mark.xdist_group("demo")
def test_the_demo_tells_the_balance_point_first(demo: Path) -> None:
    result = json.loads((demo / "result.json").read_text())
    by = {(row["name"], row["push_position_pct"]): row for row in result["setups"]}
    # grip and ballast decide who leads a push at the middle: common practice, no source
    assert by["alike", 50]["saw"] in ("straight", "almost straight")
    assert by["front-grip", 50]["saw"] == "tail led"
    assert by["rear-ballast", 50]["saw"] == "nose led"
    for row in [*result["setups"], *result["pushed_again"]]:
        balance = true_balance(demo, row["name"])
        for figure in (row["balance_measured"], row["balance_forecast"]):
            low, high = figure["interval_pct"]
            assert low <= balance <= high, row
            assert low <= figure["pct"] <= high
        # the nose's and the tail's way against the integrated slide, by plain geometry across the mean heading
        truth = json.loads((demo / "virtual-truth" / f"{row['name']}.json").read_text())
        again = row in result["pushed_again"]
        (push,) = [
            push
            for title, push in truth["pushes"].items()
            if title.endswith(f"at {row['push_position_pct']:g} %") and ("again" in title) == again
        ]
        start, end, length = push["start_pose"], push["end_pose"], truth["contacts_m"][0][0]
        heading = (start[2] + end[2]) / 2
        for key, station in (("nose_mm", length), ("tail_mm", 0.0)):
            went = [end[k] - start[k] + station * (f(end[2]) - f(start[2])) for k, f in ((0, math.cos), (1, math.sin))]
            way = 1e3 * abs(-math.sin(heading) * went[0] + math.cos(heading) * went[1])
            assert row[key] == pytest.approx(way, abs=0.5)
    # pushed again where the first push found the balance, every car goes straight
    assert {row["saw"] for row in result["pushed_again"]} <= {"straight", "almost straight"}
    truth_of = {name: true_balance(demo, name) for name in ("alike", "front-grip", "rear-ballast")}
    for change, name, finding in zip(
        result["changes"], ("front-grip", "rear-ballast"), ("moved forward", "moved backward"), strict=True
    ):
        assert change["finding"] == finding
        assert change["interval_pct"][0] <= truth_of[name] - truth_of["alike"] <= change["interval_pct"][1]


@pytest.mark.xdist_group("demo")
def test_the_films_start_within_a_frame_of_the_finger(demo: Path) -> None:
    # the virtual finger stands still for 0.8 s and then eases in; 30 pictures a second
    with BenchLog(demo / "log", read_only=True) as log:
        clips = {record.files: record for record in log.records(kind=PUSH)}  # one may have been measured again
    starts = [push.start_s for record in clips.values() for push in record.result.pushes]
    assert len(starts) == 9
    np.testing.assert_allclose(starts, 0.8, atol=1.01 / 30)


@pytest.mark.xdist_group("demo")
def test_the_story_stands_by_itself_with_its_film(demo: Path) -> None:
    page = (demo / "story.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 1
    assert page.count("data:video/webm;base64,") == 1
    assert "http://" not in page.replace("http://www.w3.org", "").replace("http://purl.org", "").replace(
        "http://creativecommons.org", ""
    )
    assert "moved the balance forward by" in page
    assert page.index("Pushed at the middle") < page.index("Second chapter")
    for name in ("three-cars.png", "three-cars.svg", "first-change.webm", "first-change-still.png", "first-change.txt"):
        assert (demo / name).stat().st_size > 500


@pytest.mark.xdist_group("demo")
def test_the_readme_shows_what_the_demo_says(demo: Path) -> None:
    readme = (Path(__file__).parents[4] / "README.md").read_text("utf-8")
    shown = re.search(r"```\n(set-up .*?)\n\n(More front grip moved .*?)\n```", readme, re.DOTALL)
    assert shown is not None
    story = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", (demo / "story.html").read_text("utf-8"))))
    cells = [cell for line in shown[1].splitlines()[1:] for cell in re.split(r"  +", line)]
    assert len(cells) == 12
    assert [text for text in (*cells, shown[2]) if text not in story] == []


@pytest.mark.xdist_group("demo")
def test_a_new_user_learns_what_the_front_tyres_did(demo: Path, run: Run, tmp_path: Path) -> None:
    """Typed kitchen-scale weights and two clips, in a log of one's own: one command."""
    code, out, err = run(
        "change",
        demo / "try" / "plain.toml",
        demo / "try" / "front-rubber.toml",
        "--log",
        tmp_path / "log",
        "--out",
        tmp_path / "results",
        "--json",
    )
    assert code == 0, err
    found = json.loads(out)
    assert sorted(found) == [
        "a",
        "b",
        "bound_pct",
        "explained_by_weights_pct",
        "film",
        "finding",
        "interval_pct",
        "left_for_tyres_pct",
        "moved_pct",
        "picture",
        "tyres_agree",
    ]
    assert found["bound_pct"] is None
    assert found["finding"] == "moved forward"
    low, high = found["interval_pct"]
    assert low <= true_balance(demo, "front-grip") - true_balance(demo, "alike") <= high
    assert abs(found["explained_by_weights_pct"]) < 0.3
    for key in ("picture", "film"):
        assert Path(found[key]).stat().st_size > 10_000

    # whoever asks where they stand is led on
    here = where_one_stands(demo / "try", tmp_path / "log")
    assert {str(card.path): card.clips for card in here.cards} == {"plain.toml": 1, "front-rubber.toml": 1}
    assert re.fullmatch(r"pivotbench aim (plain|front-rubber).toml --balance PCT", here.next)

    # and what brings it to 48 %: from that very push, with what would truly do it (statics, by hand) inside the ±
    card = demo / "try" / "front-rubber.toml"
    code, out, err = run("aim", card, "--balance", 48, "--log", tmp_path / "log", "--json")
    assert code == 0, err
    aim = json.loads(out)
    truth = json.loads((demo / "virtual-truth" / "front-grip.json").read_text())
    grams, now = np.array(truth["corner_weights_g"]), true_balance(demo, "front-grip")
    front = grams[:2].sum() / grams.sum()
    odds = now / (100 - now) * (1 - front) / front
    moved = (front - 1 / (1 + odds * 52 / 48)) * grams.sum()
    assert aim["pushes"] == 1
    assert aim["now_pct"] == pytest.approx(now, abs=aim["now_half_pct"])
    assert aim["moved_rearward_g"]["interval"][0] < moved < aim["moved_rearward_g"]["interval"][1]
    assert aim["added_g"]["over"] == "rear"


@pytest.fixture
def cards(tmp_path: Path, run: Run) -> Path:
    """Fresh cards with typed-in weights; answers the test card."""
    assert run("new", tmp_path / "cards", "--all")[0] == 0
    test = tmp_path / "cards" / "test.toml"
    test.write_text(test.read_text().replace("# weights_g = ", "weights_g = [390, 400, 380, 395]"))
    return test


def test_typed_weights_and_a_ruler_go_the_same_way(cards: Path, run: Run, tmp_path: Path) -> None:
    cards.write_text(
        cards.read_text()
        .replace("# pivot_pct = ", "pivot_pct = -22.0")
        .replace("position_pct = 50.0", "position_pct = 80.0")
    )
    code, out, err = run("push", cards, "--log", tmp_path / "log", "--json")
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert told["measured"]["station_pct"] == pytest.approx(-22.0)
    assert told["verdict"] in ("agrees", "disagrees", "cannot tell")


@pytest.mark.parametrize(
    ("arguments", "code", "parts"),
    [
        (["weigh", "CARDS/test.toml", "--port", "/dev/no-such-port"], 2, ["typed"]),
        (
            ["pads", "zero", "CARDS/test.toml", "--port", "/dev/no-such-port"],
            1,
            ["/dev/no-such-port", "list the ports"],
        ),
        (["pads", "zero", "CARDS/test.toml"], 2, ["no port is named", "pivotbench pads list"]),
        (["weigh", "CARDS/none.toml"], 2, ["none.toml", "no such card"]),
        (["push", "measure", "CARDS/test.toml", "--clip", "CARDS/none.mp4"], 2, ["none.mp4"]),
        (["push", "measure", "CARDS/test.toml", "--clip", "CARDS/car.toml"], 2, ["car.toml"]),
        (["push", "measure", "CARDS/test.toml", "--clip", "CARDS"], 2, ["cards"]),
        (["push", "CARDS/test.toml"], 2, ["neither a clip nor a typed-in pivot"]),
        (["new", "CARDS"], 2, ["there is a card already"]),
        (["log"], 2, ["there is no bench log here"]),
        (["no-such-command"], 2, ["No such command"]),
        (["weigh"], 2, ["Missing argument"]),
    ],
)
def test_wrong_input_says_what_where_and_what_to_do(
    arguments: list[str], code: int, parts: list[str], cards: Path, run: Run, tmp_path: Path
) -> None:
    given = [argument.replace("CARDS", str(cards.parent)) for argument in arguments]
    if given[0] in ("weigh", "pads", "push", "log"):
        given += ["--log", str(tmp_path / "log")]
    if given[0] == "weigh" and "--port" in given:
        cards.write_text(cards.read_text().replace("weights_g = [390, 400, 380, 395]", "weights_g = [0, 0, 0, 0]"))
        parts = ["weighs nothing"]
    got, out, err = run(*given)
    assert got == code, err
    for part in parts:
        assert part in err
    assert "Traceback" not in out + err


def test_a_log_folder_that_cannot_be_written_is_named_and_nothing_is_shown(
    cards: Path, run: Run, tmp_path: Path
) -> None:
    (tmp_path / "occupied").write_text("a file, not a folder")
    code, out, err = run("push", "forecast", cards, "--log", tmp_path / "occupied")
    assert (code, out) == (2, "")
    assert "occupied" in err
    assert "Traceback" not in err
