"""Calibrate the load cell on the pushing finger against known masses: what a newton is in its counts."""

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from analysis.pads.calibration import CalibrationNotes, fit_calibration
from analysis.statistics.quantiles import MAD_TO_SIGMA, NORMAL_95, coverage_factor
from rig.base.errors import BenchError, InputError
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.fields import CardKeys
from rig.cards.mechanics import place_gravity
from rig.jobs.weighing.calibrate import CheckMasses
from rig.jobs.weighing.pads import LONGEST_CATCH_UP_S, Ask
from rig.log.store import BenchLog
from rig.pads.force import ForceFrame
from rig.pads.force_file import ask_for_force
from rig.pads.port import BAUD
from rig.pads.reader import PadReader
from rig.pads.steps import Step
from rig.records.force import FINGER_CELL, FingerCellInputs, FingerCellResult
from rig.records.record import Record

WHERE = "load cell of the finger"
LOOKED_AT_S, FEWEST_STILL = 1.2, 8
"""s of readings, and at least so many, that are one reading when they lie still."""
STILL = 4.0
"""Standard deviations of its two halves' difference: beyond it moves."""
LIES_STILL_S = 30.0
LIGHT_G, HEAVY_G = 50.0, 20_000.0
"""A push of a scale car takes the force of 0.2 to 3 kg."""
SURE_AT_BEST = 0.002
"""Relative: how well a cell keeps its counts per newton, with creep and warmth (common practice, no source)."""
OFF_LINE = 0.03
"""Of the heaviest: a reading farther from the line belongs to a wrong mass or a finger that rubbed."""
FULL = (1 << 23) - 1

FingerRecord = Record[FingerCellInputs, FingerCellResult]


