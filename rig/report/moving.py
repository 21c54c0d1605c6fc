"""The moving car in words, tables and pictures."""

from collections.abc import Sequence

import numpy as np

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.pivot import DEG_PER_CM
from analysis.base.wheel_names import WHEEL_KEYS, WHEELS
from analysis.figures.moving import path_figure, region_figure
from analysis.moving.phases import LACKS
from rig.jobs.moving.moving import RISE, STEP_G, MovingAnswers
from rig.report.html import Part, Table, report_html
from rig.report.words.tables import table_text

FILM = (
    "To see it on the floor, film a steady circle over the floor sheets and run: "
    "pivotbench moving drive TEST.toml --clip CLIP"
)


def phase_rows(answers: MovingAnswers) -> list[list[str]]:
    """One row of text per phase: name, accelerations, loads in grams, balance point, lifted wheels, behaviour."""
    length, rows = float(answers.car.chassis.wheelbase), []
    for i, phase in enumerate(answers.phases):
        head = [phase.name, f"{phase.ax / STANDARD_GRAVITY:+.2f}", f"{phase.ay / STANDARD_GRAVITY:+.2f}"]
        if answers.table.rolls_over[i]:
            rows.append([*head, "-", "-", "-", "-", "-", "-", "rolls over"])
            continue
        loads = [f"{1e3 * v / STANDARD_GRAVITY:.0f}" for v in answers.table.load[i]]
        station = f"{100 * answers.table.centre[i, 0] / length:.1f} ± {100 * answers.balance_half[i] / length:.1f}"
        up = " ".join(WHEEL_KEYS[k] for k in np.flatnonzero(answers.table.lifted[i])) or "none"
        rows.append([*head, *loads, station, up, str(answers.table.balance.words[i])])
    return rows


HEADS = (
    "phase",
    "ahead, g",
    "left, g",
    "FL, g",
    "FR, g",
    "RL, g",
    "RR, g",
    "balance point, %",
    "in the air",
    "the car",
)


def moving_words(answers: MovingAnswers, against: MovingAnswers | None = None, *, width: int | None = None) -> str:
    """All cars for a terminal. width: its columns, None for any."""
    lines: list[str] = []
    for car in (answers, *([against] if against else [])):
        table = table_text(HEADS, phase_rows(car), width=None if width is None else width - 2)
        lines += [car.name, *(f"  {line}" for line in table.split("\n"))]
        lines += ["", *(f"  {text}" for text in facts(car)), ""]
    if against is not None:
        lines += [f"  {text}" for text in differences(answers, against)] + [""]
    lines += [
        "what would move the balance point most" + (f" in {answers.ranked_phase}" if answers.ranked_phase else "")
    ]
    lines += [f"  {effect.name:<45} {effect.balance_change:+.2f} points" for effect in answers.ranking[:6]]
    lines += ["", LACKS]
    return "\n".join(lines)


def facts(answers: MovingAnswers) -> list[str]:
    """Sentences about one car."""
    low, high = answers.region.station_pct(float(answers.car.chassis.wheelbase))
    modes = [
        f"{name} {answers.modes.frequency[k]:.1f} Hz at {answers.modes.damping[k]:.2f} of critical damping"
        for k, name in enumerate(answers.modes.name)
        if name in ("heave", "pitch", "roll")
    ]
    late = answers.arrival.arrive
    out = [
        f"within its grip the balance point reaches {low:.1f} to {high:.1f} % and "
        f"{1e3 * answers.region.side[1]:.0f} mm to either side ({1e4 * answers.region.area:.1f} cm²)",
        pivots(answers),
        answers.lift.text,
        "; ".join(modes),
    ]
    if np.all(np.isfinite(late)):
        out.append(
            f"side acceleration rises to {STEP_G:g} g within {1e3 * RISE:.0f} ms: 90 % of the load has arrived at "
            + ", ".join(f"{WHEEL_KEYS[k]} in {1e3 * late[k]:.0f} ms" for k in range(4))
            + f"; it overshoots by up to {100 * float(np.max(answers.arrival.overshoot)):.0f} %"
        )
    return [*out, *answers.warnings]


