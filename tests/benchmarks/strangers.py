"""Pads that no one here wrote for: are they recognised, or refused with the right reason, and is a weight ever wrong?

Forty kinds of streams (foreign/kinds.py) on real pseudo-terminals, each met by the commands as a person would: look
with `pads --write` on a fresh bench card, calibrate with one mass where they send raw counts, zero, weigh; and each
with two mistakes, zeroing with the car on and weighing nothing. The truth is what was laid on. Faulty ones go wrong
after the zero and must be refused or told by name. What is no scale must be called so.

Baseline in the same run: a naive reader that takes the first four numbers of a line for grams of FL FR RL RR.

Usage: strangers.py [--only WORD] [--processes N] [--fresh | --later]. --fresh, --later: twenty others each
(foreign/fresh.py, foreign/later.py).

The last line is one JSON object: `kinds`; `recognised` (right in all
that was done with it); `wrong_weight` (weights off by more than three times their ± and 3 g, or a mistake weighed,
without a word); `wrong_reason` (refused for something else than it is, or not recognised); `seconds_to_word_median`
(from when readings count to the answer or refusal: commands that weigh or zero let three seconds pass after a port is
opened, since boards restart then, or one where a scale's lines never stop); `seconds_from_opening_median`;
`baseline_right`, `baseline_wrong`.
"""

import argparse
import contextlib
import json
import os
import pty
import re
import tempfile
import threading
import time
import tty
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from unittest import mock

from rig.pads.port import PortInfo, PortList
from tests.benchmarks.foreign.fresh import FRESH
from tests.benchmarks.foreign.kinds import KINDS, Kind
from tests.benchmarks.foreign.later import LATER
from tests.values.pads_acted import Told, pivotbench, write_cards

CAR_G = (431.2, 366.8, 402.5, 389.9)
EMPTY_G = (0.0, 0.0, 0.0, 0.0)
STARTUP_S, STEADY_S, STEADY_RATE = 3.0, 1.0, 4.0
MASS_G = 500


class Talker:
    """A device on as many pseudo-terminals as it has ports; it talks all the time, whoever listens."""

    def __init__(self, kind: Kind) -> None:
        self.kind, self.grams, self.spoilt = kind, EMPTY_G, False
        pairs = [pty.openpty() for _ in kind.lines(EMPTY_G, 0, 0.0)]
        for _, device in pairs:
            tty.setraw(device)
        self._hosts, self._devices = [host for host, _ in pairs], [device for _, device in pairs]
        self.urls = [os.ttyname(device) for device in self._devices]
        for host in self._hosts:
            os.set_blocking(host, False)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._talk, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5.0)
        for end in (*self._hosts, *self._devices):
            os.close(end)

    def _talk(self) -> None:
        kind, number, start = self.kind, 0, time.monotonic()
        self._put(0, kind.banner)
        while not self._stop.wait(max(0.0, start + number / kind.rate - time.monotonic())):
            if kind.talks:
                for port, piece in enumerate(kind.lines(self.grams, number, time.monotonic() - start)):
                    self._put(port, kind.spoil(piece) if kind.spoil is not None and self.spoilt else piece)
            number += 1

    def _put(self, port: int, piece: bytes) -> None:
        with contextlib.suppress(BlockingIOError):  # nobody listens, and the buffer is full
            os.write(self._hosts[port], piece)


@dataclass
class Met:
    """What became of one kind."""

    name: str
    right: bool = False
    wrong_weight: list[str] = field(default_factory=list)
    wrong_reason: str = ""
    seconds: list[float] = field(default_factory=list)
    from_opening: list[float] = field(default_factory=list)
    naive: bool = False


@contextlib.contextmanager
def ports(urls: list[str]) -> Iterator[None]:
    """This computer has these ports and no others."""
    there = PortList(ports=tuple(PortInfo(device=url) for url in urls), complete=True)
    with mock.patch("rig.pads.port.list_ports", return_value=there):
        yield


def timed(met: Met, startup: float, *words: object, hands: object = None) -> Told:
    began = time.monotonic()
    told = pivotbench(*words, hands=hands)  # type: ignore[arg-type]
    spent = time.monotonic() - began
    met.seconds.append(max(spent - startup, 0.0))
    met.from_opening.append(spent)
    return told


def startup(kind: Kind) -> float:
    """s after the opening in which readings do not count: a scale that talks on has not restarted."""
    return STEADY_S if kind.rate >= STEADY_RATE and not kind.counts else STARTUP_S


def naive_right(kind: Kind) -> bool:
    """Whether the first four numbers of a line with the car on are the grams of its wheels."""
    for number in range(8):
        text = kind.lines(CAR_G, number, float(number))[0]
        if kind.spoil is not None:
            text = kind.spoil(text)
        found = [float(one) for one in re.findall(r"[-+]?\d+(?:\.\d+)?", text.decode("utf-8"))[:4]]
        if len(found) != 4 or any(abs(a - b) > 3.0 for a, b in zip(found, CAR_G, strict=True)):
            return False
    return True


