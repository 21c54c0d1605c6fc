"""Forty things that talk on a serial port: scales of many makes, faulty ones, and what is no scale at all.

Written from what such devices print (bench scales' manuals, hobby boards' examples, telemetry; from memory), not from
what the bench can read.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass

OUNCE_G, POUND_G = 28.349523125, 453.59237  # NIST SP 811, appendix B.8

Lines = Callable[[Sequence[float], int, float], list[bytes]]
"""(grams on FL FR RL RR, number, s since start) -> what is sent on each port (one entry a port)."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """lines: see above.  rate: pieces a second.  counts: raw, to be calibrated with a mass.

    banner: sent before anything else.  spoil: what becomes of a piece once the fault has begun, after the zero.
    says: what must stand in a refusal of a port that is no scale, or in the word on the fault; "" for sound scales.
    """

    name: str
    lines: Lines
    rate: float = 10.0
    counts: bool = False
    banner: bytes = b""
    spoil: Callable[[bytes], bytes] | None = None
    says: str = ""
    talks: bool = True
    scale: bool = True


def _noise(number: int, pad: int, size: int) -> int:
    """Something that looks like noise, the same in every run."""
    return ((number * 7919 + pad * 104729 + number * number * 31) % (2 * size + 1)) - size


def _counts(grams: Sequence[float], number: int) -> list[int]:
    gains, offsets = (412.0, -388.0, 431.0, 405.0), (84_213, -51_000, 133_020, 7_700)
    return [round(offsets[p] + gains[p] * grams[p]) + _noise(number, p, 40) for p in range(4)]


def _one(text: str) -> list[bytes]:
    return [text.encode("utf-8")]


def _status(grams: float) -> str:
    sign = "-" if grams < 0 else "+"
    return f"ST,GS,{sign}{abs(grams):7.1f} g\r\n"


def _turns(number: int) -> int:
    return number % 4


NAMES = ("FL", "FR", "RL", "RR")


def _comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


KINDS: tuple[Kind, ...] = (
    Kind(name="grams, commas", lines=lambda g, n, t: _one(",".join(f"{x:.1f}" for x in g) + "\n")),
    Kind(
        name="wheels with colons",
        lines=lambda g, n, t: _one(" ".join(f"{w}:{x:.1f}" for w, x in zip(NAMES, g, strict=True)) + "\r\n"),
    ),
    Kind(
        name="wheels in another order",
        lines=lambda g, n, t: _one(f"RR={g[3]:.1f}g FL={g[0]:.1f}g RL={g[2]:.1f}g FR={g[1]:.1f}g\n"),
        rate=20,
    ),
    Kind(name="kilograms", lines=lambda g, n, t: _one(",".join(f"{x / 1000:.3f}" for x in g) + "\r\n"), rate=5),
    Kind(
        name="kilograms, decimal commas",
        lines=lambda g, n, t: _one(";".join(_comma(x / 1000, 3) for x in g) + "\r\n"),
    ),
    Kind(
        name="ounces",
        lines=lambda g, n, t: _one(" ".join(f"{w} {x / OUNCE_G:.2f} oz" for w, x in zip(NAMES, g, strict=True)) + "\n"),
        rate=4,
    ),
    Kind(name="pounds, tabs", lines=lambda g, n, t: _one("\t".join(f"{x / POUND_G:.4f} lb" for x in g) + "\r\n")),
    Kind(name="raw counts", lines=lambda g, n, t: _one(",".join(map(str, _counts(g, n))) + "\n"), counts=True),
    Kind(
        name="raw counts with a line number, quick",
        lines=lambda g, n, t: _one(f"{n} " + " ".join(map(str, _counts(g, n))) + "\n"),
        rate=80,
        counts=True,
    ),
    Kind(
        name="raw counts in JSON",
        lines=lambda g, n, t: _one(json.dumps({"t": int(1000 * t) + 1200, "raw": _counts(g, n)}) + "\n"),
        counts=True,
    ),
    Kind(
        name="header and milliseconds",
        lines=lambda g, n, t: _one(f"{int(1000 * t) + 412}," + ",".join(f"{x:.2f}" for x in g) + "\r\n"),
        banner=b"time_ms,w1,w2,w3,w4\r\n",
    ),
    Kind(
        name="time of day, one a second",
        lines=lambda g, n, t: _one(
            f"14:{int(t) // 60 % 60:02d}:{int(t) % 60:02d} " + " ".join(f"{x:.1f}" for x in g) + "\r\n"
        ),
        rate=1,
    ),
    Kind(
        name="temperature behind",
        lines=lambda g, n, t: _one(" ".join(f"{x:.1f}" for x in g) + f" {23.4 + 0.1 * (n % 3):.1f}C\r\n"),
    ),
    Kind(
        name="letters and a sum",
        lines=lambda g, n, t: _one(
            " ".join(f"{w}={x:.1f}" for w, x in zip("ABCD", g, strict=True)) + f" SUM={sum(g):.1f}\n"
        ),
    ),
    Kind(
        name="sum in front, unnamed",
        lines=lambda g, n, t: _one(";".join(f"{x:.1f}" for x in [sum(round(y, 1) for y in g), *g]) + "\r\n"),
    ),
    Kind(
        name="one wheel a line, CR",
        lines=lambda g, n, t: _one(f"{NAMES[_turns(n)]} {g[_turns(n)]:+.1f} g\r"),
        rate=40,
    ),
    Kind(
        name="one numbered pad a line",
        lines=lambda g, n, t: _one(f"pad {_turns(n) + 1} = {g[_turns(n)]:.1f} g\r\n"),
        rate=20,
    ),
    Kind(
        name="one pad a line in JSON",
        lines=lambda g, n, t: _one(json.dumps({"id": NAMES[_turns(n)], "g": round(g[_turns(n)], 1)}) + "\n"),
        rate=24,
    ),
    Kind(name="four bench scales", lines=lambda g, n, t: [_status(x).encode() for x in g]),
    Kind(
        name="four scales in kilograms, CR",
        lines=lambda g, n, t: [f"{x / 1000:8.3f} kg\r".encode() for x in g],
        rate=5,
    ),
    Kind(name="four slow scales", lines=lambda g, n, t: [f"{x:6.0f} g\r\n".encode() for x in g], rate=1),
    Kind(
        name="byte order mark, semicolons",
        lines=lambda g, n, t: _one(("\ufeff" if n == 0 else "") + "; ".join(f"{x:.1f}" for x in g) + ";\r\n"),
    ),
    Kind(
        name="whole grams, tabs, quick", lines=lambda g, n, t: _one("\t".join(f"{x:.0f}" for x in g) + "\n"), rate=100
    ),
    Kind(
        name="nested JSON with a battery",
        lines=lambda g, n, t: _one(
            json.dumps({"pads": {w.lower(): {"g": round(x, 1)} for w, x in zip(NAMES, g, strict=True)}, "bat": 3.71})
            + "\n"
        ),
    ),
    Kind(
        name="JSON list of named objects",
        lines=lambda g, n, t: _one(
            json.dumps([{"n": w, "v": round(x, 1)} for w, x in zip(NAMES, g, strict=True)]) + "\r\n"
        ),
    ),
    Kind(name="CR alone", lines=lambda g, n, t: _one(" ".join(f"{x:.1f}" for x in g) + "\r")),
    Kind(name="whole grams, one a second", lines=lambda g, n, t: _one(",".join(f"{x:.0f}" for x in g) + "\n"), rate=1),
    Kind(
        name="framed by STX and ETX",
        lines=lambda g, n, t: _one("\x02" + ",".join(f"{x:.1f}" for x in g) + "\x03\r\n"),
    ),
    Kind(name="brackets", lines=lambda g, n, t: _one("".join(f"[{x:.1f}]" for x in g) + "\n")),
    Kind(
        name="signs apart",
        lines=lambda g, n, t: _one(
            "  ".join(f"{w} {'-' if x < 0 else '+'} {abs(x):.1f}" for w, x in zip(NAMES, g, strict=True)) + "\r\n"
        ),
    ),
    Kind(
        name="a board that says hello",
        lines=lambda g, n, t: _one(" ".join(f"{x:.2f}" for x in g) + "\r\n"),
        banner=b"load cells v1.3\r\ntare ...\r\nready\r\n",
    ),
    Kind(
        name="status that changes",
        lines=lambda g, n, t: _one(("ST" if n % 5 else "US") + "," + ",".join(f"{x:.1f}" for x in g) + ",g\r\n"),
    ),
    Kind(
        name="flickers by a digit",
        lines=lambda g, n, t: _one(",".join(f"{(x + _noise(n, p, 1)) / 1000:.3f}" for p, x in enumerate(g)) + "\r\n"),
    ),
    Kind(
        name="another language",
        lines=lambda g, n, t: _one(
            " | ".join(f"{w} {_comma(x, 1)} g" for w, x in zip(("VL", "VR", "HL", "HR"), g, strict=True)) + "\r\n"
        ),
    ),
    Kind(
        name="a pad dies after the zero",
        lines=lambda g, n, t: _one(",".join(f"{x:.1f}" for x in g) + "\n"),
        spoil=lambda raw: b",".join([raw.split(b",")[0], b"0.1", *raw.split(b",")[2:]]),
        says=r"front right wheel carries",
    ),
    Kind(
        name="a first digit is lost after the zero",
        lines=lambda g, n, t: _one(" ".join(f"{w}:{x:.1f}" for w, x in zip(NAMES, g, strict=True)) + "\r\n"),
        spoil=lambda raw: raw.replace(b"RL:4", b"RL:"),
        says=r"rear left wheel carries",
    ),
    Kind(
        name="overload as a word after the zero",
        lines=lambda g, n, t: _one(";".join(f"{x:.1f}" for x in g) + "\r\n"),
        spoil=lambda raw: b";".join([*raw.split(b";")[:2], b"OL", raw.split(b";")[3]]),
        says=r"cannot be read|can be read as the bench card says.*;OL;",
    ),
    Kind(
        name="a satellite receiver",
        lines=lambda g, n, t: _one(f"$GPGGA,1204{n % 60:02d}.00,5230.12,N,01322.45,E,1,08,0.9,34.5,M,45.0,M,,*47\r\n"),
        says=r"satellite|NMEA",
        scale=False,
    ),
    Kind(
        name="a printer's heaters",
        lines=lambda g, n, t: _one(f"ok T:{21.5 + 0.1 * (n % 4):.1f} /0.0 B:22.1 /0.0 @:0 B@:0\n"),
        says=r"no scale|no pads|cannot be told|could be loads|several forms",
        scale=False,
    ),
    Kind(name="a silent port", lines=lambda g, n, t: [b""], says=r"silent", talks=False, scale=False),
)
