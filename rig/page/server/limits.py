"""How often somebody may ask, and the code that lets them in."""

import secrets
import threading
import time


class RateLimit:
    """So many within so many seconds, for each who asks and for all together."""

    def __init__(self, each: int, everybody: int, seconds: float) -> None:
        self._each, self._all, self._seconds = each, everybody, seconds
        self._times: dict[str, list[float]] = {}
        self._lock = threading.Lock()

    def allows(self, who: str, now: float | None = None) -> bool:
        """Whether `who` may once more; counts it when so."""
        at = time.monotonic() if now is None else now
        with self._lock:
            kept = {name: [t for t in times if at - t < self._seconds] for name, times in self._times.items()}
            self._times = {name: times for name, times in kept.items() if times}
            if len(self._times.get(who, [])) >= self._each or sum(map(len, self._times.values())) >= self._all:
                return False
            self._times.setdefault(who, []).append(at)
            return True


def new_code() -> str:
    """Six digits that the teacher's screen shows."""
    return f"{secrets.randbelow(1_000_000):06d}"
