"""How virtual pads turn load into counts: gain, offset, bow, noise, drift, settling and creep of four cells.

Simpler than real cells: no temperature, hysteresis only as creep, noise white from line to line.
"""

from dataclasses import dataclass, field

import numpy as np

from analysis.base.arrays import FloatArray

COUNTS_PER_GRAM = 429.4967296  # 5 kg cell of 1 mV/V, gain 128, 24 bits: S·gain·2^24 / 5000 g, supply cancels
NOISE_G = {10: 0.05, 80: 0.09}  # 50 and 90 nV rms (HX711 data sheet, from memory) of 5 mV full scale
TOP, BOTTOM = (1 << 23) - 1, -(1 << 23)


@dataclass(frozen=True, slots=True, kw_only=True)
class PadCells:
    """What four cells are like; every array (4,) in channel order.

    gain: counts/g.  offset: counts when empty.
    bow: departure from a straight line at half capacity, as a share of `capacity_g`.
    noise_g: g rms at 10 lines per second; times 1.8 at 80.
    drift_g_per_hour: steady zero drift.  wander_g: g rms of a random walk of the zero after one hour.
    settle: s, time constant after a change of load.
    creep: share of the load that follows slowly, with time constant `creep_time` s.
    """

    gain: FloatArray
    offset: FloatArray
    bow: FloatArray
    noise_g: FloatArray
    drift_g_per_hour: FloatArray
    wander_g: FloatArray
    capacity_g: float = 5000.0
    settle: float = 0.15
    creep: float = 2e-4
    creep_time: float = 600.0

    @classmethod
    def ideal(cls, *, gain: float = COUNTS_PER_GRAM) -> "PadCells":
        """Straight, quiet, at once: counts are gain times load, to the nearest count."""
        none = np.zeros(4)
        return cls(
            gain=np.full(4, gain),
            offset=none,
            bow=none,
            noise_g=none,
            drift_g_per_hour=none,
            wander_g=none,
            settle=0.0,
            creep=0.0,
        )

    @classmethod
    def cheap(cls, rng: np.random.Generator) -> "PadCells":
        """Four pads as a workshop buys them: spreads are common practice, no source."""
        return cls(
            gain=COUNTS_PER_GRAM * (1.0 + rng.normal(0.0, 0.02, 4)),
            offset=rng.uniform(-2e5, 2e5, 4).round(),
            bow=rng.normal(0.0, 2e-4, 4),
            noise_g=NOISE_G[10] * rng.uniform(0.8, 1.5, 4),
            drift_g_per_hour=rng.normal(0.0, 0.3, 4),
            wander_g=np.full(4, 0.15),
        )

    def settled_counts(self, load_g: FloatArray) -> FloatArray:
        """Counts without noise, drift or creep, not rounded. load_g: (..., 4), g. Returns (..., 4)."""
        share = load_g / self.capacity_g
        counts: FloatArray = self.offset + self.gain * (
            load_g + 4.0 * self.bow * self.capacity_g * share * (1.0 - share)
        )
        return counts


@dataclass(slots=True)
class CellState:
    """Four cells as they stand now. load_g: (4,) g put on them; what they feel follows."""

    cells: PadCells
    rng: np.random.Generator
    load_g: FloatArray = field(default_factory=lambda: np.zeros(4))
    _felt_g: FloatArray = field(default_factory=lambda: np.zeros(4))
    _crept_g: FloatArray = field(default_factory=lambda: np.zeros(4))
    _zero_g: FloatArray = field(default_factory=lambda: np.zeros(4))

    def settle_at_once(self) -> None:
        """Skip the settling after a change of load (not the creep)."""
        self._felt_g = self.load_g.copy()

    def sample(self, dt: float, rate: int) -> tuple[int, int, int, int]:
        """Let `dt` s pass and convert once. rate: 10 or 80 per second. Stops at 24 bits."""
        cells = self.cells
        self._felt_g = self.load_g + (self._felt_g - self.load_g) * _decay(dt, cells.settle)
        slow = cells.creep * self._felt_g
        self._crept_g = slow + (self._crept_g - slow) * _decay(dt, cells.creep_time)
        hours = dt / 3600.0
        step = self.rng.standard_normal((2, 4))
        self._zero_g = self._zero_g + cells.drift_g_per_hour * hours + cells.wander_g * step[0] * hours**0.5
        noise_g = cells.noise_g * (NOISE_G[rate] / NOISE_G[10]) * step[1]
        counts = cells.settled_counts(self._felt_g + self._crept_g) + cells.gain * (self._zero_g + noise_g)
        c1, c2, c3, c4 = np.clip(np.rint(counts), BOTTOM, TOP).astype(int).tolist()
        return c1, c2, c3, c4


def _decay(dt: float, constant: float) -> float:
    return float(np.exp(-dt / constant)) if constant > 0.0 else 0.0
