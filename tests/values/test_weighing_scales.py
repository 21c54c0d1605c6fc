"""Scales that show a weight by themselves, in grams, kilograms, ounces, with points or commas: all figures by hand.

The ounce: 28.349523125 g by definition (NIST SP 811, appendix B.8). A rounded reading: rectangular, step / sqrt(12)
(GUM, JCGM 100:2008, F.2.2.1). 0.5 % for a scale that nobody checked: common practice, no source.
"""

import math
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from tests.values.pads_acted import PAD_UNDER, PAD_WHEELS, WHEELS, ActedPads, doubts, pivotbench, records, write_cards

OUNCE_G = 28.349523125
LINE = "{0}, {1}, {2}, {3}"


@contextmanager
def scales(show: Callable[[float], str], line: str = LINE, rate_ms: int = 5) -> Iterator[ActedPads]:
    """Scales that show what lies on them, in mg (a count is a milligram here), and repeat it at rest."""

    def form(number: int, counts: list[int]) -> bytes:
        return (line.format(*(show(count / 1000) for count in counts)) + "\r\n").encode()

    with ActedPads([0] * 4, form=form, burst=1) as pads:
        pads.dither, pads.pause = [0] * 4, rate_ms / 1000
        yield pads


def lay(pads: ActedPads, wheels_g: Sequence[float]) -> None:
    """Grams on FL, FR, RL, RR onto the pads under them."""
    on = dict(zip(WHEELS, wheels_g, strict=True))
    pads.lay([1000 * on[wheel] for wheel in PAD_WHEELS])


CAR_G = (702.4, 301.7, 405.2, 198.9)

UNITS = [
    # unit, what is shown of a gram, step of the last digit in g
    ("g", lambda g: f"{g:.1f}", 0.1),
    ("kg", lambda g: f"{g / 1000:.3f}", 1.0),
    ("oz", lambda g: f"{g / OUNCE_G:.2f}", 0.01 * OUNCE_G),
]


@pytest.mark.parametrize(
    ("unit", "show", "step"),
    [pytest.param(*one, marks=() if one[0] == "oz" else pytest.mark.thorough) for one in UNITS],
)
def test_each_unit_comes_out_in_grams_with_the_step_of_its_digits(
    unit: str, show: Callable[[float], str], step: float, tmp_path: Path
) -> None:
    test = write_cards(tmp_path, bench={"pads.line_pattern": "<c1>, <c2>, <c3>, <c4>", "pads.unit": unit})
    with scales(show) as pads:
        common = [test, "--port", pads.url, "--log", tmp_path / "log"]
        told = pivotbench("pads", "zero", *common)
        assert told.code == 0, told.err
        assert "Zeroed" in told.out
        lay(pads, CAR_G)
        told = pivotbench("weigh", *common, "--unattended", "--json")
    assert told.code == 0, told.err
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=0.51 * step)
    (record,) = records(tmp_path / "log", "weighing")
    parts = doubts(record)
    rounded = step / math.sqrt(12)
    np.testing.assert_allclose(np.sqrt(np.diag(parts["noise"])), rounded, rtol=1e-6)
    # the zero is one rounded reading, too; minutes of drift come on top
    assert np.all(np.sqrt(np.diag(parts["zero"])) >= rounded * (1 - 1e-9))
    np.testing.assert_allclose(np.sqrt(np.diag(parts["curves"])), 0.005 * np.array(CAR_G), rtol=0.01)
    (placing,) = record["inputs"]["placings"]
    by_hand = [float(show(CAR_G[WHEELS.index(wheel)])) for wheel in PAD_WHEELS]
    np.testing.assert_allclose(placing["counts"], np.array(by_hand) * {"g": 1, "kg": 1000, "oz": OUNCE_G}[unit])
    assert PAD_UNDER  # wheels on the pads in a cycle of four: an exchanged pad would show


@pytest.mark.thorough
def test_decimal_commas_are_said_on_the_card_and_never_guessed(tmp_path: Path) -> None:
    pattern = {"pads.line_pattern": "<c1>; <c2>; <c3>; <c4>", "pads.unit": "g"}
    with scales(lambda g: f"{g:.1f}".replace(".", ","), "{0}; {1}; {2}; {3}") as pads:
        common = ["--port", pads.url, "--log", tmp_path / "log"]
        test = write_cards(tmp_path / "point", bench=pattern)
        told = pivotbench("pads", "zero", test, *common)
        assert told.code == 1
        assert '"0,0; 0,0; 0,0; 0,0"' in told.err  # the line as received
        assert "pivotbench pads --port" in told.err
        test = write_cards(tmp_path / "comma", bench=pattern | {"pads.decimal_mark": "comma"})
        assert pivotbench("pads", "zero", test, *common).code == 0
        lay(pads, CAR_G)
        told = pivotbench("weigh", test, *common, "--unattended", "--json")
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=0.051)


