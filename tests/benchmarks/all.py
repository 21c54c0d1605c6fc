"""Run every benchmark of this folder and set each figure beside its baseline or limit, in one table.

    PYTHONPATH=. python tests/benchmarks/all.py [--quick] [--only NAME ...] [--limit-s S]

A script is run when it prints one JSON object as its last line; files without a `main` belong to others. Keys that
name a baseline stand beside the figure they belong to, with the ratio figure / baseline; where a figure is held to a
number (LIMITS), the last column says whether it holds. A script that fails or takes too long is told as such, and the
rest runs on. The last line is one JSON object: script -> its figures, seconds, or the reason why there are none.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
EXTRA = {"fuzz_parsers": ["--seconds", "30"], "mutation": ["--seconds", "3600"]}
"""Where a script's own length suits a night rather than one run of all."""

LIMITS: dict[str, tuple[float | None, float | None]] = {
    **{
        f"kills.{what}": (None, 0) for what in ("lost", "wrong", "not_sound", "half_taken_for_whole", "next_run_failed")
    },
    **{f"write_errors.{what}": (None, 0) for what in ("lost", "wrong", "not_sound", "badly_told", "not_writable")},
    **{f"log_damage.{what}": (None, 0) for what in ("lost", "wrong", "not_sound", "half", "next_run_failed")},
    **{f"log_damage.bits.{what}": (None, 0) for what in ("silent", "check_missed", "not_repaired")},
    "log_damage.commands.silent": (None, 0),
    "stops.faults": (None, 0),
    "mixed_up.wrong_without_a_word": (None, 0),
    "mixed_up.refused_needlessly_pct": (None, 2.0),
    "mixed_up.needless_warnings_pct": (None, 5.0),
    "mixed_up.careless_wrong": (101, None),
    "mixed_up.not_played": (None, 0),
    "phone_clips.silent_wrong": (None, 0),
    "phone_clips.crashes": (None, 0),
    "phone_clips.broken": (None, 0),
    "phone_clips.needless_refusals_pct": (None, 3.0),
    "phone_clips.wrong_reasons_pct": (None, 5.0),
    "phone_clips.needless_warnings_pct": (None, 5.0),
    "phone_clips.kinds": (60, None),
    "lens_draws.inside_95_pct": (93.0, 97.0),
    "strange_numbers.taken_without_a_word": (None, 2.0),
    "strange_numbers.good_cards_refused": (None, 0),
    **{f"push_force.{what}": (0.93, 0.97) for what in ("own_level", "mean_level")},
    "strangers.wrong_weight": (None, 0),
    "strangers.recognised": (32, None),
    "strangers.wrong_reason": (None, 2),
    "strangers.seconds_to_word_median": (None, 1.5),
    "strangers.kinds": (40, None),
    "fuzz_parsers.findings": (None, 0),
    "install.failed_steps": (None, 0),
    "soak.errors": (None, 0),
    "soak.not_sound": (None, 0),
    "soak.open_files_growth": (None, 0),
    "soak.threads_growth": (None, 0),
    "pad_stream_day.overflowed": (None, 0),
    "mutation.score": (0.80, None),
    "covered.lines": (0.95, None),
    "covered.branches": (0.95, None),
    "pivot_accuracy.p95_error_pct_8deg": (None, 0.1),
    "pivot_accuracy.p95_error_pct_2p5deg": (None, 3.0),
    "pivot_accuracy.p95_error_pct_8deg_simulated": (None, 0.1),
    "pivot_accuracy.p95_error_pct_2p5deg_simulated": (None, 3.0),
    "pivot_accuracy.coverage_simulated": (0.93, 0.97),
    "pivot_accuracy.coverage_rendered": (57 / 60, None),
    "pivot_accuracy.pose_mm": (None, 0.05),
    "pivot_accuracy.pose_deg": (None, 0.02),
    "pivot_accuracy.straight_given_pivot_pct": (None, 1.0),
    "pivot_accuracy.straight_bound_wheelbases": (100, None),
    "pivot_accuracy.turned_called_straight": (None, 0),
    "pivot_accuracy.wander_error_pct": (None, 2.0),
    "pivot_statistics.coverage": (0.93, 0.97),
    **{f"change.{what}": (0.93, 0.97) for what in ("coverage", "balance_coverage")},
    "change.wrong_direction_pct": (None, 1.0),
    "change.false_change_pct": (None, 7.0),
    "change.told_10_single_pct": (70.0, None),
    "change.told_10_three_pct": (95.0, None),
    "change.told_5_three_pct": (55.0, None),
    "change.narrower_by": (0.0, None),
    "change.balance_error_points": (None, 0.3),
    "change.rolling_axle_right_pct": (97.5, None),
    "change.rolling_bounds_pct": (95.0, None),
    "change.sign_disagreements": (None, 0),
    "change.seen_wrong": (None, 0),
    "change.cannot_tell_pct": (None, 5.0),
    **{
        f"prediction_coverage.{what}": (0.93, 0.97)
        for what in ("factor_effect", "kappa", "balance", "rolling", "grip_ratio")
    },
    **{f"weighing_coverage.{what}": (0.93, 0.97) for what in ("corner", "cg_x", "cg_y", "cg_height", "cross_weight")},
    **{f"tilted_pads.{what}_inside": (0.93, 0.97) for what in ("share", "height", "pitch")},
    "moving_directions.direction_agrees": (0.95, None),
    "tilted_pads.share_p95_points": (None, 1.8),
    "tilted_pads.height_p95_mm": (None, 1.5),
    "tilted_pads.edge_p95_pct": (None, 0.5),
    "tilted_pads.same_pct_of_mean_p95": (None, 0.5),
    "tilted_pads.pressed_p95_points": (None, 0.3),
    **{
        f"weighing_coverage.{way}_{what}": (0.93, 0.97)
        for way in ("turned", "scales")
        for what in ("corner", "total", "cross")
    },
    "weighing_coverage.turned_wider_than_unturned": (None, 1.0),
    **{f"tracking.times_simple_{size}": (2.5, None) for size in ("720p", "1080p")},
    **{f"tracking.share_of_decode_{size}": (0.7, None) for size in ("720p", "1080p")},
    "tracking.share_two_cores": (0.9, None),
}
"""Figure -> (at least, at most), where the figure is held to numbers rather than to a baseline.

Those of pivot_accuracy and of the coverages hold for full runs; a quick run has too few cases to tell.
"""