def meet(place: int) -> Met:
    """One kind from the first look to the weighing."""
    kind = (*KINDS, *FRESH, *LATER)[place]
    met, talker = Met(kind.name, naive=naive_right(kind)), Talker(kind)
    try:
        with tempfile.TemporaryDirectory() as folder, ports(talker.urls):
            _meet(kind, talker, met, Path(folder))
    finally:
        talker.close()
    return met


def _meet(kind: Kind, talker: Talker, met: Met, folder: Path) -> None:
    test = write_cards(folder, bench={"pads.wheels": ["FL", "FR", "RL", "RR"]})
    look = ["pads", "--write", folder / "bench.toml"]
    told = timed(met, 0.0, *look)
    if told.code and "Set the car on the pads" in told.out:
        talker.grams = CAR_G
        told = timed(met, 0.0, *look)
        talker.grams = EMPTY_G
    if not kind.scale:
        met.right = told.code != 0 and re.search(kind.says, told.out + told.err) is not None
        met.wrong_reason = "" if met.right else told.out + told.err
        return
    if told.code:
        met.wrong_reason = told.out + told.err
        return
    log = ["--log", folder / "log"]
    if kind.counts:

        def lay(text: str) -> None:
            _, mass, pad = re.findall(r"Step (\d+) of \d+: (?:Lay (\d+) g|Take everything off)[^\n]*?pad (\d)", text)[
                -1
            ]
            talker.grams = tuple(float(mass or 0) * (p == int(pad) - 1) for p in range(4))  # type: ignore[assignment]
            time.sleep(0.3)

        told = pivotbench("pads", "calibrate", test, "--mass", MASS_G, "--cycles", 1, *log, hands=lay)
        if told.code:
            met.wrong_reason = told.err
            return
    talker.grams = CAR_G
    time.sleep(1.5 / kind.rate)
    told = timed(met, startup(kind), "pads", "zero", test, *log)
    if told.code == 0:
        met.wrong_weight.append("zeroed with the car on")
    elif "not empty" not in told.err:
        met.wrong_reason = f"zero with the car on: {told.err}"
    talker.grams = EMPTY_G
    time.sleep(1.5 / kind.rate)
    told = pivotbench("pads", "zero", test, *log)
    if told.code:
        met.wrong_reason = met.wrong_reason or f"zero: {told.err}"
        return
    told = timed(met, startup(kind), "weigh", test, *log, "--unattended")
    if told.code == 0:
        met.wrong_weight.append("weighed nothing")
    elif "no car on the pads" not in told.err:
        met.wrong_reason = met.wrong_reason or f"weighing nothing: {told.err}"
    talker.grams, talker.spoilt = CAR_G, True
    time.sleep(1.5 / kind.rate)
    if kind.spoil is not None:
        told = timed(met, startup(kind), "weigh", test, *log, "--unattended")
        said = told.out + told.err
        named = re.search(kind.says, said, re.S) is not None
        if told.code == 0 and not named:
            met.wrong_weight.append(f"weighed with the fault: {said}")
        elif not named:
            met.wrong_reason = met.wrong_reason or said
    else:
        told = pivotbench("weigh", test, *log, "--unattended", "--json")
        if told.code:
            met.wrong_reason = met.wrong_reason or f"weigh: {told.err}"
        else:
            halves = [(high - low) / 2 for low, high in told.result["corner_interval_g"]]
            off = [abs(a - b) for a, b in zip(told.result["corner_weights_g"], CAR_G, strict=True)]
            if any(gap > max(3 * half, 3.0) for gap, half in zip(off, halves, strict=True)):
                met.wrong_weight.append(f"weighed {told.result['corner_weights_g']} for {CAR_G}")
    met.right = not met.wrong_weight and not met.wrong_reason


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="kinds whose name holds this")
    parser.add_argument("--processes", type=int, default=6)
    parser.add_argument("--fresh", action="store_true", help="twenty others, thought of after the forty")
    parser.add_argument("--later", action="store_true", help="twenty more, thought of after those")
    options = parser.parse_args()
    first, kinds = (len(KINDS), FRESH) if options.fresh else (0, KINDS)
    if options.later:
        first, kinds = len(KINDS) + len(FRESH), LATER
    chosen = [first + place for place, kind in enumerate(kinds) if options.only in kind.name]
    met: list[Met] = []
    with ProcessPoolExecutor(max_workers=options.processes) as pool:
        for one in pool.map(meet, chosen):
            met.append(one)
            trouble = "; ".join([*one.wrong_weight, one.wrong_reason]).strip("; ").replace("\n", " / ")
            print(f"{'right' if one.right else 'WRONG':6s} {one.name:38s} {trouble[:400]}", flush=True)
    print(
        json.dumps(
            {
                "kinds": len(met),
                "recognised": sum(one.right for one in met),
                "wrong_weight": sum(bool(one.wrong_weight) for one in met),
                "wrong_reason": sum(bool(one.wrong_reason) for one in met),
                "seconds_to_word_median": round(median(s for one in met for s in one.seconds), 2),
                "seconds_from_opening_median": round(median(s for one in met for s in one.from_opening), 2),
                "baseline_right": sum(one.naive for one in met),
                "baseline_wrong": sum(not one.naive for one in met),
            }
        )
    )


if __name__ == "__main__":
    main()
