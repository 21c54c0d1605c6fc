"""What lines of an unknown format are, and the keys of the bench card that would read them.

What cannot be told is not guessed: a wrong column would be taken for a weighing. What is guessed (a unit that no line
names) is said.
"""

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from rig.base.errors import InputError
from rig.base.plain_json import Json
from rig.pads.first_contact.columns import Column, JsonForm, TextForm, json_form, text_form
from rig.pads.first_contact.load_columns import (
    CHANNELS,
    WHEEL_NAMES,
    UnclearColumnsError,
    in_channels,
    sorted_columns,
    unit_shown,
)
from rig.pads.lines import Reading
from rig.pads.patterns import XOR_END, DecimalMark, PatternLines, without_xor

NO_NUMBERS = (
    "text without numbers that could be loads: no scale, or lines of another form; describe them with line_pattern on "
    "the bench card"
)
TALKERS = (
    "A[GIP]|B[DN]|C[CDMSTVX]|D[EF]|E[CPR]|G[ABILNPQ]|H[CENS]|I[IN]|LC|NL|QZ|RA|S[DNS]|T[IR]|V[DMW]|W[I]|YX|Z[ACQV]"
)
"""Who speaks NMEA 0183: receivers, radios, autopilots, weather instruments (from memory)."""
MOSTLY = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What lines are taken for. keys: for the bench card, under [pads]; empty where they cannot be read.

    kind: in words.  single: each line is of the one pad on its port.  remarks: what was guessed or left out.
    left_over: numbers of a line that are no load.
    """

    kind: str
    keys: Json
    single: bool = False
    remarks: tuple[str, ...] = ()
    left_over: int = 0

    @property
    def usable(self) -> bool:
        """Whether the bench can read such lines."""
        return bool(self.keys)


def proposal(lines: Sequence[str]) -> Proposal:
    """What these lines are, and how the bench would read them. lines: whole, as they came, without line ends."""
    if other := _other_talk(lines):
        return Proposal(kind=other, keys={})
    bodies = [body.decode() for line in lines if (body := without_xor(line.encode())) is not None]
    if len(bodies) > MOSTLY * len(lines):
        return _summed(proposal(bodies), lines)
    form = json_form(lines)
    if form is not None:
        try:
            return _from_json(form, lines)
        except UnclearColumnsError as error:
            return Proposal(kind=str(error), keys={})
    found: list[Proposal] = []
    why: list[str] = []
    marks: tuple[DecimalMark, ...] = ("point", "comma")
    for mark in marks:
        shape = text_form(lines, mark)
        if shape is None or (mark == "comma" and not _has_commas(shape)):
            continue
        try:
            found.append(_from_text(shape, mark, lines))
        except UnclearColumnsError as error:
            why.append(str(error))
    if len(found) > 1:  # the reading that leaves no number over is the likelier
        found = [one for one in found if not one.left_over] or found
    if len(found) > 1:
        return Proposal(kind="the commas part numbers or stand before decimals: it cannot be told which", keys={})
    if found:
        return found[0]
    return Proposal(kind=why[0] if why else NO_NUMBERS, keys={})


def _summed(found: Proposal, lines: Sequence[str]) -> Proposal:
    """The proposal for lines that end in the exclusive-or of what stands before it, which protects them."""
    if not found.usable:
        return found
    dollar = "$" if sum(line.startswith("$") for line in lines) > len(lines) / 2 else ""
    return replace(found, keys=found.keys | {"line_pattern": f"{dollar}{found.keys['line_pattern']}{XOR_END}"})


def _has_commas(form: TextForm) -> bool:
    return any("," in text for column in form.columns for text in column.texts)


def _other_talk(lines: Sequence[str]) -> str:
    """What is known by its look and is no scale."""
    sentence = re.compile(rf"[$!](?:{TALKERS}|P[A-Z]{{3}})[A-Z]{{3}},.*\*[0-9A-Fa-f]{{2}}\s*")  # talker, sentence, sum
    if sum(bool(sentence.fullmatch(line)) for line in lines) > len(lines) / 2:
        return "a satellite receiver or another instrument that speaks NMEA 0183: no scale"
    return ""


def _from_text(form: TextForm, mark: DecimalMark, lines: Sequence[str]) -> Proposal:
    naming = _naming_column(form)
    if naming is not None:
        return _one_pad_a_line(form, mark, naming, lines)
    wheels, total, left_out = sorted_columns(form.columns)
    unit, remarks = unit_shown(wheels)
    pattern = _text_pattern(form, _marks(wheels, total))
    keys: Json = {"line_pattern": pattern, "unit": unit, "decimal_mark": mark}
    return _checked(keys, lines, single=len(wheels) == 1, remarks=[*remarks, *left_out], form=form)


def _from_json(form: JsonForm, lines: Sequence[str]) -> Proposal:
    wheels, total, left_out = sorted_columns(form.columns)
    names = [(path, words) for path, words in form.names if _cycles(words)]
    unit, remarks = unit_shown(wheels)
    if len(wheels) == 1 and names:
        path, words = names[0]
        keys: Json = {
            "line_pattern": _json_pattern(form.whole, {wheels[0].place: "<count>", path: "<pad>"}),
            "unit": unit,
            "pad_names": _named_pads(words),
        }
        return _checked(keys, lines, single=False, remarks=[*remarks, *left_out])
    keys = {"line_pattern": _json_pattern(form.whole, _marks(wheels, total)), "unit": unit}
    return _checked(keys, lines, single=len(wheels) == 1, remarks=[*remarks, *left_out])


def _marks(wheels: Sequence[Column], total: Column | None) -> dict[Any, str]:
    """What a pattern has in place of each load, and of their sum where there is one."""
    channels = [(1, wheels[0])] if len(wheels) == 1 else in_channels(wheels)
    marks = {column.place: f"<c{channel}>" for channel, column in channels}
    return marks if total is None else marks | {total.place: "<sum>"}


def _one_pad_a_line(form: TextForm, mark: DecimalMark, naming: "_Naming", lines: Sequence[str]) -> Proposal:
    values, _, left_out = sorted_columns([column for column in form.columns if column.place != naming.place])
    if len(values) != 1:
        raise UnclearColumnsError("a name and several numbers a line: which of them is the load cannot be told")
    unit, remarks = unit_shown(values, by_name=naming.words)
    pattern = _text_pattern(form, {naming.place: "<pad>", values[0].place: "<count>"})
    keys: Json = {
        "line_pattern": pattern,
        "unit": unit,
        "decimal_mark": mark,
        "pad_names": _named_pads(naming.words),
    }
    return _checked(keys, lines, single=False, remarks=[*remarks, *left_out], form=form)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Naming:
    """The place on a line that says which pad it is of, with what stood there."""

    place: int
    words: tuple[str, ...]


def _naming_column(form: TextForm) -> _Naming | None:
    """The place that tells which pad a line is of: a word, or a small whole number beside one other number."""
    for place, words in form.names:
        if _cycles(words) and len(form.columns) <= 2:
            return _Naming(place=place, words=words)
    for column in form.columns if len(form.columns) == 2 else ():
        small = set(column.values) <= {0.0, 1.0, 2.0, 3.0, 4.0} and column.decimals == 0
        if small and _cycles(column.texts) and isinstance(column.place, int):
            return _Naming(place=column.place, words=column.texts)
    return None


def _cycles(words: Sequence[str]) -> bool:
    """Whether these are names that come in turn: never twice the same on end, four of them, each about as often."""
    counts = [words.count(word) for word in set(words)]
    turns = all(before != after for before, after in pairwise(words))
    return len(words) > CHANNELS and turns and len(counts) == CHANNELS and max(counts) - min(counts) <= 1


def _named_pads(words: Sequence[str]) -> list[str]:
    names = sorted(set(words))
    at = {wheel: name for name in names for wheel in range(CHANNELS) if name.lower() in WHEEL_NAMES[wheel]}
    return [at[wheel] for wheel in range(CHANNELS)] if len(at) == CHANNELS else list(names)


def _text_pattern(form: TextForm, marks: Mapping[Any, str]) -> str:
    """The line with fields in place of its numbers; what differs from line to line is skipped."""
    changing = {place for place, _ in form.names}
    parts: list[str] = []
    for place, token in enumerate(form.rows[0]):
        blank = " " if token.blank and place else ""
        if place in marks:
            text = marks[place]
        elif token.kind in ("number", "clock") or place in changing:
            text = "<skip>"
        else:
            text = " " if token.text == "\t" else token.text
        if text == "<skip>" and parts and parts[-1].strip() == "<skip>":
            continue
        parts.append(blank + text)
    return re.sub(r" {2,}", " ", "".join(parts)).strip()


def _json_pattern(whole: Any, marks: Mapping[Any, str]) -> str:
    def put(plain: Any, path: tuple[str | int, ...]) -> str | None:
        if path in marks:
            return marks[path]
        if isinstance(plain, dict):
            inner = [(json.dumps(key), put(one, (*path, key))) for key, one in plain.items()]
            kept = [f"{key}: {text}" for key, text in inner if text is not None]
            return "{" + ", ".join(kept) + "}" if kept else None
        if isinstance(plain, list):
            texts = [put(one, (*path, place)) for place, one in enumerate(plain)]
            return "[" + ", ".join(text or "<skip>" for text in texts) + "]" if any(texts) else None
        return None

    return put(whole, ()) or ""


def _checked(
    keys: Json, lines: Sequence[str], *, single: bool, remarks: Sequence[str], form: TextForm | None = None
) -> Proposal:
    """The proposal, once the pattern has read the lines that it was made of."""
    try:
        parser = PatternLines(
            pattern=str(keys["line_pattern"]),
            unit=keys["unit"],
            decimal_mark=keys.get("decimal_mark", "point"),
            pad_names=keys.get("pad_names", ("1", "2", "3", "4")),
        )
    except InputError as error:
        raise UnclearColumnsError(f"its numbers cannot be told apart by a pattern ({error})") from error
    read = [parser.parse(line.encode()) for line in lines]
    whole = sum(one is None or (isinstance(one, Reading) and not math.isnan(one.counts[0])) for one in read)
    if whole < 0.7 * len(lines) or not any(isinstance(one, Reading) for one in read):
        raise UnclearColumnsError("lines of several forms: describe them with line_pattern on the bench card")
    usual = {"unit": "counts", "decimal_mark": "point", "pad_names": ["1", "2", "3", "4"]}
    shown = {key: value for key, value in keys.items() if key == "unit" or value != usual.get(key)}
    fields = len(re.findall(r"<(?:c\d|count|pad|sum)>", str(keys["line_pattern"])))
    left_over = 0 if form is None else max(len(form.columns) - fields, 0)
    kind = "one pad a port" if single else ("one pad a line" if "pad_names" in keys else "four pads a line")
    return Proposal(
        kind=f"{kind}, in {keys['unit']}", keys=shown, single=single, remarks=tuple(remarks), left_over=left_over
    )
