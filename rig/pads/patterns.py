"""Other people's pad lines, described by a pattern with named fields on the bench card.

A text pattern is the line with fields in angle brackets: `<c1>,<c2>,<c3>,<c4>` or `pad <pad>: <count> g`.
A pattern that begins with `{` or `[` is the JSON that comes, with fields in place of the numbers:
`{"t": <ms>, "loads": [<c1>, <c2>, <c3>, <c4>]}`; keys may come in any order, and others beside them.
A pattern that begins with `any order:` names single words, found wherever they stand on the line:
`any order: FL=<c1> FR=<c2> RL=<c3> RR=<c4>`.

fields: `c1` … `c4` what the channels show; or `pad` and `count`, where each line tells of one pad; `sum` what all
channels show together, which is held against them; `seq` line number; `ms` device time in ms; `skip` anything; `xor`
at the end, behind a star: the exclusive-or of what stands before it, held against the line. A JSON null is a missing
pad. Without a checksum or a sum a lost digit cannot be told from another count: such formats are
read, but their `damaged` tally only knows broken forms. firmware_notes/patterns.md has ten examples.
"""

import json
import math
import operator
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import reduce
from typing import Literal

from rig.base.errors import InputError
from rig.pads.lines import LONGEST_PATTERN_LINE, MS_MODULUS, BadLine, BadReason, Line, Reading

_FIELD = re.compile(r"<([a-z]\w*)>")
_KNOWN = ("c1", "c2", "c3", "c4", "pad", "count", "sum", "seq", "ms", "skip", "xor")
_SHAPES = {"pad": r"\S+?", "seq": r"\d{1,10}", "ms": r"\d{1,10}"}
_NUMBERS = {
    mark: rf"(?:[+-]\s{{0,8}}+)?(?:\d{{1,15}}(?:{sign}\d{{0,9}})?|{sign}\d{{1,9}})(?:[eE][+-]?\d{{1,2}})?"
    for mark, sign in (("point", r"\."), ("comma", ","))
}
"""A sign may stand apart from its number, as on many scales' lines."""
ANY_ORDER = "any order:"
GRAMS_OF_UNIT = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
"""Grams of what a weight is shown in. Source: ounce and pound by definition, NIST SP 811, appendix B.8."""
DecimalMark = Literal["point", "comma"]
PadUnit = Literal["counts", "g", "kg", "oz", "lb"]
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_AROUND = bytes(range(0x21)) + b"\x7f"
"""Blanks and control characters, STX and ETX among them, that frame lines."""
_WHERE = "bench card, line pattern"
XOR_END = "*<xor>"


