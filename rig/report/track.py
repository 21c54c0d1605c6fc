"""What a measured clip shows: overlay, residuals, the pivot against rotation, and the quality of the track in words."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.plane import place
from analysis.figures.car import FORECAST, MEASURED, QUIET
from analysis.measured.pushes import MeasuredPush
from analysis.statistics.quantiles import NORMAL_95
from rig.base.files import whole_file, write_text
from rig.base.progress import Progress
from rig.cards.measures import wheelbase
from rig.cards.read import CardSet
from rig.jobs.measuring.measure import Measurement
from rig.jobs.pushing.overlay import overlay_scene
from rig.report.words.plots import save_figure
from rig.report.words.rounding import plus_minus
from rig.report.words.sentences import noted, pivot_words, turn_words
from vision.clip.overlay import overlay_clip, overlay_still

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def track_words(measurement: Measurement) -> str:
    """Every push in words, then how well the clip could be followed and what to change next time."""
    lines = []
    for push in measurement.pushes:
        lines.append(f"push {push.number}: {pivot_words(push.estimate)}   {turn_words(push.estimate)}")
        lines.append(
            f"  turned {abs(np.degrees(push.turn)):.2f} degrees over {abs(push.travel) * 1e3:.1f} mm, "
            f"at most {plus_minus(*_peak(push), 'mm/s', finest=1)}"
        )
        if push.path is not None:
            lines.append(f"  {_path_words(push)}")
        lines += noted(push.warnings)
    return "\n".join([*lines, *measurement.track.notes, *noted(measurement.track.warnings)])


def _peak(push: MeasuredPush) -> tuple[float, tuple[float, float]]:
    """The highest speed, mm/s, and its 95 % interval."""
    peak, half = 1e3 * push.peak_speed, 1e3 * NORMAL_95 * push.peak_speed_u
    return peak, (peak - half, peak + half)


def _path_words(push: MeasuredPush) -> str:
    path = push.path
    assert path is not None
    if path.wanders:
        return f"its pivot wandered by {path.wander * 1e3:.1f} mm along the car while it turned"
    return f"one fixed pivot fits the whole slide, poses within {path.rms * 1e3:.2f} mm of it"


def write_track_report(
    measurement: Measurement,
    cards: CardSet,
    folder: Path,
    stem: str,
    *,
    whole_picture: bool = False,
    progress: Progress | None = None,
) -> list[Path]:
    """Write the pictures of a measured clip; those of a push carry its number. Returns what was written.

    Of every push: an overlay still of the moment it came to rest.  Of the clip: the overlay clip (with the first
    push's pivot), a residual plot, the pivot against rotation where a push turned enough, and the words.
    Raises the rooms' errors when the clip cannot be read again or the folder refuses.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for push in measurement.pushes:
        counted = push.number <= len(measurement.pushes)  # numbers that a springback had are left out
        title = f"{cards.test.name}, push {push.number}" + (f" of {len(measurement.pushes)}" if counted else "")
        scene = overlay_scene(measurement, push, cards, title)
        if push is measurement.pushes[0]:
            written.append(folder / f"{stem}.webm")
            with whole_file(written[-1]) as part:
                overlay_clip(measurement.clip, part, scene, whole_picture=whole_picture, progress=progress)
        written.append(folder / f"{stem}-push-{push.number}.png")
        with whole_file(written[-1]) as part:
            overlay_still(measurement.clip, part, scene, at=push.end_time, whole_picture=whole_picture)
    length = wheelbase(cards.car)
    written.append(save_figure(residual_figure(measurement, length), folder / f"{stem}-residuals.png", dpi=140))
    if any(push.path is not None for push in measurement.pushes):
        written.append(save_figure(path_figure(measurement, length), folder / f"{stem}-pivot-path.png", dpi=140))
    written.append(folder / f"{stem}-track.txt")
    write_text(written[-1], track_words(measurement) + "\n")
    return written


def rest_residual(measurement: Measurement, push: MeasuredPush, length: float) -> tuple[FloatArray, FloatArray]:
    """Times (n,) s and residuals (n, 3) of the rest poses about a push: mm, mm at the wheelbase's middle, and 0.01°.

    Before the push against its start pose, after it against its end pose, at most a second of each and nothing of
    the pushes next to it.
    """
    time, pose = measurement.track.time, measurement.track.pose
    earlier = max((p.end_time for p in measurement.pushes if p.number < push.number), default=-np.inf)
    later = min((p.start_time for p in measurement.pushes if p.number > push.number), default=np.inf)
    before = (time <= push.start_time + 1e-9) & (time >= max(push.start_time - 1.0, earlier))
    after = (time >= push.end_time - 1e-9) & (time <= min(push.end_time + 1.0, later))
    middle = np.array([length / 2, 0.0])
    parts = []
    for chosen, rest in ((before, push.start_pose), (after, push.end_pose)):
        away = place(pose[chosen], middle) - place(rest, middle)
        parts.append(np.column_stack([away * 1e3, np.degrees(pose[chosen, 2] - rest[2]) * 100]))
    return np.concatenate([time[before], time[after]]), np.concatenate(parts)


def pole_residual(measurement: Measurement, push: MeasuredPush) -> tuple[FloatArray, FloatArray]:
    """Times (n,) s and how far (n, 2), mm, the measured pivot strays from its floor place while the car slides."""
    track = measurement.track
    if push.pole is None:
        return np.zeros(0), np.zeros((0, 2))
    chosen = (track.time >= push.start_time) & (track.time <= push.end_time)
    home = 0.5 * (place(push.start_pose, push.pole) + place(push.end_pose, push.pole))
    stray: FloatArray = (place(track.pose[chosen], push.pole) - home) * 1e3
    return track.time[chosen], stray


def residual_figure(measurement: Measurement, length: float) -> "Figure":
    """Upper: poses at rest against their mean. Lower: the measured pivot's stray on the floor during each slide."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 6.0), layout="constrained")
    upper, lower = figure.subplots(2, 1)
    for push in measurement.pushes:
        first = push is measurement.pushes[0]
        time, rest = rest_residual(measurement, push, length)
        for column, (color, shape, label) in enumerate(
            ((MEASURED, "o", "x, mm"), (FORECAST, "^", "y, mm"), (QUIET, "x", "turn, 0.01°"))
        ):
            upper.plot(time, rest[:, column], shape, color=color, markersize=3.5, label=label if first else None)
        time, stray = pole_residual(measurement, push)
        for column, (color, line, label) in enumerate(((MEASURED, "-", "x, mm"), (FORECAST, "--", "y, mm"))):
            lower.plot(time, stray[:, column], line, color=color, linewidth=1.4, label=label if first else None)
        for axes in (upper, lower):
            axes.axvspan(push.start_time, push.end_time, color=QUIET, alpha=0.10, linewidth=0)
            _numbered(axes, 0.5 * (push.start_time + push.end_time), push.number)
    upper.set_title("Car at rest: single pictures against their mean", loc="left")
    lower.set_title("Car sliding: how far the measured pivot strays from one floor place", loc="left")
    lower.set_xlabel("time, s")
    for axes in (upper, lower):
        axes.grid(alpha=0.2)
        axes.legend(loc="upper right", fontsize=9, frameon=False, ncol=3)
    return figure


def _numbered(axes: "Axes", x: float, number: int) -> None:
    axes.annotate(
        f"push {number}", (x, 0.02), xycoords=axes.get_xaxis_transform(), ha="center", va="bottom", fontsize=9
    )


def path_figure(measurement: Measurement, length: float) -> "Figure":
    """Pivot station against rotation for every push that turned enough: line with 95 % band, and the swing pivot."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 4.8), layout="constrained")
    axes = figure.add_subplot()
    colors = (MEASURED, FORECAST, "#009E73", "#CC79A7", QUIET)
    for index, push in enumerate(measurement.pushes):
        path, color = push.path, colors[index % len(colors)]
        if path is None:
            continue
        turn = np.degrees(np.abs(path.turn))
        station = 100 * path.pivot[:, 0] / length
        half = 196 * np.sqrt(path.pivot_covariance[:, 0, 0]) / length
        label = f"push {push.number}: " + ("wanders" if path.wanders else "one fixed pivot fits")
        axes.plot(turn, station, color=color, linewidth=2, label=label)
        axes.fill_between(turn, station - half, station + half, color=color, alpha=0.18, linewidth=0)
        if push.estimate.station_pct is not None and push.estimate.interval_pct is not None:
            low, high = push.estimate.interval_pct
            axes.errorbar(
                [turn[-1] * 1.03],
                [push.estimate.station_pct],
                yerr=[[push.estimate.station_pct - low], [high - push.estimate.station_pct]],
                fmt="s",
                color=color,
                capsize=4,
                label=f"push {push.number}: pivot of the whole swing",
            )
    axes.set_xlabel("turned since the start, degrees")
    axes.set_ylabel("pivot, % of the wheelbase ahead of the rear axle")
    axes.set_title("Pivot against rotation (band: 95 % from the scatter of the poses)", loc="left")
    axes.grid(alpha=0.2)
    axes.legend(fontsize=9, frameon=False)
    return figure
