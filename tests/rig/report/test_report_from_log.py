"""Reports made from the log alone: the same picture as when the result was new, the budget, the pages.

Held against: the objects of the live comparison (another code path), leaving one cause out at a time (a second
way to a budget), poppler's reading of the PDF, Python's own parsers for HTML and SVG.
"""

import html
import math
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from analysis.measured.loaded_pivot import loaded_pivot
from analysis.measured.pushes import measure_pivot
from analysis.measured.wind_up import TURNS
from rig.base.errors import InputError
from rig.cards.measures import floor_layout, wheelbase
from rig.cards.read import CardSet, read_set
from rig.jobs.measuring.found_pushes import kept_track, poses_of, pushes_in
from rig.jobs.measuring.measure import Measurement
from rig.jobs.measuring.push_rows import push_record, track_record
from rig.jobs.measuring.under_load import under_load
from rig.jobs.pushing.compare import Verdict, judge
from rig.jobs.record.experiments import choose, retell
from rig.jobs.weighing.weights import weigh_typed
from rig.log.store import BenchLog
from rig.lookups.cards_and_pivots import keep_cards
from rig.lookups.track_file import write_track
from rig.notebook.functions import answer, compare
from rig.records.pushing import PUSH, PushInputs, PushResult
from rig.report.experiments import write_experiments
from rig.report.words.push_answer import what_happened
from rig.virtual.bench import write_cards
from rig.virtual.dunlin import SETUPS
from vision.base.types import Camera, CameraView, ClipTrack

needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs apt-get install poppler-utils")


def known_track(rng: np.random.Generator, pole: float = -0.05) -> ClipTrack:
    """Poses of a car that turns by 0.2 rad about a point `pole` m ahead of its rear axle, with noise and doubts."""
    time = np.arange(90) / 30.0
    turn = 0.2 * np.clip((time - 1.0) / 1.0, 0.0, 1.0)
    pose = np.stack([pole - pole * np.cos(turn), -pole * np.sin(turn), turn], axis=-1)
    noise = np.array([2e-5, 2e-5, 1e-4])
    shared = np.zeros((3, len(time), 3))
    shared[0, :, :2] = 5e-4 * np.stack([np.cos(turn), np.sin(turn)], -1)  # the plate, along the car
    shared[1] = 0.002 * pose * [1, 1, 0]  # the scale of the floor
    shared[2, 45:, 2] = 3e-4  # a camera that sees turns a little too large
    return ClipTrack(
        time=time,
        pose=pose + noise * rng.standard_normal(pose.shape),
        covariance=np.tile(np.diag(noise**2), (len(time), 1, 1)),
        repeating=np.diag([1e-5, 1e-5, 5e-5]) ** 2,
        blur=np.zeros(len(time)),
        size=(640, 480),
        lean=np.zeros((len(time), 2)),
        camera=Camera(matrix=np.eye(3), distortion=np.zeros(5), size=(640, 480), known=True, u=np.zeros(4)),
        view=CameraView(time=np.zeros(1), rotation=np.eye(3)[None], place=np.zeros((1, 3))),
        seen=np.ones((len(time), 4), bool),
        frames_read=len(time),
        frames_left_out=0,
        left_out={},
        corner_noise=0.05,
        ink_shift=0.0,
        notes=(),
        warnings=(),
        shared=shared,
        shared_names=(
            "place of the plate along the car",
            "print scale of the floor sheets",
            "camera and floor markers 1",
        ),
    )


@pytest.fixture(scope="module")
def term(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Verdict, CardSet]:
    """A log with one comparison in full, one push alone and one forecast-free record."""
    folder = tmp_path_factory.mktemp("term ü")
    path, second = write_cards(folder / "cards", SETUPS[0], (50.0, 85.0))
    for each in (path, second):
        text = each.read_text(encoding="utf-8")
        each.write_text(text.replace("[typed]", "[typed]\nweights_g = [400, 380, 390, 390]", 1), encoding="utf-8")
    cards = read_set(path)
    track = known_track(np.random.default_rng(4))
    with BenchLog(folder / "log") as log:
        kept = [keep(log, one, track, folder) for one in (cards, read_set(second))]
        verdict = judge(cards, log, weigh_typed(cards, log), kept[0], seed=1)
    return folder, verdict, cards


