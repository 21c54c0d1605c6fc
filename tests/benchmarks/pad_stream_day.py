"""A day of streaming at 80 lines a second, time-compressed, with everything that goes wrong on a line.

The real reader (thread, queue, reconnection) reads an acted port that sends 24 simulated hours of lines and
spoils some: bytes turned, lost or put in, lines lost or sent twice, noise between lines, restarts of the board,
unplugging (with the line torn at both ends). The script knows what it did; the reader's books must agree with it:
every intact line delivered exactly once, every damaged one counted, memory constant.

What CRC-16 must miss: of lines damaged beyond what it finds for certain, about 1 in 65 536 is taken for intact.
The script counts them (`crc_missed`, by computing the CRC of what it sent) beside the expectation; the form of a
line catches some of those too, the rest are `undetected`.

Baseline in the same run: splitting at line ends with no checksum and no sequence number, taking every line that
has six whole numbers (`baseline_wrong`: readings taken that were never measured, or taken twice).

Run: python tests/benchmarks/pad_stream_day.py [--quick]. The last line is one JSON object.
"""

import argparse
import binascii
import json
import random
import re
import resource
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from rig.base.errors import BenchError
from rig.pads.port import Ports
from rig.pads.reader import PadReader, ReaderTiming

RATE = 80
SEED = 20_251_125
# firmware_notes/protocol.md: no leading zeros, four hexadecimal digits
_FORM = re.compile(rb"PB1 (0|[1-9]\d*) (0|[1-9]\d*)( (0|-?[1-9]\d*)){4} [0-9A-F]{4}")
_BATCH = 200  # lines in one piece; the smaller, the more the two threads wait for each other


@dataclass(slots=True)
class Truth:
    """What the script did."""

    lines: int = 0
    intact: int = 0
    damaged: int = 0
    crc_missed: int = 0  # damaged lines whose CRC fits by chance
    undetected: int = 0  # those of them that also have the form of a reading: nobody can tell
    repeated: int = 0
    restarts: int = 0
    unplugged: int = 0
    noise: int = 0
    checksum: int = 0  # of (number of line in the day) over intact lines: told from the counts it carries
    baseline_wrong: int = 0