def pivots(answers: MovingAnswers) -> str:
    """How far driving moves the pivot that a blocked car would show when pushed with the loads of that moment."""
    seen = answers.pivots
    straight = ", through a straight slide" if seen.through_straight else ""
    return (
        f"pushed at 80 % with blocked wheels it would turn {DEG_PER_CM * seen.rest:+.2f} °/cm at rest, "
        f"{DEG_PER_CM * seen.lowest:+.2f} to {DEG_PER_CM * seen.highest:+.2f} with the loads that driving "
        f"can give{straight}"
    )


def differences(answers: MovingAnswers, against: MovingAnswers) -> list[str]:
    """What the other car does otherwise, phase by phase, in points of the wheelbase."""
    out = []
    for i, phase in enumerate(answers.phases):
        if answers.table.rolls_over[i] or against.table.rolls_over[i]:
            continue
        a, b = (100 * car.table.centre[i, 0] / float(car.car.chassis.wheelbase) for car in (answers, against))
        out.append(f"{phase.name}: balance point {b - a:+.2f} points in {against.name}")
    ratio = against.region.area / answers.region.area if answers.region.area > 0 else float("nan")
    if np.isfinite(ratio):
        out.append(f"the region of balance points is {100 * ratio:.0f} % as large in {against.name}")
    return out


def moving_html(answers: MovingAnswers, against: MovingAnswers | None, *, footer: str) -> str:
    """The report as one page."""
    cars: Sequence[MovingAnswers] = (answers, *([against] if against else []))
    contact = answers.car.chassis.contact_place
    names = [phase.name for phase in answers.phases]
    rule = answers.rule
    tables = [Table(caption=car.name, heads=HEADS, rows=phase_rows(car)) for car in cars]
    shares = Table(
        caption=rule.label,
        heads=("", *WHEELS),
        rows=[
            ["equal shares, %", *(f"{100 * v:.0f}" for v in rule.rule)],
            ["equilibrium, %", *(f"{100 * v:.0f}" for v in rule.model)],
        ],
    )
    change = Table(
        caption=f"Changes ranked by the balance point in {answers.ranked_phase}",
        heads=("change", "balance point, points of the wheelbase", "turn per travel of a push, 1/m"),
        rows=[
            [effect.name, f"{effect.balance_change:+.2f}", f"{effect.kappa_change:+.2f}"] for effect in answers.ranking
        ],
    )
    hardest = int(np.argmax([abs(phase.ay) for phase in answers.phases]))
    sentences = [f"{car.name}: {text}" for car in cars for text in facts(car)]
    sentences += differences(answers, against) if against else []
    parts = [
        Part(
            title="The drift, phase by phase",
            verdict=answers.table.sentence(hardest, float(answers.car.chassis.wheelbase)),
            paragraphs=sentences,
            tables=tables,
        ),
        Part(
            title="Loads and balance point through the drift",
            paragraphs=["Dampers included: load takes time to arrive."],
            figure=path_figure(names, [(car.name, car.path) for car in cars], contact),
            alt="Wheel loads against time and the way of the balance point",
        ),
        Part(
            title="Where the balance point can go",
            figure=region_figure(contact, [(car.name, car.region) for car in cars]),
            alt="Region of reachable balance points in the car seen from above",
        ),
        Part(title="Change one thing", tables=[change]),
        Part(
            title="The rule of equal shares",
            paragraphs=[
                "With the first wheel in the air, the rule beside the equilibrium of this car:",
                *rule.why,
            ],
            tables=[shares],
        ),
        Part(title="From the bench to the floor", paragraphs=[LACKS, FILM]),
    ]
    return report_html(f"{answers.name} on the move", parts, footer=footer)