LEFT_OUT = (
    "mixed_up.traps",
    "mixed_up.outcomes",
    "mixed_up.wrong_by_question",
    "strange_numbers.kinds",
    "strange_numbers.taken",
    "strange_numbers.not_contradicted",
    "mutation.modules",
    "covered.lowest",
    "install.steps",
    "soak.what_went_wrong",
)
"""Lists that the JSON has and the table need not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table."""

    script: str
    figure: str
    value: float
    against: str = ""
    other: float | None = None
    limit: tuple[float | None, float | None] | None = None

    @property
    def beside(self) -> tuple[str, str, str]:
        """What the figure is set against, that one's value, and the ratio; for a limit whether it is held."""
        if self.limit is not None:
            low, high = self.limit
            held = (low is None or self.value >= low) and (high is None or self.value <= high)
            name = "at least, at most" if None not in self.limit else ("at most" if low is None else "at least")
            value = ", ".join(f"{one:.5g}" for one in self.limit if one is not None)
            return name, value, "held" if held else "NOT HELD"
        if self.other is None:
            return self.against, "", ""
        return self.against, f"{self.other:.5g}", f"{self.value / self.other:.3g}" if self.other else "-"


def scripts() -> list[str]:
    """Names of the scripts that can be run by themselves, this one excepted."""
    return [
        path.stem
        for path in sorted(HERE.glob("*.py"))
        if path.stem != "all" and '__name__ == "__main__"' in path.read_text(encoding="utf-8")
    ]


