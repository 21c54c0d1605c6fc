"""What the page is told, over its own interface: millimetres, grams, per cent and degrees, each side the right one.

One server for all; a car that is heavier at one corner, pushed from the left, a pivot left of the middle.
"""

import contextlib
import json
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest

from .cards_typed import CAR, EXACT_CAR, EXACT_TEST, PLACES, WEIGHTS, newtons, pivot, push_row, run, slide, take_in

LENGTH = 0.26
DEG_CM = 180 / np.pi / 100
SCALE_U = 0.01 / np.sqrt(3)
"""The scale is off by up to 1 % of what it shows, either way: a rectangular distribution (JCGM 100:2008, 4.3.7)."""


class Page:
    """A browser's view of the bench page."""

    def __init__(self, folder: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{port}"
        words = ["bench", "--port", str(port), "--no-browser", "--log", str(folder)]
        self.process = subprocess.Popen(
            [sys.executable, "-c", f"from rig.main import main; main({words!r})"], stderr=subprocess.DEVNULL
        )
        for _ in range(600):
            with contextlib.suppress(OSError):
                self.token = self.told("hello")["token"]
                return
            time.sleep(0.1)
        raise AssertionError("the page does not answer")

    def told(self, *kinds: str) -> dict[str, Any]:
        """The newest event of a kind; of several kinds, a map."""
        found: dict[str, Any] = {}
        with urllib.request.urlopen(f"{self.url}/events", timeout=240) as stream:
            kind = ""
            while set(found) < set(kinds):
                line = stream.readline().decode()
                if line.startswith("event: "):
                    kind = line[7:].strip()
                elif line.startswith("data: ") and kind in kinds:
                    found[kind] = json.loads(line[6:])
        return found[kinds[0]] if len(kinds) == 1 else found

    def text(self, path: str, **query: object) -> str:
        """A page or an answer."""
        url = f"{self.url}{path}" + (f"?{urlencode(query)}" if query else "")
        with urllib.request.urlopen(url, timeout=240) as answer:
            return str(answer.read().decode())

    def ask(self, path: str, **query: object) -> dict[str, Any]:
        """An answer as JSON."""
        told: dict[str, Any] = json.loads(self.text(path, **query))
        return told

    def do(self, name: str, **values: object) -> dict[str, Any]:
        """A change, finished when it returns."""
        request = urllib.request.Request(
            f"{self.url}/api/do/{name}",
            data=json.dumps(values).encode(),
            method="POST",
            headers={"x-bench-token": self.token, "content-type": "application/json", "origin": self.url},
        )
        with urllib.request.urlopen(request, timeout=240) as answer:
            told: dict[str, Any] = json.loads(answer.read())
        while "job" in told and self.told("job").get("running", True):
            time.sleep(0.1)
        return told


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("page") / "log"


@pytest.fixture(scope="module")
def page(log: Path) -> Iterator[Page]:
    """The page with the lopsided car's cards, nothing weighed."""
    browser = Page(log)
    try:
        browser.do("save-card", kind="car", values=CAR | EXACT_CAR)
        browser.do("save-card", kind="bench", values={"pads.reseat_g": 0.0})
        browser.do(
            "save-card",
            kind="test",
            values=EXACT_TEST
            | {"typed.weights_scales": "one scale"}
            | {"push.position_pct": 80.0, "push.position_pct_u": 1.0, "push.side": "left", "push.speed_mm_s": 40.0},
        )
        yield browser
    finally:
        ended(browser)


def ended(browser: Page) -> None:
    """As by Ctrl-C in its terminal."""
    browser.process.send_signal(signal.SIGINT)
    try:
        browser.process.wait(20)
    except subprocess.TimeoutExpired:
        browser.process.kill()


ASKED = {"front": 0.9, "rear": 0.6, "ballast_g": 120.0, "ballast_pct": 75.0, "push_pct": 85.0}


def by_levers(load: np.ndarray, grams: float, share: float) -> np.ndarray:
    """Grams on the middle line, `share` of the wheelbase ahead of the rear axle: half of each axle's part a side."""
    return load + grams / 2 * np.array([share, share, 1 - share, 1 - share])


@pytest.fixture(scope="module")
def before(page: Page) -> dict[str, Any]:
    """Before anything was weighed: the car, and what if."""
    return {"car": page.told("car"), "if": page.ask("/api/what-if", **ASKED, whole=0)}


def test_before_weighing_every_corner_is_taken_for_400_g(before: dict[str, Any]) -> None:
    got = before["if"]
    assert got["assumed"] is True
    np.testing.assert_allclose(got["load_g"], by_levers(np.full(4, 400.0), 120, 0.75), rtol=1e-9)
    assert "weights" not in before["car"]


@pytest.fixture(scope="module")
def weighed(page: Page, before: dict[str, Any]) -> dict[str, Any]:
    said = page.do("weigh-typed", weights_g=list(WEIGHTS), resolution_g=20.0)["said"]
    told = {name: page.ask("/api/what-if", **ASKED, whole=whole) for name, whole in (("quick", 0), ("whole", 1))}
    return {"said": said, "car": page.told("car")} | told


def test_the_car_on_the_page_in_millimetres_and_grams(weighed: dict[str, Any]) -> None:
    car = weighed["car"]
    assert (car["push"]["position_pct"], car["grip"]) == (80.0, {"front": 0.8, "rear": 0.8})
    picture = car["picture"]
    np.testing.assert_allclose(picture["contacts"], PLACES * 1000, rtol=1e-9)
    assert picture["wheelbase"] == pytest.approx(260)
    corners = np.array(picture["outline"])
    assert (corners[:, 0].min(), corners[:, 0].max()) == pytest.approx((-90, 330))
    assert (corners[:, 1].min(), corners[:, 1].max()) == pytest.approx((-100, 100))
    assert picture["load_g"] == pytest.approx(WEIGHTS)
    across = np.array(WEIGHTS) @ [75, -75, 95, -95] / 1540
    assert picture["cg"] == pytest.approx([260 * 870 / 1540, across])
    # the finger touches the left side and pushes to the right
    assert picture["push"] == pytest.approx([208, 100])
    assert picture["push_side"] == -1
    weights = car["weights"]
    half = 1.96 * np.sqrt(20**2 / 12 + (SCALE_U * np.array(WEIGHTS)) ** 2)
    np.testing.assert_allclose(weights["corner_interval_g"], np.stack([WEIGHTS - half, WEIGHTS + half], -1), rtol=1e-4)
    assert weights["front_pct"]["value"] == pytest.approx(100 * 870 / 1540)
    assert weights["left_pct"]["value"] == pytest.approx(100 * 980 / 1540)
    assert weights["diagonal_fl_rr_pct"]["value"] == pytest.approx(100 * 810 / 1540)
    total = 1.96 * np.sqrt(4 * 20**2 / 12 + (SCALE_U * 1540) ** 2)
    assert f"Weighed: 1540.0 g ± {total:.1f};" in weighed["said"]


@pytest.mark.parametrize("name", ["quick", "whole"])
def test_what_if(weighed: dict[str, Any], name: str) -> None:
    got = weighed[name]
    load = by_levers(np.array(WEIGHTS), 120, 0.75)
    np.testing.assert_allclose(got["load_g"], load, rtol=1e-9)
    front, rear = 0.9 * load[:2].sum(), 0.6 * load[2:].sum()
    near = {"rel": 1e-6} if name == "quick" else {"rel": 2e-3}
    assert got["balance_pct"] == pytest.approx(100 * front / (front + rear), **near)
    assert got["balance"] == pytest.approx(260 * front / (front + rear), **near)
    kappa, pole, _ = slide(newtons(load), [0.9, 0.9, 0.6, 0.6], 0.85 * LENGTH, side=-1)
    assert got["station_pct"] == pytest.approx(100 * (0.5 - 1 / (kappa * LENGTH)), abs=0.01 if name == "quick" else 0.8)
    np.testing.assert_allclose(got["mark"]["place"], pole * 1000, atol=0.05 if name == "quick" else 2.0)
    assert got["push_mm"] == pytest.approx(221)
    assert got["assumed"] is False
    assert bool(got["words"]) is bool(len(got["mark"]["region"])) is (name == "whole")
    if name == "whole":
        # the region lies about the pivot: in millimetres, and wider than a point
        region = np.array(got["mark"]["region"])
        assert region[:, 0].min() < pole[0] * 1000 < region[:, 0].max()
        low, high = map(float, re.search(r"\((-[\d.]+) to (-[\d.]+)\)", got["words"]).groups())  # type: ignore[union-attr]
        ends = sorted(
            100 * (0.5 - 1 / (slide(newtons(load), [0.9, 0.9, 0.6, 0.6], s * LENGTH)[0] * LENGTH))
            for s in (0.85 - 0.0196, 0.85 + 0.0196)
        )
        assert (low, high) == pytest.approx(ends, rel=0.08)  # the push's place is most of the doubt


@pytest.fixture(scope="module")
def judged(page: Page, weighed: dict[str, Any]) -> dict[str, Any]:
    """After a pivot was found with a ruler, at -28 % give or take 1.5."""
    for pct, side in ((20.0, 10.0), (-30.0, -5.0), (-10.0, 0.0), (0.0, 0.0), (60.0, 30.0)):
        page.do("guess", station_pct=pct, side_mm=side)
    page.do("guess", station_pct=95.0, side_mm=-40.0)
    page.do("take-back")  # the latest, not the first
    page.do("typed-pivot", pivot_pct=-28.0, u_pct=1.5)
    for _ in range(300):
        car = page.told("car")
        if car.get("verdict"):
            break
        time.sleep(0.1)
    revealed = page.do("reveal")
    return {"car": car, "class": page.told("class"), "revealed": revealed, "ring": page.text("/print/ring")}


def test_a_verdict_on_the_page(judged: dict[str, Any]) -> None:
    picture, verdict = judged["car"]["picture"], judged["car"]["verdict"]
    assert picture["measured"]["place"] == pytest.approx([-72.8, 0.0], abs=1e-6)
    kappa, pole, _ = slide(newtons(), [0.8] * 4, 0.8 * LENGTH, side=-1)
    np.testing.assert_allclose(picture["forecast"]["place"], pole * 1000, atol=1.0)
    assert picture["balance"] == pytest.approx(260 * 870 / 1540, abs=0.2)
    # x_c = L F / (F + R): a corner in front moves it by L R / W², one behind by L F / W²; 20 / sqrt(12) g each
    u = 260 * 20 / np.sqrt(12) * np.sqrt(2 * 670**2 + 2 * 870**2) / 1540**2
    assert picture["balance_half"] == pytest.approx(1.96 * u, rel=0.04)
    assert picture["push"] == pytest.approx([208, 100])
    assert picture["push_side"] == -1
    np.testing.assert_allclose(picture["contacts"], PLACES * 1000)
    assert (verdict["car"], verdict["push_pct"]) == ("Lopsided", 80.0)
    measured = verdict["measured"]
    assert measured["station_pct"] == pytest.approx(-28)
    assert measured["interval_pct"] == pytest.approx([-28 - 2.94, -28 + 2.94], abs=1e-4)  # 1.959964 × 1.5
    arm = 0.78 * LENGTH
    assert measured["kappa_per_m"] == pytest.approx(1 / arm)
    assert measured["words"] == "-28.0 % (-30.9 to -25.1), 73 mm behind the rear axle"
    half = (1 / (arm - 0.0294 * LENGTH) - 1 / (arm + 0.0294 * LENGTH)) / 2
    assert measured["turn"] == f"{DEG_CM / arm:+.2f} ± {half * DEG_CM:.2f} °/cm"
    assert verdict["forecast"]["kappa_per_m"] == pytest.approx(kappa, rel=4e-3)
    assert verdict["balance_pct"] == pytest.approx(100 * 870 / 1540, abs=0.1)
    assert verdict["sentence"].startswith("Swung about a point 73 mm behind the rear axle, ±8 mm")
    shares = dict(verdict["sensitivity"])
    ends = [slide(newtons(), [0.8] * 4, 0.8 * LENGTH + d)[0] for d in (0.0026, -0.0026)]
    slope = abs(ends[0] - ends[1]) / 2
    low, high = verdict["forecast"]["interval_pct"]
    whole = abs(1 / ((0.5 - low / 100) * LENGTH) - 1 / ((0.5 - high / 100) * LENGTH)) / 2 / 1.96
    assert shares["push position"] == pytest.approx(100 * (slope / whole) ** 2, abs=8)
    assert sum(shares.values()) == pytest.approx(100, abs=4)


def test_a_class_guesses(judged: dict[str, Any]) -> None:
    """-30, -10, 0, 20, 60: middle 0, quarters -10 and 20 (order statistics)."""
    told = judged["class"]
    assert told["phase"] == "reveal"
    # told to the class is what the car did, not what it should have done
    assert "Swung about a point 73 mm behind the rear axle" in str(judged["revealed"])
    assert told["guesses"] == [[20.0, 10.0], [-30.0, -5.0], [-10.0, 0.0], [0.0, 0.0], [60.0, 30.0]]
    assert told["spread"]["count"] == 5
    assert told["spread"]["middle_pct"] == 0.0
    assert told["spread"]["half_pct"] == [-10.0, 20.0]
    assert told["spread"]["words"] == "5 guesses: half of them between -10 % and 20 %, the middle one at 0 %."
    assert told["measured"]["station_pct"] == pytest.approx(-28)
    assert told["forecast"]["station_pct"] == pytest.approx(-32.1, abs=0.5)


def test_the_ring_is_fixed_at_the_forecast_pivot(judged: dict[str, Any]) -> None:
    """By the other mechanics: 83 mm behind the rear axle and 36 mm left of the middle, inside the 90 mm behind it."""
    _, pole, _ = slide(newtons(), [0.8] * 4, 0.8 * LENGTH, side=-1)
    x, y = 1000 * pole
    assert (x, y) == pytest.approx((-83.5, 35.9), abs=0.1)
    told = re.search(r"cross (\d+) mm (\S+) the rear axle and (\d+) mm to the (\w+) of the middle", judged["ring"])
    assert told
    assert (int(told[1]), told[2]) == (pytest.approx(83.5, abs=1.6), "behind")
    assert (int(told[3]), told[4]) == (pytest.approx(35.9, abs=1.6), "left")
    assert "outside the body" not in judged["ring"]
    assert "(80 %)" in judged["ring"]


def test_the_record_and_the_comparisons(page: Page, judged: dict[str, Any], log: Path) -> None:
    rows = page.ask("/api/compared")["rows"]
    assert rows[-1]["setup"] == "Lopsided"
    assert "measured" not in rows[-1]  # typed in
    forecast = judged["car"]["verdict"]["forecast"]
    assert rows[-1]["forecast"]["words"] == forecast["words"]
    assert rows[-1]["forecast"]["interval_pct"] == forecast["interval_pct"]
    record = page.ask("/api/record")
    kinds = [one["kind"] for one in record["records"]]
    assert kinds[0] == "guess"  # newest first
    assert record["records"][kinds.index("prediction")]["words"] == forecast["words"]
    total = 1.96 * np.sqrt(4 * 20**2 / 12 + (SCALE_U * 1540) ** 2)
    assert record["records"][kinds.index("weighing")]["words"].startswith(f"1540.0 ± {total:.1f} g; front 56.49 ±")
    report = page.text("/api/report.html")
    assert "−28.0 % (−30.9 to −25.1), 73 mm behind the rear axle" in report
    assert ">typed in<" in report


@pytest.mark.thorough
def test_a_filmed_push_among_the_comparisons_is_told_by_its_number(tmp_path: Path) -> None:
    push = push_row("elsewhere", 4.9, 0.1)
    push["result"]["pushes"].append({"number": 2, "turn_deg": 9.0, "pivot": pivot(-3.2, 0.2)})
    rows = [
        {"kind": "weighing", "title": "Other car", "name": "w", "result": {}},
        push | {"name": "p", "on": ["w"]},
        {"kind": "prediction", "title": "elsewhere", "name": "f", "on": ["w"], "result": {"pivot": pivot(6.25, 0.05)}},
        {
            "kind": "comparison",
            "title": "elsewhere",
            "on": ["w", "p", "f"],
            "inputs": {"push_number": 2},
            "result": {"verdict": "disagrees", "sentence": "It parts."},
        },
    ]
    take_in(tmp_path / "in", tmp_path / "log", rows)  # before the page opens the log: an import has it alone
    browser = Page(tmp_path / "log")
    try:
        [row] = browser.ask("/api/compared")["rows"]
    finally:
        ended(browser)
    assert (row["setup"], row["test"], row["verdict"]) == ("Other car", "elsewhere", "disagrees")
    # 0.13 + 1 / 3.2 = 0.4425 m; ends at 3.592 and 2.808 per metre
    assert row["measured"]["words"] == "170.2 % (157.1 to 187.0), 442 mm ahead of the rear axle"
    assert row["forecast"]["words"] == "-11.5 % (-12.5 to -10.6), 30 mm behind the rear axle"


def test_a_pin_and_how_far_it_was(page: Page, judged: dict[str, Any]) -> None:
    """Per cent and millimetres of the pin, the car's own swing, and the way between them (Pythagoras)."""
    said = page.do("first-push", station_pct=10.0, side_mm=-45.0)["sentence"]
    told = page.told("first")
    assert told["pin"] == pytest.approx([26.0, -45.0])
    x, y = told["place_mm"]
    # a car alike all round, pushed at 80 %: the least power of four equal tyres
    kappa, pole, _ = slide([1.0] * 4, [0.8] * 4, 0.8 * LENGTH, side=-1)
    assert told["kappa_per_m"] == pytest.approx(kappa, rel=0.15)  # it is pushed at 40 mm/s, along a floor line
    assert x == pytest.approx(1000 * pole[0], abs=25)
    away = np.hypot(26.0 - x, -45.0 - y)
    assert said.startswith("A virtual car, alike all round, not yours: ")
    assert f"it swung about a point {abs(x):.0f} mm {'ahead of' if x >= 0 else 'behind'} the rear axle" in said
    assert f"({100 * x / 260:.0f} %)".replace("(-", "(−") in said
    assert f"Your ring was {away:.0f} mm away." in said


def test_drawings_to_scale(page: Page, before: dict[str, Any]) -> None:
    pack = page.text("/print/pack")
    assert pack.count('width="150.0mm"') == 2  # the rail in halves: half the wheelbase and 10 mm at either end
    # notch 0 at the rear axle, notch 10 at the front one, 26 mm apart; the halves are joined at notch 5
    for n, place in (*((n, 10 + 26 * n) for n in range(6)), *((n, 10 + 26 * (n - 5)) for n in range(5, 11))):
        assert f'<text x="{place:.2f}" y="22" font-size="6" text-anchor="middle">{n}</text>' in pack
    # wheels: 48 by 20 mm about the contacts, the drawing's y downwards
    for x, y in PLACES * 1000:
        assert f'<rect x="{x - 24:.1f}" y="{-y - 10:.1f}" width="48" height="20"' in pack
    assert '<rect x="-90.0" y="-100.0" width="420.0" height="200.0"' in pack
    for pct, shown in ((-80, "\u221280"), (0, "0"), (60, "60"), (120, "120")):
        assert f'<text x="{2.6 * pct:.1f}" y="128.0" font-size="13" text-anchor="middle">{shown}</text>' in pack


def test_the_same_log_outside_the_page(judged: dict[str, Any], log: Path) -> None:
    table = run("log", "--log", log, "--kind", "prediction")
    assert judged["car"]["verdict"]["forecast"]["words"].replace("-", "−") in table
