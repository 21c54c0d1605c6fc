"""What the log's list and the report say of each kind of record, to the last digit.

Truth: the sentences written by hand. A record keeps standard uncertainties, relative ones where its field says so, and
half-widths; people read 95 %, which is 1.96 standard ones. All numbers of a record differ.
"""

from typing import Any

import msgspec
import pytest

from rig.jobs.weighing.calibrate import AS_SHOWN
from rig.records.record import AnyRecord, Record
from rig.records.registry import RECORD_KINDS
from rig.report.other_records import WORDS, other_parts, record_words
from tests.whole_records import completed


def record(kind: str, inputs: dict[str, Any] | None = None, result: dict[str, Any] | None = None) -> AnyRecord:
    given, found = completed(kind, inputs or {}, result or {})
    one = RECORD_KINDS[kind]
    return Record(
        id="a",
        number=7,
        bench="b",
        kind=kind,
        title="Dunlin",
        at="2026-03-04 10:11:12",
        software="",
        inputs=msgspec.convert(given, one.inputs),
        result=msgspec.convert(found, one.result),
        cards=(),
        files=(),
        parents=(),
    )


def about(value: float, low: float, high: float) -> dict[str, Any]:
    """An estimate. Its u is not half its interval over 1.96: few readings widen it."""
    return {"value": value, "u": 0.01, "interval": [low, high]}


def across(angle: float, share: float, half: float, height: float, height_half: float) -> dict[str, Any]:
    zeros = dict.fromkeys(("sideways_g", "front_g", "rear_g", "roll_share"), 0.0)
    texts: dict[str, Any] = {"lifted": [], "turned": False, "pressed": False, "budget": []}
    found = {"share_pct": share, "share_half_points": half, "height_mm": height, "height_half_mm": height_half}
    return {"angle_deg": angle} | zeros | texts | found


MARKER = {"id": 1, "size_mm": 40.0, "x_mm": 0.0, "y_mm": 0.0, "turn_deg": 0.0}
CASES: list[tuple[str, dict[str, Any], dict[str, Any], str]] = [
    (
        "weighing",
        {},
        {
            "total_g": about(1543.21, 1540.0, 1546.8),
            "front_pct": about(56.78, 56.5, 57.1),
            "left_pct": about(48.31, 48.1, 48.6),
            "diagonal_fl_rr_pct": about(51.4, 51.0, 51.9),
            "diagonal_fr_rl_pct": about(48.59, 48.2, 49.1),
        },
        "1543.2 ± 3.4 g; front 56.78 ± 0.30 %, left 48.31 ± 0.25 %, cross weight (front right with rear left) "
        "48.59 ± 0.45 %",
    ),
    (
        "grip",
        {},
        {"quantity": "rear", "state": "sliding", "value": 0.5, "relative_u": 0.04, "method": "pull"},
        "rear (sliding) 0.500 ± 0.039, pull",
    ),
    (
        "grip along",
        {"part": "front"},
        {"part": "rear", "ratio": 1.25, "ratio_u": 0.03},
        "rear tyres grip 1.250 ± 0.059 times as well along as across",
    ),
    (
        "inference",
        {},
        {"grip_ratio": 1.112, "grip_ratio_u": 0.02, "interval": [1.041, 1.187]},
        "grip front to rear 1.112 (1.041 to 1.187)",
    ),
    (
        "drive",
        {},
        {
            "speed_m_s": 1.234,
            "speed_u_m_s": 0.05,
            "radius_m": 0.876,
            "radius_u_m": 0.02,
            "ay_m_s2": 1.7,
            "pivot_pct": 64.4,
        },
        "1.23 ± 0.10 m/s on a radius of 0.88 ± 0.04 m; pivot at 64 %",
    ),
    (
        "tilted pads",
        {},
        {"across": [across(6.2, 41.0, 3.0, 31.0, 2.0), across(14.9, 43.2, 1.4, 33.3, 0.8)]},
        "tilted by 14.9°: front axle 43.2 ± 1.4 % of the load that moves sideways, effective transfer height "
        "33.3 ± 0.8 mm",
    ),
    (
        "load sensitivity",
        {"states": [{"balance_pct": 50.0, "balance_pct_u": 0.1, "front_g": 1.0, "rear_g": 2.0}] * 3},
        {"q": 0.21, "q_u": 0.05, "interval": [0.1, 0.3], "told_from_none": True},
        "load sensitivity 0.21 ± 0.10 from 3 states of the car",
    ),
    (
        "load sensitivity",
        {"states": [{"balance_pct": 50.0, "balance_pct_u": 0.1, "front_g": 1.0, "rear_g": 2.0}] * 2},
        {"q": 0.04, "q_u": 0.05, "interval": [-0.1, 0.2], "told_from_none": False},
        "load sensitivity 0.04 ± 0.10 from 2 states of the car; it cannot be told from none",
    ),
    (
        "finger calibration",
        {},
        {"counts_per_n": 21345.6, "counts_per_n_u": 130.0, "zero_counts": 9.0, "off_line_n": 0.3, "heaviest_n": 12.34},
        "21,346 ± 255 counts a newton, up to 12.3 N",
    ),
    (
        "push force",
        {},
        {"force_N": 5.67, "force_u_N": 0.2, "level": 0.6, "level_u": 0.1, "own_u": 0.3},
        "5.7 N while it slid: grip 0.60 ± 0.12",
    ),
    ("push force", {}, {"force_N": 5.67, "level": 0.6, "level_u": 0.001}, "5.7 N while it slid: grip 0.60 ± 0.01"),
    (
        "cg height",
        {},
        {"cg_height_mm": 34.56, "cg_height_mm_u": 1.5, "interval_mm": [30.0, 41.0], "cg_station_mm": 120.0},
        "centre of gravity 34.6 ± 2.9 mm high",
    ),
    ("cross weight", {}, {"steps": ["Weigh", "Turn it", "Done"]}, "Done"),
    (
        "shim",
        {"shim_mm": 2.0},
        {"grams_per_mm": 3.3, "cross_g_per_mm": 6.6},
        "cross weight 6.6 g for each mm under one pad",
    ),
    (
        "camera",
        {},
        {"views": ["a", "b", "c"], "left_out": {"d": "blurred"}, "rms_px": 0.234},
        "lens from 3 pictures, 0.23 px left over",
    ),
    ("floor layout", {}, {"markers": [MARKER] * 5, "place_u_mm": 0.1, "views": 9}, "5 sheets, each within 0.20 mm"),
    (
        "plate place",
        {},
        {"shift_mm": [1.234, -0.567], "turn_deg": -0.89, "place_mm_u": 0.25, "turn_deg_u": 0.3},
        "plate +1.23 mm along and -0.57 mm across, each ± 0.49 mm; turned by -0.89°",
    ),
    ("change", {}, {"sentences": ["It moved.", "By so much."]}, "It moved."),
    ("aside", {"number": 3}, {"why": "the string had slipped"}, "record 3 set aside: the string had slipped"),
    ("car markers", {}, {"markers": [MARKER] * 4, "pictures": 9}, "4 markers' places"),
]


