"""Records with little in them, for tests that ask about something else: what is not given is zero or empty."""

import types
import typing
from collections.abc import Iterable, Mapping
from typing import Any

import msgspec

from rig.log.store import BenchLog
from rig.records.classroom import FIRST_TRY, FirstTryInputs, FirstTryResult
from rig.records.record import Record
from rig.records.registry import RECORD_KINDS

Numbered = Record[FirstTryInputs, FirstTryResult]


def numbered(
    log: BenchLog,
    title: str,
    number: float = 0.0,
    text: str = "",
    *,
    cards: Iterable[str] = (),
    files: Iterable[str] = (),
    parents: Iterable[str] = (),
) -> Numbered:
    """A first try whose pin stands at `number` per cent, whose kappa is the square of it, and which says a text."""
    return log.record(
        FIRST_TRY,
        title,
        inputs=FirstTryInputs(pin_pct=number, pin_side_mm=0.0, push_pct=50.0),
        result=FirstTryResult(kappa_per_m=number**2, sentence=text, virtual=True),
        cards=cards,
        files=files,
        parents=parents,
    )


def number_of(record: Record[Any, Any]) -> int:
    """The number of a record that `numbered` wrote. Raises AssertionError when its figure is not the square of it."""
    told = FIRST_TRY.of(record)
    assert told.result.kappa_per_m == told.inputs.pin_pct**2
    return int(told.inputs.pin_pct)


def completed(kind: str, inputs: Mapping[str, Any], result: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Inputs and result as plain JSON, with every field that a record of this kind must have."""
    return _filled(RECORD_KINDS[kind].inputs, inputs), _filled(RECORD_KINDS[kind].result, result)


def whole(
    log: BenchLog, kind: str, title: str, inputs: Any = None, result: Any = None, **links: Any
) -> Record[Any, Any]:
    """A record of any kind, completed and written."""
    given, found = completed(kind, inputs or {}, result or {})
    one = RECORD_KINDS[kind]
    return log.record(
        one, title, inputs=msgspec.convert(given, one.inputs), result=msgspec.convert(found, one.result), **links
    )


def _filled(struct: type[msgspec.Struct], given: Mapping[str, Any]) -> dict[str, Any]:
    kinds = typing.get_type_hints(struct)
    plain = dict(given)
    for field in msgspec.structs.fields(struct):
        if field.name in plain:
            plain[field.name] = _completed(kinds[field.name], plain[field.name])
        elif field.required:
            plain[field.name] = _nothing(kinds[field.name])
    return plain


def _completed(kind: Any, given: Any) -> Any:
    """A value that was given, with what lacks inside it."""
    for one in typing.get_args(kind) if isinstance(kind, types.UnionType) else (kind,):
        if isinstance(one, type) and issubclass(one, msgspec.Struct) and isinstance(given, Mapping):
            return _filled(one, given)
        if typing.get_origin(one) is tuple and isinstance(given, list):
            return [_completed(typing.get_args(one)[0], inner) for inner in given]
    return given


def _nothing(kind: Any) -> Any:
    if isinstance(kind, types.UnionType):
        return None
    if typing.get_origin(kind) is tuple:
        inner = typing.get_args(kind)
        return [] if Ellipsis in inner else [_nothing(one) for one in inner]
    if typing.get_origin(kind) is typing.Literal:
        return typing.get_args(kind)[0]
    if typing.get_origin(kind) is dict:
        return {}
    return _filled(kind, {}) if issubclass(kind, msgspec.Struct) else kind()
