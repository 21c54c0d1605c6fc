"""Twenty more talkers, thought of after the recogniser had been made right for the forty."""

import json

from tests.benchmarks.foreign.kinds import NAMES, Kind, _comma, _counts, _noise, _one, _turns

FRESH: tuple[Kind, ...] = (
    Kind(name="pipes and spaces", lines=lambda g, n, t: _one(" | ".join(f"{x:7.1f}" for x in g) + " \r\n")),
    Kind(name="a frame with an id", lines=lambda g, n, t: _one("$W," + ",".join(f"{x:.1f}" for x in g) + "\r\n")),
    Kind(
        name="indexed words",
        lines=lambda g, n, t: _one(" ".join(f"LC{p}={x:.1f}g" for p, x in enumerate(g)) + "\n"),
    ),
    Kind(
        name="reversed channels",
        lines=lambda g, n, t: _one(",".join(f"ch{4 - p}:{g[3 - p]:.1f}" for p in range(4)) + "\r\n"),
    ),
    Kind(
        name="front and rear in words",
        lines=lambda g, n, t: _one(
            f"front left: {g[0]:.1f} g, front right: {g[1]:.1f} g, rear left: {g[2]:.1f} g, rear right: {g[3]:.1f} g\n"
        ),
        rate=5,
    ),
    Kind(name="ounces, commas", lines=lambda g, n, t: _one(",".join(f"{x / 28.349523125:.2f}oz" for x in g) + "\r\n")),
    Kind(
        name="date and time",
        lines=lambda g, n, t: _one(f"2026-03-04 10:11:{n % 60:02d}," + ",".join(f"{x:.1f}" for x in g) + "\r\n"),
    ),
    Kind(
        name="seconds with decimals",
        lines=lambda g, n, t: _one(f"{t:.2f}\t" + "\t".join(f"{x:.2f}" for x in g) + "\n"),
        rate=50,
    ),
    Kind(
        name="battery in front",
        lines=lambda g, n, t: _one(
            "BAT 3.92V " + " ".join(f"{w} {x:.1f}" for w, x in zip(NAMES, g, strict=True)) + "\r\n"
        ),
    ),
    Kind(
        name="raw counts with names",
        lines=lambda g, n, t: _one(" ".join(f"{w}:{c}" for w, c in zip(NAMES, _counts(g, n), strict=True)) + "\n"),
        rate=80,
        counts=True,
    ),
    Kind(
        name="raw counts, one a line",
        lines=lambda g, n, t: _one(f"{_turns(n)},{_counts(g, n)[_turns(n)]}\r\n"),
        rate=40,
        counts=True,
    ),
    Kind(
        name="JSON with strings",
        lines=lambda g, n, t: _one(json.dumps({"w": [f"{x:.1f}" for x in g], "unit": "g"}) + "\n"),
    ),
    Kind(name="leading zeros", lines=lambda g, n, t: _one(" ".join(f"{x:06.1f}" for x in g) + "\r\n")),
    Kind(name="plus signs always", lines=lambda g, n, t: _one("".join(f"{x:+8.1f}" for x in g) + "\r\n"), rate=25),
    Kind(name="commas, spaces and a tail", lines=lambda g, n, t: _one(", ".join(f"{x:.1f}" for x in g) + ", OK\n")),
    Kind(
        name="two digits of kilograms, comma",
        lines=lambda g, n, t: _one("\t".join(f"{_comma(x / 1000, 3)} kg" for x in g) + "\r\n"),
        rate=2,
    ),
    Kind(name="blank lines between", lines=lambda g, n, t: _one(" ".join(f"{x:.1f}" for x in g) + "\r\n\r\n")),
    Kind(
        name="a digit goes in the middle after the zero",
        lines=lambda g, n, t: _one(",".join(f"{x:.1f}" for x in g) + "\n"),
        spoil=lambda raw: raw.replace(b"402.5", b"42.5"),
        says=r"rear left wheel carries",
    ),
    Kind(
        name="a thermometer",
        lines=lambda g, n, t: _one(f"temp={21.4 + 0.1 * _noise(n, 0, 2):.1f}C hum=45%\r\n"),
        says=r"no number that could be a load|no scale",
        scale=False,
    ),
    Kind(
        name="an inertial sensor",
        lines=lambda g, n, t: _one(
            f"ax={0.01 * _noise(n, 0, 5):.2f} ay={0.01 * _noise(n, 1, 5):.2f} az={9.81 + 0.01 * _noise(n, 2, 5):.2f}\n"
        ),
        rate=50,
        says=r"no number that could be a load|no scale|numbers a line",
        scale=False,
    ),
)
