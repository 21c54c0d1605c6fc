"""Stop the whole job at random moments, with Ctrl-C and with kill -9: weighing, filming, tracking, forecasting.

    PYTHONPATH=. python tests/benchmarks/stops.py [--quick] [--stops N]

`demo` runs on the virtual bench and is stopped at moments spread over its whole length, half with SIGINT to the whole
group (as a terminal sends it), half with SIGKILL. Afterwards the log must open, pass its check, and every record in
it must come out the same, figure by figure to 1e-9 (thread counts may differ), when computed again. After Ctrl-C the
process must have ended with code 130 and a word (or 0 with a whole result), without a traceback. A single forecast is
stopped in the same way.
Baseline: none is known for this; each count of faults is to be 0. Last line: one JSON object.
"""

import argparse
import json
import signal
import tempfile
import time
from collections import Counter
from pathlib import Path

from rig.cards.template import card_text
from rig.jobs.record.recalculate import recalculate
from rig.log.store import LOG_FILE, BenchLog
from tests.faults.interrupted import moments, stop_after
from tests.rig.cards.new_cards import write_new_cards

KEYS = ("stops", "finished", "records", "wrong", "not_sound", "badly_told")


def typed_cards(folder: Path) -> Path:
    """Cards with typed weights; the test card."""
    write_new_cards(folder)
    card = folder / "test.toml"
    card.write_text(card_text("test", {"typed.weights_g": [400.0, 410.0, 390.0, 395.0]}), encoding="utf-8")
    return card


def judge(arguments: list[str], log: Path, after: float, sign: int) -> Counter[str]:
    """One stop: what went wrong."""
    stopped = stop_after(arguments, log, after, sign=sign)
    tally = Counter(stops=1, records=stopped.records, finished=stopped.finished, not_sound=not stopped.sound)
    if sign == signal.SIGINT and not stopped.well:
        tally["badly_told"] += 1
        print(f"after {after:.3f} s: code {stopped.code}: {stopped.err[-400:]}")
    if stopped.sound and (log / LOG_FILE).exists():
        with BenchLog(log) as opened:
            tally["wrong"] += len({one.record for one in recalculate(opened, tolerance=1e-9).differing})
    return tally


def main() -> None:
    """Print; the last line is JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="2 stops of each kind")
    parser.add_argument("--stops", type=int, default=30, help="of each kind")
    given = parser.parse_args()
    count = 2 if given.quick else given.stops
    told: dict[str, dict[str, int]] = {}
    with tempfile.TemporaryDirectory() as aside:
        place = Path(aside)
        start = time.monotonic()
        length = 45.0
        for word, sign in (("demo_interrupted", signal.SIGINT), ("demo_killed", signal.SIGKILL)):
            total: Counter[str] = Counter()
            for number, after in enumerate(moments(count, 0.0, length, seed=sign)):
                out = place / f"{word}-{number}"
                total += judge(["demo", "--out", str(out)], out / "log", after, sign)
            told[word] = {key: total[key] for key in KEYS}
            print(word, told[word], f"{time.monotonic() - start:.0f} s", flush=True)
        card, total = typed_cards(place / "cards"), Counter()
        for number, after in enumerate(moments(count, 0.0, 0.6, seed=3)):
            log = place / f"log-{number}"
            total += judge(["push", "forecast", str(card), "--log", str(log)], log, after, signal.SIGINT)
        told["predict_interrupted"] = {key: total[key] for key in KEYS}
    faults = sum(one.get(key, 0) for one in told.values() for key in ("wrong", "not_sound", "badly_told"))
    print(json.dumps({"faults": faults} | told))


if __name__ == "__main__":
    main()