@dataclass(slots=True)
class PatternLines:
    """A `LineParser` made of a pattern. Counts may be decimals; weights come out in grams.

    pattern: see above.  pad_names: what stands in the `pad` field for channels 1, 2, …; by default 1 to 4.
    unit: of the numbers; readings of a weight are given in grams.  decimal_mark: of the numbers.
    checksum: "xor" where lines end in `*HH`, the exclusive-or of the bytes from after a leading `$` to before
        the `*`.  seq_modulus: where the line number wraps.
    Raises InputError for a pattern that cannot work.
    """

    pattern: str
    pad_names: Sequence[str] = ("1", "2", "3", "4")
    checksum: Literal["none", "xor"] = "none"
    seq_modulus: int = 1 << 16
    unit: PadUnit = "counts"
    decimal_mark: DecimalMark = "point"
    checked: bool = field(init=False)
    _match: "_TextShape | _JsonShape | _AnyOrder" = field(init=False, repr=False)
    _gathered: dict[int, tuple[float, float]] = field(init=False, default_factory=dict, repr=False)
    _heads: tuple[int | None, int | None] = field(init=False, default=(None, None), repr=False)

    def __post_init__(self) -> None:
        names = _FIELD.findall(self.pattern)
        _refuse_bad_fields(self.pattern, names, self.pad_names)
        if self.seq_modulus < 2:
            raise InputError("the line number cannot wrap below 2", where=_WHERE, remedy="Leave it at 65536")
        text = self.pattern.strip()
        if text.endswith(XOR_END):
            self.checksum, text = "xor", text.removesuffix(XOR_END).removeprefix("$").rstrip()
        self.checked = self.checksum == "xor"
        if text.startswith("{") or _is_json_list(text):
            self._match = _JsonShape(text)
        elif text.startswith(ANY_ORDER):
            self._match = _AnyOrder(text.removeprefix(ANY_ORDER), self.decimal_mark)
        else:
            self._match = _TextShape(text, self.decimal_mark)

    @property
    def summed(self) -> bool:
        """Whether each line carries the sum of what it shows, which a lost digit contradicts."""
        return "<sum>" in self.pattern

    def parse(self, line: bytes) -> Line | None:
        """One line; None where it completes no reading yet (one pad per line). Never raises."""
        if len(line) > LONGEST_PATTERN_LINE:
            return BadLine(raw=line, reason=BadReason.LONG)
        body = line.removeprefix(_BYTE_ORDER_MARK).strip(_AROUND)
        if self.checksum == "xor":
            stripped = without_xor(body)
            if stripped is None:
                return BadLine(raw=line, reason=BadReason.CRC)
            body = stripped
        found = self._match.fields(plain_text(body))
        if found is None:
            return BadLine(raw=line, reason=BadReason.FORMAT)
        try:
            seq = _whole(found.get("seq"), self.seq_modulus)
            device_ms = _whole(found.get("ms"), MS_MODULUS)
            if "pad" in found:
                count, step = self._shown(found["count"])
                return self._gather(found["pad"], count, step, (seq, device_ms), line)
            shown = {int(name[1]) - 1: self._shown(found[name]) for name in found if name in _KNOWN[:4]}
            counts = {channel: count for channel, (count, _) in shown.items()}
            step = max((step for _, step in shown.values()), default=1.0)
            if "sum" in found:
                total, coarse = self._shown(found["sum"])
                # each number is rounded by half a step at most
                if abs(total - sum(counts.values())) > 0.5 * (len(counts) * step + coarse) + 1e-9 * abs(total):
                    return BadLine(raw=line, reason=BadReason.SUM)
        except ValueError:
            return BadLine(raw=line, reason=BadReason.FORMAT)
        return _reading(counts, step, (seq, device_ms), line)

    def restart(self) -> None:
        """Forget a half-gathered reading."""
        self._gathered.clear()

    def _shown(self, text: str) -> tuple[float, float]:
        """A number as counts or grams, and the step of its last digit in the same unit."""
        plain = "".join(text.split())
        if self.decimal_mark == "comma":
            plain = plain.replace(",", ".")
        grams = GRAMS_OF_UNIT.get(self.unit, 1.0)
        digits, _, power = plain.lower().partition("e")
        decimals = len(digits.partition(".")[2])
        return _number(plain) * grams, 10.0 ** (int(power or 0) - decimals) * grams

    def _gather(
        self, name: str, count: float, step: float, head: tuple[int | None, int | None], raw: bytes
    ) -> Line | None:
        """A reading is complete with all pads, or when one comes again before the others did."""
        if name not in self.pad_names:
            raise ValueError(name)
        pad = list(self.pad_names).index(name)
        done: Reading | None = None
        if pad in self._gathered:
            done = self._complete(raw)
        if not self._gathered:
            self._heads = head
        self._gathered[pad] = (count, step)
        if done is None and len(self._gathered) == len(self.pad_names):
            done = self._complete(raw)
        return done

    def _complete(self, raw: bytes) -> Reading:
        gathered, self._gathered = self._gathered, {}
        counts = {channel: count for channel, (count, _) in gathered.items()}
        return _reading(counts, max(step for _, step in gathered.values()), self._heads, raw)