@pytest.mark.parametrize(("kind", "inputs", "result", "words"), CASES)
def test_the_words_of_a_record(kind: str, inputs: dict[str, Any], result: dict[str, Any], words: str) -> None:
    assert record_words(record(kind, inputs, result)) == words


def test_a_calibration_says_over_which_range_it_holds() -> None:
    def pad(low: float, high: float, evidence: str) -> dict[str, Any]:
        texts = dict.fromkeys(("kind", "pad", "model", "date", "masses"), "")
        zeros = dict.fromkeys(("residual_sd", "dof", "count", "capacity_g", "reading_u_g"), 0)
        lists: dict[str, Any] = {key: [] for key in ("coefficients", "covariance", "mass_shift", "budget")}
        return texts | zeros | lists | {"lightest_g": low, "heaviest_g": high, "evidence": evidence}

    weighed = [pad(20, 900, "masses"), pad(10, 1000, "masses"), pad(30, 800, "masses")]
    assert record_words(record("calibration", {}, {"pads": weighed})) == "3 pads from 10 to 1000 g"
    shown = [pad(20, 900, AS_SHOWN)] * 2
    assert record_words(record("calibration", {}, {"pads": shown})) == "2 scales, taken at their word"


def test_every_kind_that_says_something_is_asked_above() -> None:
    assert {kind for kind, *_ in CASES} | {"calibration"} == set(WORDS)


def test_a_ladder_and_a_series_are_told_rung_by_rung_and_change_by_change() -> None:
    rungs = [
        {"name": "soft", "grip": 1.1234, "interval": [1.011, 1.222], "ranks": [1, 1]},
        {"name": "hard", "grip": 0.8765, "interval": [0.801, 0.944], "ranks": [2, 3]},
    ]
    (ladder,) = other_parts([record("ladder", {}, {"rungs": rungs, "sentence": "Soft grips more"})])
    assert (ladder.title, ladder.verdict) == ("Ladder of tyres on Dunlin", "Soft grips more.")
    assert [tuple(row) for row in ladder.tables[0].rows] == [
        ("soft", "1.123", "1.011 to 1.222", "1"),
        ("hard", "0.876", "0.801 to 0.944", "2 to 3"),
    ]
    effect = {"reference": "hard", "change_per_m": 0.4, "interval_per_m": [-0.1, 0.9]}
    effects = [
        effect | {"factor": "tyre", "level": "soft", "clear": True, "sentences": ["Forward.", "By 2."]},
        effect | {"factor": "bar", "level": "on", "clear": False},
    ]
    of_series = {"effects": effects, "pushes": 9, "push_u_per_m": 0.5, "block_u_per_m": 0.7, "warnings": ["So few."]}
    (series,) = other_parts([record("series", {}, of_series | {"drift": "It drifts.", "no_points": "No places"})])
    assert (series.title, series.verdict) == ("Series: Dunlin", "Clear: tyre (hard → soft).")
    told = " ".join(series.paragraphs)
    # 0.5 rad/m are 0.2865 degrees a centimetre (180 / pi / 100)
    for words in (
        "tyre, hard → soft: Forward. By 2.",
        "9 pushes. ",
        "scatters by 0.29 °/cm",
        "No places.",
        "It drifts.",
    ):
        assert words in told
    assert "Note: So few." in told
    assert "bar" not in told
    (points,) = other_parts([record("series", {}, of_series | {"push_u_pct": 1.26, "effects": effects[1:]})])
    assert points.verdict == "No change is told from chance yet."
    assert "the balance point scatters by 1.3 points" in " ".join(points.paragraphs)