@dataclass(slots=True)
class Day:
    """The far end: an iterator of pieces of bytes; an OSError among them is the unplugging."""

    hours: float
    rng: random.Random
    truth: Truth = field(default_factory=Truth)
    seq: int = 0
    born: int = 0

    def pieces(self) -> Iterator[bytes | OSError]:
        yield self.identity()
        piece: list[bytes] = []
        for number in range(int(self.hours * 3600 * RATE)):
            self.truth.lines += 1
            fate = self.rng.random()
            whole = self.line(number)
            if fate < 0.01:
                piece.append(self.spoil(whole, number))
            elif fate < 0.011:
                pass  # lost altogether
            elif fate < 0.012:
                self.truth.intact += 1
                self.truth.repeated += 1
                self.truth.checksum += number
                self.truth.baseline_wrong += 1
                piece.append(whole * 2)
            elif fate < 0.013:
                self.truth.noise += 1
                self.truth.intact += 1
                self.truth.checksum += number
                noise = self.rng.randbytes(self.rng.randrange(1, 200)).replace(b"\n", b"~")
                piece.append(noise + b"\n" + whole)
            else:
                self.truth.intact += 1
                self.truth.checksum += number
                piece.append(whole)
            if fate > 0.9999:
                self.truth.restarts += 1
                self.reset(number + 1)
                piece.append(self.identity())
            elif fate > 0.9998:
                self.truth.unplugged += 1
                self.truth.restarts += 1
                yield b"".join(piece) + self.line(number)[: self.rng.randrange(1, 20)]
                self.reset(number + 1)
                yield OSError(5, "Input/output error")
                torn = self.line(number)[self.rng.randrange(10, 40) :]
                self.reset(number + 1)
                piece = [torn, self.identity()]
            if len(piece) >= _BATCH:
                yield b"".join(piece)
                piece = []
        yield b"".join(piece)

    def reset(self, number: int) -> None:
        """The board starts again with the line after."""
        self.seq, self.born = 0, number

    def identity(self) -> bytes:
        body = b"PB1 ID board=acted fw=1.0.0 ch=4 rate=80 run=1 boot=power"
        return body + b" %04X\n" % binascii.crc_hqx(body, 0xFFFF)

    def line(self, number: int) -> bytes:
        """Line `number` of the day, which its first two counts carry."""
        age = number - self.born
        flags = 0x0100 if age < 16 else 0
        low, high = number % 1_000_000, number // 1_000_000
        body = b"PB1 %d %d %d %d %d %d %04X" % (self.seq, 50 + age * 1000 // RATE, low, high, -312, age % 9999, flags)
        self.seq = (self.seq + 1) % 65536
        return body + b" %04X\n" % binascii.crc_hqx(body, 0xFFFF)

    def spoil(self, whole: bytes, number: int) -> bytes:
        """Turn, lose or insert one to eight bytes before the line end."""
        body = bytearray(whole[:-1])
        for _ in range(self.rng.randrange(1, 9)):
            place = self.rng.randrange(len(body))
            match self.rng.randrange(3):
                case 0:
                    body[place] = self.rng.choice(b"0123456789 -")  # the kind of damage that looks like a number
                case 1 if len(body) > 1:
                    del body[place]
                case _:
                    body.insert(place, self.rng.randrange(32, 256))
        came = bytes(body).replace(b"\n", b"~")
        if came == whole[:-1]:  # the damage undid itself
            self.truth.intact += 1
            self.truth.checksum += number
            return whole
        text, _, crc = came.rpartition(b" ")
        fits = crc == b"%04X" % binascii.crc_hqx(text, 0xFFFF)
        self.truth.crc_missed += fits
        if fits and _FORM.fullmatch(text):
            self.truth.undetected += 1
        else:
            self.truth.damaged += 1
        words = came.split(b" ")
        if len(words) >= 7 and all(word.lstrip(b"-").isdigit() for word in words[1:7]):
            self.truth.baseline_wrong += 1
        return came + b"\n"


class ActedPort:
    """Hands out the day as fast as it is read, but never faster than the frames are fetched."""

    def __init__(self, day: Day) -> None:
        self.pieces = day.pieces()
        self.over = threading.Event()
        self.room = threading.Semaphore(20)

    def open(self, url: str) -> "ActedPort":
        if self.over.is_set():
            raise BenchError("the day is over", where=url, remedy="Stop")
        return self

    def read_some(self, timeout: float) -> bytes:
        if not self.room.acquire(timeout=timeout):
            return b""
        piece = next(self.pieces, None)
        if piece is None:
            self.over.set()
            time.sleep(timeout)
            return b""
        if isinstance(piece, OSError):
            self.room.release()
            raise piece
        return piece

    def write(self, data: bytes) -> None:
        pass

    def close(self) -> None:
        pass


def resident() -> int:
    """Memory of this process in bytes: now where /proc tells, else the most so far."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize()
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def run(hours: float) -> dict[str, float | int]:
    """Stream `hours` and compare the books."""
    day = Day(hours=hours, rng=random.Random(SEED))
    port = ActedPort(day)
    got = twice = checksum = 0
    last = -1
    sizes: list[int] = []
    began = time.monotonic()
    reader = PadReader("acted", ports=Ports(opener=port.open, scan=tuple), timing=ReaderTiming(retry=0.0005))
    heard = reader.listen()
    with reader:
        while True:
            over = port.over.is_set()
            frames = heard.drain()
            for _ in range(max(1, len(frames) // _BATCH)):
                port.room.release()
            for frame in frames:
                number = int(frame.counts[0]) + 1_000_000 * int(frame.counts[1])
                got += 1
                twice += number <= last
                last = max(last, number) if number < day.truth.lines + _BATCH else last
                checksum += number
            if over and not frames:
                break
            if got // 50_000 >= len(sizes):
                sizes.append(resident())
            if not frames:
                time.sleep(0.0005)
        tally, truth = reader.tally, day.truth
    # from a quarter of the run on, when queues and caches have seen their worst
    growth = sizes[-1] - sizes[len(sizes) // 4] if len(sizes) > 4 else 0
    return {
        "hours": hours,
        "lines": truth.lines,
        "intact_sent": truth.intact,
        "delivered": got - truth.undetected,
        "not_delivered": truth.intact + truth.undetected - got,
        "delivered_twice": twice,
        "checksum_agrees": int(checksum == truth.checksum or truth.undetected > 0),
        "damaged_sent": truth.damaged + truth.noise,
        "damaged_counted": tally.damaged,
        "crc_missed": truth.crc_missed,
        "crc_missed_expected": round((truth.damaged + truth.undetected) / 65536, 3),
        "undetected": truth.undetected,
        "repeated_sent": truth.repeated,
        "repeated_counted": tally.repeated,
        "restarts_sent": truth.restarts,
        "restarts_counted": tally.restarts,
        "unplugged": truth.unplugged,
        "reconnections": tally.reconnections,
        "overflowed": tally.overflowed,
        "baseline_wrong": truth.baseline_wrong,
        "memory_growth_bytes": growth,
        "seconds": round(time.monotonic() - began, 1),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one simulated hour in place of 24")
    result = run(1.0 if parser.parse_args().quick else 24.0)
    for key, value in result.items():
        print(f"{key:>22} {value}", file=sys.stderr)
    print(json.dumps(result))


if __name__ == "__main__":
    main()