class _TextShape:
    """A text pattern as a regular expression whose work grows with the square of the line's length at most.

    Blanks are taken whole or not at all (possessive), and what stands between two `skip` is looked for once, from the
    left, and kept (atomic): a damaged line must not be tried in every way it could be cut up.
    """

    def __init__(self, pattern: str, decimal_mark: DecimalMark) -> None:
        number_shape = _NUMBERS[decimal_mark]
        pieces, gap = [""], r"\s*+"
        for number, part in enumerate(_FIELD.split(pattern.strip())):
            if number % 2 == 0 and not part.strip():  # only a blank keeps what stands around it apart
                gap = r"\s++" if part else gap
                continue
            if part == "skip" and number % 2:  # takes in the blanks around it, where it must be set off all but one
                pieces[-1] += r"\s" if gap == r"\s++" else ""
                pieces.append("")
                gap = ""
                continue
            if number % 2:
                word = f"(?P<{part}>{_SHAPES.get(part, number_shape)})"
            else:  # blanks may be wider or absent on the line
                word = r"\s*+".join(re.escape(text) for text in part.split())
            after_skip = len(pieces) > 1 and not pieces[-1]
            pieces[-1] += (r"\s" if after_skip and gap else gap) + word
            gap = r"\s*+"
        pieces[-1] += gap
        first, *others = pieces
        *middle, last = others or [""]
        inner = "".join(f"(?>.*?{piece})" for piece in middle)
        self._regex = re.compile(first + inner + (f".*?{last}" if others else ""), re.ASCII)

    def fields(self, text: str) -> dict[str, str] | None:
        found = self._regex.fullmatch(text)
        return found.groupdict() if found else None


class _AnyOrder:
    """Words with one field each, wherever they stand. A word of the line is read once at most."""

    def __init__(self, pattern: str, decimal_mark: DecimalMark) -> None:
        self._words = []
        for word in pattern.split():
            before, name, after = [*_FIELD.split(word), "", ""][:3]
            if len(_FIELD.findall(word)) != 1 or not before:
                raise InputError(
                    f"{word!r} is not a name with one field behind it",
                    where=f"{_WHERE} {pattern!r}",
                    remedy=f"Write it like: {ANY_ORDER} FL=<c1> FR=<c2> RL=<c3> RR=<c4>",
                )
            shape = _SHAPES.get(name, _NUMBERS[decimal_mark])
            regex = rf"(?<![\w.]){re.escape(before)}\s{{0,8}}+({shape}){re.escape(after)}(?![\w.,]*\d)"
            self._words.append((name, re.compile(regex, re.ASCII)))

    def fields(self, text: str) -> dict[str, str] | None:
        found: dict[str, str] = {}
        for name, regex in self._words:
            hits = regex.findall(text)
            if len(hits) != 1:  # twice the same name: which of them holds?
                return None
            found[name] = hits[0]
        return found


class _JsonShape:
    def __init__(self, pattern: str) -> None:
        quoted = re.sub(r'"?<([a-z]\w*)>"?', r'"<\1>"', pattern)
        try:
            self._shape = json.loads(quoted)
        except (ValueError, RecursionError) as error:
            raise InputError(
                f"is not JSON with fields in it ({error})",
                where=_WHERE,
                remedy='Write it like {"loads": [<c1>, <c2>, <c3>, <c4>]}',
            ) from error

    def fields(self, text: str) -> dict[str, str] | None:
        found: dict[str, str] = {}
        try:
            fits = _collect(self._shape, json.loads(text), found)
        except (ValueError, RecursionError):
            return None
        return found if fits else None


def plain_text(raw: bytes) -> str:
    """A line as text; control characters within it, as frames of each number, part what they stand between."""
    text = raw.decode("utf-8", "replace")
    return "".join(one if one.isprintable() or one == "\t" else " " for one in text)


