"""Twenty more talkers, thought of after the recogniser had been made right for the forty and the twenty before."""

import functools
import operator

from tests.benchmarks.foreign.kinds import NAMES, Kind, _counts, _noise, _one, _turns


def _xor(text: str) -> str:
    return f"{functools.reduce(operator.xor, text.encode('ascii')):02X}"


def _summed(text: str) -> bytes:
    return f"${text}*{_xor(text)}\r\n".encode("ascii")


LATER: tuple[Kind, ...] = (
    Kind(name="quoted numbers", lines=lambda g, n, t: _one(",".join(f'"{x:.1f}"' for x in g) + "\r\n")),
    Kind(
        name="status, number, unit, four times",
        lines=lambda g, n, t: _one(";".join(f"ST;{x / 1000:+08.3f};kg" for x in g) + "\r\n"),
        rate=5,
    ),
    Kind(
        name="slashes in brackets", lines=lambda g, n, t: _one("<" + "/".join(f"{x:.1f}" for x in g) + ">\n"), rate=20
    ),
    Kind(
        name="newtons",
        lines=lambda g, n, t: _one(" ".join(f"{x * 0.00980665:.3f} N" for x in g) + "\r\n"),
        says=r"\bN\b|newton",
        scale=False,
    ),
    Kind(name="milligrams", lines=lambda g, n, t: _one(" ".join(f"{1000 * x:.0f} mg" for x in g) + "\r\n"), rate=4),
    Kind(
        name="a number in brackets, names with equals",
        lines=lambda g, n, t: _one(f"[{n:05d}] " + " ".join(f"W{p + 1}={x:.1f}g" for p, x in enumerate(g)) + "\n"),
    ),
    Kind(
        name="start and end of text around each",
        lines=lambda g, n, t: [b"".join(b"\x02%+08.1f\x03" % x for x in g) + b"\r\n"],
    ),
    Kind(
        name="a wheel a line, stable or not",
        lines=lambda g, n, t: _one(f"{NAMES[_turns(n)]} {'US' if n % 11 == 3 else 'ST'} {g[_turns(n)]:8.1f} g\r\n"),
        rate=40,
    ),
    Kind(
        name="four ports, kilograms",
        lines=lambda g, n, t: [f"{x / 1000:+.3f} kg\r\n".encode() for x in g],
        rate=6,
    ),
    Kind(
        name="minus apart, grams behind",
        lines=lambda g, n, t: _one(
            "  ".join(f"{'-' if x < 0 else ' '} {abs(x + 0.1 * _noise(n, p, 1)):7.1f} g" for p, x in enumerate(g))
            + "\r\n"
        ),
    ),
    Kind(
        name="attributes in a tag",
        lines=lambda g, n, t: _one(
            "<w " + " ".join(f'{w.lower()}="{x:.1f}"' for w, x in zip(NAMES, g, strict=True)) + "/>\n"
        ),
    ),
    Kind(
        name="four lines and a rule",
        lines=lambda g, n, t: _one("".join(f"{w}: {x:.1f}\n" for w, x in zip(NAMES, g, strict=True)) + "---\n"),
        rate=5,
    ),
    Kind(
        name="dollar and a sum of bits",
        lines=lambda g, n, t: [_summed("SCALE," + ",".join(f"{x:.1f}" for x in g))],
    ),
    Kind(
        name="smoothed beside raw",
        lines=lambda g, n, t: _one(
            " ".join(
                f"{w} avg {x:.1f} raw {x + 0.3 * _noise(n, p, 3):.1f}"
                for p, (w, x) in enumerate(zip(NAMES, g, strict=True))
            )
            + "\n"
        ),
        rate=20,
    ),
    Kind(
        name="the sum first",
        lines=lambda g, n, t: _one(
            f"{sum(round(x, 1) for x in g):.1f} = " + " + ".join(f"{x:.1f}" for x in g) + "\r\n"
        ),
    ),
    Kind(
        name="raw counts, quick, CR LF LF",
        lines=lambda g, n, t: _one("\t".join(map(str, _counts(g, n))) + "\r\n\n"),
        rate=80,
        counts=True,
    ),
    Kind(
        name="it starts anew after the zero",
        lines=lambda g, n, t: _one(",".join(f"{x:.1f}" for x in g) + "\r\n"),
        spoil=lambda raw: b"booting v1.4 ...\r\n",
        says=r"booting",
    ),
    Kind(
        name="dashes after the zero",
        lines=lambda g, n, t: _one(" ".join(f"{x:.1f}" for x in g) + "\r\n"),
        spoil=lambda raw: raw.replace(b"402.5", b"-----"),
        says=r"-----",
    ),
    Kind(
        name="a printer's place",
        lines=lambda g, n, t: _one(f"X:{10 + n % 7:.2f} Y:20.00 Z:0.30 E:{0.1 * n:.2f} Count X:800 Y:1600 Z:120\n"),
        says=r"no scale|no number that could be a load|numbers a line|Set the car",
        scale=False,
    ),
    Kind(
        name="a heart's rate",
        lines=lambda g, n, t: _one(f"BPM: {71 + _noise(n, 0, 2)} IBI: {845 + _noise(n, 1, 20)}\r\n"),
        rate=1,
        says=r"no scale|no number that could be a load|numbers a line",
        scale=False,
    ),
)