def keep(log: BenchLog, cards: CardSet, track: ClipTrack, folder: Path) -> Measurement:
    """Write a push into the log as `push measure` does, from poses instead of a clip."""
    kept = kept_track(track)
    pushes = pushes_in(kept, cards).pushes
    result = PushResult(pushes=tuple(push_record(push) for push in pushes), track=track_record(track))
    record = log.record(
        PUSH,
        cards.test.name,
        inputs=PushInputs(turns=TURNS),
        result=result,
        cards=keep_cards(log, cards),
        files=[log.add_file("track", write_track(log.folder / "tracks", kept))],
    )
    return Measurement(
        track=track, pushes=pushes, record=record, clip=folder / "none.avi", floor=floor_layout(cards.bench)
    )


@pytest.mark.thorough
def test_the_picture_from_the_log_is_the_one_that_was_shown(term: tuple[Path, Verdict, CardSet]) -> None:
    folder, verdict, _ = term
    with BenchLog(folder / "log", read_only=True) as log:
        told = retell(log, choose(log))
    assert [one.record.kind for one in told.experiments] == ["push", "comparison"]
    again, new = told.experiments[1].picture, verdict.picture
    assert (again.title, again.verdict) == (new.title, verdict.comparison.sentence)  # below the picture, as when new
    assert again.body == new.body
    for name in ("contact_place", "load_g", "cg", "push", "swept"):
        np.testing.assert_allclose(getattr(again, name), getattr(new, name), rtol=0, atol=1e-12)
    assert (again.balance, again.balance_u) == pytest.approx((new.balance, new.balance_u))
    for one, other in ((again.measured, new.measured), (again.forecast, new.forecast)):
        assert (one is None) == (other is None)
        if one is not None and other is not None:
            np.testing.assert_allclose(one.place, other.place)
            np.testing.assert_allclose(one.region, other.region)
    assert told.experiments[1].measured == verdict.measured or told.experiments[1].measured.kappa == pytest.approx(
        verdict.measured.kappa, abs=0
    )


@pytest.mark.thorough
def test_python_judges_a_push_as_the_command_does(term: tuple[Path, Verdict, CardSet]) -> None:
    _, verdict, cards = term
    comparison, prediction = compare(cards, verdict.weighing, verdict.measurement, seed=1)
    assert comparison == verdict.comparison
    assert prediction.estimate == verdict.forecast.prediction.estimate
    assert answer(cards, verdict.push, verdict.weighing).saw == verdict.answer.saw


def test_the_budget_is_what_leaving_causes_out_one_by_one_gives(term: tuple[Path, Verdict, CardSet]) -> None:
    folder, _, cards = term
    with BenchLog(folder / "log", read_only=True) as log:
        told = retell(log, choose(log, kind="push"))
    budget = {part.name: part for part in told.experiments[0].measured_budget}
    track = known_track(np.random.default_rng(4))

    def u(keep: list[float], wheelbase_u: float, repeating: float = 1.0) -> float:
        poses = replace(poses_of(track), repeating=track.repeating * repeating)
        shared, length = track.shared * np.array(keep)[:, None, None], wheelbase(cards.car)
        (push,) = measure_pivot(poses, wheelbase=length, wheelbase_u=wheelbase_u, shared=shared)
        station = cards.test.push.position_pct / 100 * length
        loaded = under_load(push, poses, station=station, length=length)
        under = loaded_pivot(poses, push, loaded, station=station, wheelbase_u=wheelbase_u, shared=shared).estimate
        return math.sqrt(under.kappa_u**2 - (wind_up * under.kappa) ** 2)

    row = told.experiments[0].push
    assert row is not None
    assert row.wind_up is not None
    assert row.wind_up > 0.005
    wind_up = row.wind_up
    card_u = cards.car.geometry.wheelbase_mm_u / 1000
    kappa = told.experiments[0].measured.kappa
    whole = u([1, 1, 1], card_u) ** 2 + (wind_up * kappa) ** 2
    left_out = {
        "place of the plate along the car": u([0, 1, 1], card_u),
        "print scale of the floor sheets": u([1, 0, 1], card_u),
        "camera and floor markers": u([1, 1, 0], card_u),
        "wheelbase": u([1, 1, 1], 0.0),
        "what repeats from picture to picture": u([1, 1, 1], card_u, 1e-9),
    }
    for name, without in left_out.items():
        assert budget[name].share == pytest.approx(1 - (without**2 + (wind_up * kappa) ** 2) / whole, abs=2e-3)
    assert sum(part.share for part in budget.values()) == pytest.approx(1.0, abs=1e-6)