def _is_json_list(text: str) -> bool:
    """Whether a pattern is a list of JSON, and neither numbers in brackets, such as `[<c1>][<c2>][<c3>][<c4>]`, nor a
    line that only begins with a bracket, such as `[<seq>] <c1> <c2> <c3> <c4>`."""
    return text.startswith("[") and text.endswith("]") and "][" not in "".join(text.split())


def _collect(shape: object, came: object, found: dict[str, str]) -> bool:
    if isinstance(shape, str) and (name := _FIELD.fullmatch(shape)):
        if came is None:  # a pad that is not there
            return name[1] in ("c1", "c2", "c3", "c4", "skip")
        if isinstance(came, bool) or not isinstance(came, int | float | str):
            return name[1] == "skip"
        found[name[1]] = str(came)
        return True
    if isinstance(shape, dict):
        return isinstance(came, dict) and all(
            key in came and _collect(part, came[key], found) for key, part in shape.items()
        )
    if isinstance(shape, list):
        if not isinstance(came, list) or len(came) != len(shape):
            return False
        return all(_collect(*pair, found) for pair in zip(shape, came, strict=True))
    return shape == came


def _reading(counts: dict[int, float], step: float, head: tuple[int | None, int | None], raw: bytes) -> Reading:
    c1, c2, c3, c4 = (counts.get(pad, math.nan) for pad in range(4))
    flags = sum(1 << pad for pad in range(4) if pad not in counts)
    seq, device_ms = head
    return Reading(counts=(c1, c2, c3, c4), flags=flags, seq=seq, device_ms=device_ms, raw=raw, step=step)


def _number(text: str) -> float:
    number = float(text)
    if not math.isfinite(number) or "_" in text:  # Python alone allows 1_000
        raise ValueError(text)
    return number


def _whole(text: str | None, below: int) -> int | None:
    if text is None:
        return None
    number = _number(text)
    if not 0 <= number < below or number != int(number):
        raise ValueError(text)
    return int(number)


def without_xor(body: bytes) -> bytes | None:
    """The line without `*HH`, or None where the exclusive-or does not fit."""
    text, star, digits = body.rpartition(b"*")
    if not star or not re.fullmatch(rb"[0-9A-Fa-f]{2}", digits):
        return None
    text = text.removeprefix(b"$")
    return text if reduce(operator.xor, text, 0) == int(digits, 16) else None


def _refuse_bad_fields(pattern: str, names: list[str], pad_names: Sequence[str]) -> None:
    def refuse(what: str, remedy: str) -> InputError:
        return InputError(what, where=f"{_WHERE} {pattern!r}", remedy=remedy)

    unknown = sorted(set(names) - set(_KNOWN))
    if unknown:
        raise refuse(f"there is no field <{unknown[0]}>", f"Use {', '.join(_KNOWN)}")
    named = [name for name in names if name != "skip"]
    if len(set(named)) != len(named):
        raise refuse("a field comes twice", "Name each field once, and the rest <skip>")
    channels = any(name in names for name in _KNOWN[:4])
    single = "pad" in names and "count" in names
    if "sum" in names and not channels:
        raise refuse("a sum belongs to the channels of one line", "Name <c1> … <c4> beside it, or <skip> it")
    if channels == single or (channels and ("pad" in names or "count" in names)):
        raise refuse("no pad can be told from it", "Name <c1> … <c4>, or <pad> and <count>")
    if "xor" in names and not pattern.strip().endswith(XOR_END):
        raise refuse("<xor> stands at the end of a line, behind a star", f"Write it like: <c1>,<c2>,<c3>,<c4>{XOR_END}")
    if "><" in pattern:
        raise refuse("two fields touch: where does one end", "Put what stands between them there")
    if not 1 <= len(pad_names) <= 4 or len(set(pad_names)) != len(pad_names):
        raise refuse("one to four different pad names are needed", "Name each pad once")
