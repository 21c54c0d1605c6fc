"""Two clocks beside each other: the wall's, which people set, and the machine's own, which nobody does."""

import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path

JUMP_S = 60.0
"""The wall clock may run so much apart from the machine's own before it is said to have been set."""
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """wall: s since 1970, as the clock stood.  steady: s since the machine started, sleep included; boot: which start.

    boot is "" where the system does not say: then `steady` cannot be compared with that of another moment.
    """

    wall: float
    steady: float
    boot: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Elapsed:
    """From one moment to a later one. seconds: None when no clock tells.  jump: s that the wall clock was set forward
    (backward negative) meanwhile; 0 when it was not, None when it was set back by an unknown amount."""

    seconds: float | None
    jump: float | None


def moment_now() -> Moment:
    """Now, by both clocks."""
    if boot := _boot():
        return Moment(wall=time.time(), steady=time.clock_gettime(time.CLOCK_BOOTTIME), boot=boot)
    return Moment(wall=time.time(), steady=time.monotonic(), boot="")


def elapsed(before: Moment, after: Moment) -> Elapsed:
    """How long it was, where `after` is known to be the later one."""
    wall = after.wall - before.wall
    if before.boot and before.boot == after.boot:
        steady = max(after.steady - before.steady, 0.0)
        jump = wall - steady
        return Elapsed(seconds=steady, jump=jump if abs(jump) > JUMP_S else 0.0)
    if wall < -JUMP_S:
        return Elapsed(seconds=None, jump=None)
    return Elapsed(seconds=max(wall, 0.0), jump=0.0)


@cache
def _boot() -> str:
    try:
        return _BOOT_ID.read_text(encoding="ascii").strip() if hasattr(time, "CLOCK_BOOTTIME") else ""
    except OSError:
        return ""
