"""Four ports at 80 lines a second: what the reader costs, how late a reading is, whether one is lost.

The four boards live in a process of their own and send at wire speed of a USB board: each line in one piece, at
its own phase. Latency runs from just before the line is written to the moment when its frame can be had (one
clock, CLOCK_MONOTONIC, for both processes). `core_share` is the processor time of the whole reading process over
wall time.

Baseline, measured in the same run: `pyserial readline` in one thread per port with the same parser.

Run: python tests/benchmarks/pad_reader.py [--quick]. The last line is one JSON object.
"""

import argparse
import json
import multiprocessing
import os
import pty
import statistics
import sys
import threading
import time
import tty
from multiprocessing.connection import Connection

import serial

from rig.pads.lines import Reading, parse_line
from rig.pads.listeners import PadListener
from rig.pads.reader import PadReader

PORTS, RATE = 4, 80.0


def boards(pipe: Connection, seconds: float) -> None:
    """The far ends: send RATE lines a second on each port and remember when."""
    import binascii

    ends = [pty.openpty() for _ in range(PORTS)]
    for _, device in ends:
        tty.setraw(device)
    pipe.send([os.ttyname(device) for _, device in ends])
    pipe.recv()
    sent: list[list[float]] = [[] for _ in ends]
    start = time.monotonic() + 0.2
    for number in range(int(seconds * RATE)):
        for port, (host, _) in enumerate(ends):
            due = start + (number + port / PORTS) / RATE
            time.sleep(max(0.0, due - time.monotonic()))
            body = b"PB1 %d %d %d 79950 -312 101877 0000" % (number % 65536, number * 1000 // 80, 84000 + number % 99)
            line = body + b" %04X\n" % binascii.crc_hqx(body, 0xFFFF)
            sent[port].append(time.monotonic())
            os.write(host, line)
    time.sleep(0.3)
    pipe.send(sent)
    pipe.recv()


def ours(urls: list[str], pipe: Connection) -> tuple[list[list[float]], int, float, float]:
    """Latencies of each port in ms, lost lines, processor seconds and wall seconds of this process."""
    arrived: list[list[float]] = [[] for _ in urls]
    readers = [PadReader(url) for url in urls]
    for reader, times in zip(readers, arrived, strict=True):
        # called once the frame can be had; a batch of lines counts for each of its lines
        def note(reader: PadReader = reader, times: list[float] = times) -> None:
            now, frame = time.monotonic(), reader.latest
            if frame is not None and frame.seq is not None:
                times.extend([now] * (frame.seq + 1 - len(times)))

        reader.listen(PadListener(tell=note))
        reader.start()
    time.sleep(0.2)
    cpu, wall = time.process_time(), time.monotonic()
    pipe.send("go")
    sent = pipe.recv()
    cpu, wall = time.process_time() - cpu, time.monotonic() - wall
    lost = sum(len(times) for times in sent) - sum(reader.tally.intact for reader in readers)
    for reader in readers:
        reader.stop()
    pipe.send("done")
    return latencies(sent, arrived), lost, cpu, wall


def latencies(sent: list[list[float]], arrived: list[list[float]]) -> list[list[float]]:
    """ms from sending to arrival, for ports that lost nothing (else nobody knows which belong together)."""
    return [
        [(b - a) * 1e3 for a, b in zip(went, came, strict=True)] if len(went) == len(came) else []
        for went, came in zip(sent, arrived, strict=True)
    ]


def baseline(urls: list[str], pipe: Connection) -> tuple[list[list[float]], int, float, float]:
    """The same with pyserial's readline, one thread per port."""
    arrived: list[list[float]] = [[] for _ in urls]
    intact = [0] * len(urls)
    stop = threading.Event()

    def listen(number: int) -> None:
        with serial.Serial(urls[number], 115200, timeout=0.25) as port:
            while not stop.is_set():
                line = port.readline()
                if line and isinstance(parse_line(line.rstrip(b"\n")), Reading):
                    arrived[number].append(time.monotonic())
                    intact[number] += 1

    listeners = [threading.Thread(target=listen, args=(number,)) for number in range(len(urls))]
    for listener in listeners:
        listener.start()
    time.sleep(0.2)
    cpu, wall = time.process_time(), time.monotonic()
    pipe.send("go")
    sent = pipe.recv()
    cpu, wall = time.process_time() - cpu, time.monotonic() - wall
    stop.set()
    for listener in listeners:
        listener.join()
    pipe.send("done")
    lost = sum(len(times) for times in sent) - sum(intact)
    return latencies(sent, arrived), lost, cpu, wall


def run(which: str, seconds: float) -> dict[str, float]:
    """One measurement with boards of its own."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=boards, args=(there, seconds))
    process.start()
    urls = here.recv()
    latency, lost, cpu, wall = (ours if which == "ours" else baseline)(urls, here)
    process.join()
    every = sorted(ms for port in latency for ms in port)
    return {
        "core_share": cpu / wall,
        "latency_ms_median": statistics.median(every) if every else float("inf"),
        "latency_ms_p99": every[int(0.99 * len(every))] if every else float("inf"),
        "lines_lost": lost,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="6 s in place of 30 s")
    seconds = 6.0 if parser.parse_args().quick else 30.0
    print(f"four ports, {RATE:g} lines/s each, {seconds:g} s; load average {os.getloadavg()[0]:.1f}", file=sys.stderr)
    results = {which: run(which, seconds) for which in ("readline", "ours")}
    for which, result in results.items():
        print(f"{which:>9}: " + ", ".join(f"{key} {value:.4g}" for key, value in result.items()))
    print(json.dumps({**results["ours"], "baseline": results["readline"], "seconds": seconds}))


if __name__ == "__main__":
    main()