def test_a_choice_is_by_number_kind_day_and_test(term: tuple[Path, Verdict, CardSet]) -> None:
    from datetime import date

    folder, verdict, cards = term
    with BenchLog(folder / "log", read_only=True) as log:
        one = retell(log, choose(log, numbers=[verdict.record.number]))
        assert [each.record.number for each in one.experiments] == [verdict.record.number]
        assert {record.title for record in choose(log, tests=[cards.test.name], kind="push")} == {cards.test.name}
        assert len(choose(log, since=date(2000, 1, 1))) == len(list(log.records()))
        with pytest.raises(InputError, match="no such records"):
            choose(log, since=date(2999, 1, 1))


class Sources(HTMLParser):
    """Collects what a page would fetch, and checks that tags close."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note everything with an address outside the page."""
        self.fetched += [
            value or ""
            for key, value in attrs
            if key in ("src", "href", "xlink:href") and not (value or "").startswith("#")
        ]


def test_the_html_fetches_nothing_and_says_all_and_figures_are_svg_and_png(
    term: tuple[Path, Verdict, CardSet], tmp_path: Path
) -> None:
    folder, verdict, _ = term
    with BenchLog(folder / "log", read_only=True) as log:
        told = retell(log, choose(log, numbers=[verdict.record.number]))
    files = write_experiments(tmp_path / "term.html", "A <term>", told, figures=tmp_path / "figures")
    page = files[0].read_text(encoding="utf-8")
    reader = Sources()
    reader.feed(page)
    assert reader.fetched == []
    assert "A &lt;term&gt;" in page
    assert "dc:date" not in page  # the same record makes the same report, whenever it is made
    assert verdict.comparison.sentence in page
    for words in ("By hand:", "Assumptions", "JCGM 100:2008", "place of the plate along the car"):
        assert words in page
    # plain words and the picture first; how it was found and where the ± comes from fold
    assert verdict.answer is not None
    first = page.index(what_happened(verdict.answer))
    folded = page.index("<details>")
    assert first < page.index("<svg") < folded < page.index(verdict.comparison.sentence)
    assert page.count("<details>") == 3
    svgs = [path for path in files if path.suffix == ".svg"]
    assert len(svgs) == len([path for path in files if path.suffix == ".png"]) == 4
    assert all(ET.parse(path).getroot().tag.endswith("svg") for path in svgs)
    assert all(path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n" for path in files if path.suffix == ".png")
    with pytest.raises(InputError, match=r"\.html or \.pdf"):
        write_experiments(tmp_path / "term.docx", "", told)


@pytest.mark.thorough
@needs_poppler
def test_the_pdf_reads_the_same_and_lost_poses_are_said(term: tuple[Path, Verdict, CardSet], tmp_path: Path) -> None:
    folder, verdict, _ = term
    for track in (folder / "log" / "tracks").glob("*.npz"):
        track.rename(tmp_path / track.name)
    try:
        with BenchLog(folder / "log", read_only=True) as log:
            told = retell(log, choose(log, numbers=[verdict.record.number]))
        (pdf,) = write_experiments(tmp_path / "one.pdf", "One push $x_1$", told)
        (page,) = write_experiments(tmp_path / "one.html", "One push $x_1$", told)
    finally:
        for track in tmp_path.glob("*.npz"):
            track.rename(folder / "log" / "tracks" / track.name)
    text = subprocess.run(["pdftotext", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    flat = " ".join(text.split())
    assert "One push $x_1$" in flat
    assert verdict.comparison.sentence in flat
    assert "no longer there: no path and no budget" in flat
    assert "push position" in flat
    lines = re.sub(r"<(style|script|svg|title)\b.*?</\1>", " ", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    lines = html.unescape(re.sub(r"<[^>]*>", " ", lines))
    on_page, in_pdf = (Counter(re.findall(r"[−-]?\d+\.\d+", words)) for words in (lines, flat))
    assert len(on_page) > 30
    assert on_page - in_pdf == Counter()  # a figure that the page shows, as often as it shows it