@pytest.mark.thorough
def test_scales_are_refused_with_a_car_on_them_and_without(tmp_path: Path) -> None:
    test = write_cards(tmp_path, bench={"pads.line_pattern": "<c1>, <c2>, <c3>, <c4>", "pads.unit": "g"})
    with scales(lambda g: f"{g:.0f}") as pads:
        common = [test, "--port", pads.url, "--log", tmp_path / "log"]
        lay(pads, CAR_G)
        told = pivotbench("pads", "zero", *common)
        assert told.code == 2
        assert "by what they show they carry 1608 g more (RR 199, FL 702, FR 302, RL 405)" in told.err
        assert records(tmp_path / "log", "calibration") == []
        lay(pads, (0, 0, 0, 0))
        assert pivotbench("pads", "zero", *common).code == 0
        told = pivotbench("weigh", *common, "--unattended")
    assert told.code == 2
    assert "there is no car on the pads: 0.0 g in all" in told.err
    assert records(tmp_path / "log", "weighing") == []


@pytest.mark.thorough
def test_one_known_mass_checks_the_scales(tmp_path: Path) -> None:
    """They show 1 % too much; 500 g on each says so, and the weighing after it is right."""
    test = write_cards(tmp_path, bench={"pads.line_pattern": "<c1>, <c2>, <c3>, <c4>", "pads.unit": "g"})
    with scales(lambda g: f"{1.01 * g:.1f}") as pads:
        common = [test, "--port", pads.url, "--log", tmp_path / "log"]
        steps: list[tuple[str, str, str]] = []

        def masses(text: str) -> None:
            steps.append(re.findall(r"Step (\d+ of \d+): (?:Lay (\d+) g on|Take everything off) pad (\d)", text)[-1])
            _, mass, pad = steps[-1]
            pads.lay([1000 * float(mass or 0) * (place == int(pad) - 1) for place in range(4)])

        told = pivotbench("pads", "calibrate", *common, "--mass", 500, hands=masses)
        assert told.code == 0, told.err
        assert [steps[place][0] for place in (0, 4, 23)] == ["1 of 24", "5 of 24", "24 of 24"]
        assert "whether the pad bends in between was not seen" in told.out
        pads.lay([0] * 4)
        assert pivotbench("pads", "zero", *common).code == 0
        lay(pads, CAR_G)
        told = pivotbench("weigh", *common, "--unattended", "--json")
    assert told.code == 0, told.err
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=0.15)
    assert not any("at their word" in text for text in told.result["warnings"])


def test_a_weight_of_the_pad_protocol_is_refused(tmp_path: Path) -> None:
    with ActedPads() as pads:
        test = write_cards(tmp_path, bench={"pads.unit": "kg"})
        told = pivotbench("pads", "zero", test, "--port", pads.url, "--log", tmp_path / "log")
    assert told.code == 2
    assert "the pad protocol sends counts" in told.err


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("pattern", "line", "names"),
    [
        # the numbers of pads 1 to 4, asymmetric; by hand
        ("any order: FL=<c2> RR=<c1> RL=<c4> FR=<c3>", "FR= {2}g  FL={1}g T=21.5 RL={3}g RR={0}g", None),
        ("<skip>,<c1>,<c2>,<c3>,<c4>,<sum>", "12:00:01,{0},{1},{2},{3},1608.2", None),
        ("ST <pad> <count> g", "ST rr + {0} g\rST fl + {1} g\rST fr + {2} g\rST rl + {3} g", ["rr", "fl", "fr", "rl"]),
        ('{"w": {"a": <c1>, "b": <c2>, "c": <c3>, "d": <c4>}}', '{{"w":{{"d":{3},"a":{0},"c":{2},"b":{1}}}}}', None),
    ],
)
def test_forms_of_lines(pattern: str, line: str, names: list[str] | None, tmp_path: Path) -> None:
    more = {} if names is None else {"pads.pad_names": names}
    test = write_cards(tmp_path, bench={"pads.line_pattern": pattern, "pads.unit": "g"} | more)
    empty = line.replace("1608.2", "0.0")
    with scales(lambda g: f"{g:.1f}", empty) as pads:
        common = [test, "--port", pads.url, "--log", tmp_path / "log"]
        told = pivotbench("pads", "zero", *common)
        assert told.code == 0, told.err
    with scales(lambda g: f"{g:.1f}", line) as pads:
        lay(pads, CAR_G)
        common = [test, "--port", pads.url, "--log", tmp_path / "log"]
        told = pivotbench("weigh", *common, "--unattended", "--json")
    assert told.code == 0, told.err
    np.testing.assert_allclose(told.result["corner_weights_g"], CAR_G, atol=0.051)
    protected = not any("carry no checksum" in text for text in told.result["warnings"])
    assert protected == ("<sum>" in pattern)
