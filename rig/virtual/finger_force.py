"""The virtual finger's load cell: what it would have sent during a virtual push, as a recording beside the clip.

Written by the virtual board itself, so that it is read as any other.  Unlike a real cell it does not feel a force
across it, does not creep, and its zero stays.
"""

from pathlib import Path

import numpy as np

from rig.cards.keys.bench import ForceCell
from rig.pads.traffic import TrafficKind, TrafficRecorder
from rig.virtual.pads_board import VirtualBoard
from rig.virtual.pads_cells import CellState, PadCells
from rig.virtual.push_truth import PushTruth

BOARD, RATE = "virtual5", 80
COUNTS_PER_N, COUNTS_PER_N_U = 43_796.0, 130.0
"""A 5 kg cell of 1 mV/V at gain 128, known as well as two check masses tell it."""
ZERO_COUNTS = 61_250.0
NOISE_N, DRIFT_N = 0.02, 0.03
"""Of a reading (a hand is never still), and of its zero since it was calibrated."""
BEFORE_S, AFTER_S = 1.3, 1.6
"""s that are recorded before the clip begins and after it ends."""


def finger_keys() -> dict[str, float | str]:
    """What the bench card says of the virtual finger's cell."""
    return {
        "force.counts_per_n": COUNTS_PER_N,
        "force.counts_per_n_u": COUNTS_PER_N_U,
        "force.zero_counts": ZERO_COUNTS,
        "force.board": BOARD,
    }


def record_virtual_force(path: Path, cell: ForceCell, moved: PushTruth, rng: np.random.Generator) -> None:
    """Write the recording of one virtual push. cell: as the card has it; the true one differs within its doubt."""
    way = moved.finger - moved.finger[0]
    far = way[np.argmax(np.linalg.norm(way, axis=1))]
    along = moved.force @ (far / np.linalg.norm(far))
    per_n = cell.counts_per_n + cell.counts_per_n_u * rng.standard_normal()
    zero = (cell.zero_counts or 0.0) + DRIFT_N * per_n * rng.standard_normal()
    begin, noise = BEFORE_S + rng.uniform(0.0, 0.4), np.random.default_rng(rng.integers(1 << 31))

    def counts(board_time: float) -> float:
        force = float(np.interp(board_time - begin, moved.time, along, left=0.0, right=0.0))
        return zero + per_n * (force + NOISE_N * noise.standard_normal())

    board = VirtualBoard(
        CellState(PadCells.ideal(), np.random.default_rng(0)), name=cell.board or BOARD, start_rate=RATE, force=counts
    )
    path.unlink(missing_ok=True)
    with TrafficRecorder(path, port="virtual finger", now=0.0) as recorder:
        recorder.tap(b"opened virtual finger", 0.0, TrafficKind.REMARK)
        board.hear(b"?\nforce on\n")
        for step in range(int((begin + float(moved.time[-1]) + AFTER_S) / 0.05)):
            recorder.tap(board.advance(0.05), 0.05 * (step + 1))