def flat(value: Any, name: str = "") -> Iterator[tuple[str, float]]:
    """Numbers of a nested object with dotted names."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from flat(inner, f"{name}.{key}" if name else key)
    elif isinstance(value, list):
        for index, inner in enumerate(value, start=1):
            yield from flat(inner, f"{name}.{index}")
    elif isinstance(value, int | float):
        yield name, float(value)


def _bare(name: str) -> str:
    """A figure's name without what marks it as a baseline's: both have the same one."""
    return re.sub(r"(^|[._])(baseline|blind)[A-Za-z]*(?=[._]|$)", "", name).strip("._")


def rows_of(script: str, told: dict[str, Any]) -> list[Row]:
    """Figures of one script, each beside the baseline that belongs to it or its limit."""
    figures = dict(flat(told))
    baseline = {
        name
        for name in figures
        if re.search(r"(^|[._])(baseline|blind|simple|generic)", name) and f"{script}.{name}" not in LIMITS
    }
    paired: dict[str, str] = {}
    ours = [name for name in figures if name not in baseline and not f"{script}.{name}".startswith(LEFT_OUT)]
    for name in baseline:
        bare = _bare(name)
        # the same name, or the same but for a word in between (baseline_plain_file.lost belongs to lost)
        fitting = [one for one in ours if one == bare] or [one for one in ours if bare.endswith(("." + one, "_" + one))]
        if len(fitting) == 1:
            paired.setdefault(fitting[0], name)
    rows = []
    for name in ours:
        if (limit := LIMITS.get(f"{script}.{name}")) is not None:
            rows.append(Row(script=script, figure=name, value=figures[name], limit=limit))
        elif name in paired:
            rows.append(
                Row(script=script, figure=name, value=figures[name], against=paired[name], other=figures[paired[name]])
            )
        else:
            rows.append(Row(script=script, figure=name, value=figures[name]))
    rows += [Row(script=script, figure=name, value=figures[name]) for name in sorted(baseline - set(paired.values()))]
    return rows


def run_one(script: str, *, quick: bool, limit_s: float) -> dict[str, Any]:
    """Run one script; its JSON, or {"failed": why}. `seconds` in both."""
    root = HERE.parents[1]
    command = [sys.executable, str(HERE / f"{script}.py"), *(["--quick"] if quick else EXTRA.get(script, []))]
    start = time.monotonic()
    try:
        path = os.pathsep.join(filter(None, (str(root), os.environ.get("PYTHONPATH"))))
        done = subprocess.run(
            command,
            cwd=root,
            env=os.environ | {"PYTHONPATH": path},
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            timeout=limit_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return {"failed": f"took over {limit_s:.0f} s", "seconds": round(limit_s, 1)}
    seconds = round(time.monotonic() - start, 1)
    last = (done.stdout.strip().splitlines() or [""])[-1]
    try:
        told = json.loads(last)
    except ValueError:
        told = None
    if done.returncode != 0 or not isinstance(told, dict):
        words = (done.stderr.strip().splitlines() or ["no words"])[-1]
        return {"failed": f"code {done.returncode}: {words[:200]}", "seconds": seconds}
    return told | {"seconds": seconds}


def table(rows: list[Row]) -> str:
    """The rows in columns."""
    heads = ("script", "figure", "value", "baseline or limit", "its value", "ratio")
    cells = [(row.script, row.figure, f"{row.value:.5g}", *row.beside) for row in rows]
    widths = [max(len(line[column]) for line in [heads, *cells]) for column in range(len(heads))]
    lines = [
        "  ".join(word.ljust(width) for word, width in zip(line, widths, strict=True)).rstrip()
        for line in [heads, tuple("-" * width for width in widths), *cells]
    ]
    return "\n".join(lines)


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="given on to every script")
    parser.add_argument("--only", nargs="+", choices=scripts(), default=scripts())
    parser.add_argument("--limit-s", type=float, default=3600.0, help="longest time of one script")
    given = parser.parse_args()
    told: dict[str, dict[str, Any]] = {}
    rows: list[Row] = []
    try:
        for script in given.only:
            print(f"{script} …", end=" ", file=sys.stderr, flush=True)
            told[script] = run_one(script, quick=given.quick, limit_s=given.limit_s)
            seconds = f"{told[script]['seconds']} s"
            print(told[script].get("failed", told[script].get("skipped", seconds)), file=sys.stderr)
            rows += rows_of(script, told[script])
    except KeyboardInterrupt:
        print("stopped: what has been measured follows", file=sys.stderr)
    print(table(rows))
    for script, figures in told.items():
        for word in ("failed", "skipped"):
            if word in figures:
                print(f"{script}: {word}: {figures[word]}")
    print(json.dumps(told))


if __name__ == "__main__":
    main()