@dataclass(slots=True)
class FingerCell:
    """The readings of the finger's cell as they come in. Give `hear` to a reader's on_force."""

    check: Callable[[], None] = lambda: None
    _recent: deque[ForceFrame] = field(default_factory=lambda: deque(maxlen=400))

    def hear(self, frames: list[ForceFrame]) -> None:
        """Frames, in the reading thread."""
        self._recent.extend(frames)

    def settle(self, *, patience: float = LIES_STILL_S) -> float:
        """Wait until the cell lies still; its counts. Raises BenchError with the reason when it does not."""
        self._recent.clear()
        end = time.monotonic() + patience
        why = "no force line came"
        while time.monotonic() < end:
            self.check()
            time.sleep(0.02)
            frames = list(self._recent)
            if not frames:
                continue
            if frames[-1].saturated or abs(frames[-1].count) >= FULL:
                raise BenchError(
                    "its converter stands at a stop",
                    where=WHERE,
                    remedy="Take the load off: it is too much for this cell, or a wire of the cell is loose",
                )
            used = [one for one in frames if one.usable and one.device_time > frames[-1].device_time - LOOKED_AT_S]
            why = "its readings are flagged missing: the cell's converter does not answer"
            if len(used) < FEWEST_STILL or used[-1].device_time - used[0].device_time < 0.8 * LOOKED_AT_S:
                continue
            counts = np.array([one.count for one in used])
            halves = [counts[: len(counts) // 2], counts[len(counts) // 2 :]]
            noise = max(float(np.median(np.abs(np.diff(counts)))) * MAD_TO_SIGMA / np.sqrt(2.0), 1.0)
            if (
                abs(halves[1].mean() - halves[0].mean()) <= STILL * noise * np.sqrt(4.0 / len(counts))
                and float(np.ptp(counts)) < 12.0 * noise + 1.0
            ):
                return float(counts.mean())
            why = "it does not lie still"
        raise BenchError(
            f"{why} within {patience:.0f} s",
            where=WHERE,
            remedy="Clamp the cell, keep hands and draughts away, and let the mass hang or lie still",
        )


def finger_port(bench: BenchCard, port: str = "") -> str:
    """Where the board with the finger's cell is. Raises InputError when no port is named, or the pads are no such."""
    named = port or (bench.force.port if bench.force is not None else "")
    if not named and bench.pads.line_pattern:
        raise InputError(
            "these pads do not speak the protocol that has a channel for the finger",
            where="bench card, pads.line_pattern",
            remedy="Name the port of the board with the finger's cell with --port, and as port under [force]",
        )
    url = named or (bench.pads.ports[0] if bench.pads.ports else bench.pads.port)
    if not url or url == "virtual":
        raise InputError(
            "no port is named",
            where="bench card, pads.port",
            remedy='Find the name with: pivotbench pads list, and write it as port = "..."',
        )
    return url


def calibrate_finger(
    bench: BenchCard,
    log: BenchLog,
    checks: CheckMasses,
    *,
    ask: Ask,
    hung: bool = False,
    port: str = "",
    cards: tuple[str, ...] = (),
) -> FingerRecord:
    """Calibrate the cell with its axis upright: masses laid on the tip, or hung from it, up and down in steps.

    hung: they pull the tip, which a push does not: their sign is turned round.
    Raises InputError for masses that cannot be meant or readings that are no line, BenchError when the cell fails.
    """
    masses = sorted(set(checks.masses_g))
    if not masses or not LIGHT_G <= masses[-1] <= HEAVY_G:
        raise InputError(
            f"these masses ({', '.join(f'{m:g}' for m in checks.masses_g)} g) do not calibrate a finger",
            where="masses",
            remedy=f"Give grams, the heaviest from {LIGHT_G:g} g up; best as much as a push takes: half to all "
            "of the car's mass",
        )
    ladder = [0.0, *masses]
    run = [m for _ in range(checks.cycles) for m in (*ladder, *reversed(ladder[:-1]))]
    put, off = (
        ("Hang {:g} g from the tip", "Take everything off the tip")
        if hung
        else (
            "Lay {:g} g on the tip",
            "Take everything off the tip",
        )
    )
    cell = FingerCell()
    counts = []
    url = finger_port(bench, port)
    with PadReader(url, baud=bench.pads.baud if not bench.pads.line_pattern else BAUD, on_force=cell.hear) as reader:
        board = ask_for_force(reader).board
        for index, mass in enumerate(run):
            what = put.format(mass) if mass else off
            text = f"Step {index + 1} of {len(run)}: {what}, cell upright, and let go"
            ask(Step(text=text, action="mass", mass_g=mass))
            reader.catch_up(LONGEST_CATCH_UP_S)  # nothing that was measured before the mass was there
            counts.append(cell.settle())
    gravity = place_gravity(bench)
    result = fitted_finger(run, counts, checks.mass_u_g, hung=hung, gravity=gravity)
    return log.record(
        FINGER_CELL,
        bench.name,
        inputs=FingerCellInputs(
            mass_g=tuple(run),
            counts=tuple(counts),
            mass_u_g=checks.mass_u_g,
            hung=hung,
            gravity_m_s2=gravity,
            boards=(board,),
        ),
        result=result,
        cards=cards,
    )


def fitted_finger(
    mass_g: list[float] | tuple[float, ...],
    counts: list[float] | tuple[float, ...],
    mass_u_g: float,
    *,
    hung: bool,
    gravity: float,
) -> FingerCellResult:
    """The straight line through a run. gravity: m/s².  Raises InputError for counts that make none."""
    mass = np.array(mass_g)
    fit = fit_calibration(
        mass,
        np.array(counts),
        model="linear",
        mass_u_g=np.where(mass > 0, mass_u_g, 0.0),
        notes=CalibrationNotes(pad=WHERE, gravity=gravity),
    )
    zero, per_gram = fit.coefficients
    newton = gravity / 1000.0  # of a gram
    heaviest = float(mass.max())
    off = float(np.max(np.abs(np.array(counts) - zero - per_gram * mass))) / abs(per_gram)
    if off > OFF_LINE * heaviest:
        raise InputError(
            f"one reading lies {off:.0f} g off the line through the others",
            where=WHERE,
            remedy="Calibrate again: each mass free, touching nothing else, and its grams as they were asked for",
        )
    scatter = coverage_factor(dof=fit.dof) / NORMAL_95 * fit.covariance[1][1] ** 0.5
    relative = float(
        np.sqrt((scatter / per_gram) ** 2 + (fit.mass_shift[1] / per_gram) ** 2 + SURE_AT_BEST**2)
        + (0.0 if len(set(mass_g)) > 2 else 0.5 * SURE_AT_BEST)
    )
    per_n = per_gram / newton * (-1.0 if hung else 1.0)
    return FingerCellResult(
        counts_per_n=per_n,
        counts_per_n_u=abs(per_n) * relative,
        zero_counts=zero,
        off_line_n=off * newton,
        heaviest_n=heaviest * newton,
    )


def cell_keys(record: FingerRecord, bench: BenchCard, *, port: str = "") -> CardKeys:
    """Keys for the bench card. port: as asked, kept beside pads of another make, which have none for the finger."""
    found, boards = record.result, record.inputs.boards
    keys: CardKeys = {
        "force.counts_per_n": float(f"{found.counts_per_n:.7g}"),
        "force.counts_per_n_u": float(f"{found.counts_per_n_u:.3g}"),
        "force.zero_counts": float(f"{found.zero_counts:.0f}"),
        "force.board": boards[0] if boards else "",
    }
    return keys | ({"force.port": port} if port and bench.pads.line_pattern else {})
