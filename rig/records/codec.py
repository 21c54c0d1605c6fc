"""The one way of records' contents to JSON and back."""

import json
from typing import Any, TypeVar

import msgspec

from rig.base.errors import BenchError
from rig.base.plain_json import Json, finite_json
from rig.records.content import Content
from rig.records.record import Kind
from rig.records.registry import RECORD_KINDS
from rig.records.upgrades import CONTENT_UPGRADES

ContentT = TypeVar("ContentT", bound=Content)
FoundT = TypeVar("FoundT")


class RecordError(BenchError):
    """A record does not hold what its kind asks for."""


def kind_named(name: str, *, where: str) -> Kind[Any, Any]:
    """The kind of this name. where: the record, for the error. Raises RecordError for one that is not known."""
    kind = RECORD_KINDS.get(name)
    if kind is None:
        raise RecordError(
            f'no kind of record is called "{name}"',
            where=where,
            remedy="Read this log with the version of pivotbench that wrote it, or a newer one",
        )
    return kind


def plain(content: Content) -> Json:
    """Inputs or a result as maps, lists, numbers and texts; what is missing is left out."""
    found: Json = finite_json(msgspec.to_builtins(content, enc_hook=_array))
    return found


def as_record(found: object, wanted: type[ContentT], **beside: object) -> ContentT:
    """A frozen result as its record holds it, field for field by name. beside: fields that only the record has.

    Raises RecordError for a field that one of the two has and the other not, unless it may be missing.
    """
    result = finite_json(msgspec.to_builtins(found, enc_hook=_array))
    return _convert(result | beside, wanted, where=f"new {wanted.__name__}")


def from_record(content: Content, wanted: type[FoundT]) -> FoundT:
    """The frozen result that `as_record` wrote. Raises RecordError for a field that is missing or of another type."""
    try:
        return msgspec.convert(content, wanted, from_attributes=True)
    except msgspec.ValidationError as error:
        raise _unfit(str(error), f"a stored {type(content).__name__}") from error


def checked(content: ContentT, *, where: str) -> ContentT:
    """The content as it will be read again: arrays as tuples, optional numbers that are not finite left out.

    Raises RecordError naming a field that is missing, of the wrong type, or not a finite number.
    """
    return _convert(plain(content), type(content), where=where)


def to_json(content: Content) -> str:
    """Compact JSON of a content that was checked."""
    return json.dumps(msgspec.to_builtins(content), allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def from_json(kind: Kind[Any, Any], version: int, inputs: str, result: str, *, where: str) -> tuple[Any, Any]:
    """Inputs and result of a stored record, brought to today's shape. version: of the content.

    where: the record, for the error. Raises RecordError naming the field that is missing or wrong.
    """
    if version == kind.version:
        return _decode(inputs, kind.inputs, where, "inputs"), _decode(result, kind.result, where, "result")
    try:
        plain_inputs, plain_result = json.loads(inputs), json.loads(result)
    except (ValueError, RecursionError) as error:
        raise _unfit(f"this is no JSON: {error}", where) from error
    return from_plain(kind, version, plain_inputs, plain_result, where=where)


def from_plain(kind: Kind[Any, Any], version: int, inputs: Json, result: Json, *, where: str) -> tuple[Any, Any]:
    """The same from maps and lists, as an exported folder holds them."""
    if not 1 <= version <= kind.version:
        raise RecordError(
            f"the content of this {kind.name} has version {version}, this program knows {kind.version}",
            where=where,
            remedy="Install a newer pivotbench",
        )
    old_inputs, old_result = dict(inputs), dict(result)
    for step in range(version, kind.version):
        if (kind.name, step) in CONTENT_UPGRADES:
            old_inputs, old_result = CONTENT_UPGRADES[kind.name, step](old_inputs, old_result)
    return (
        _convert(old_inputs, kind.inputs, where=f"{where}, inputs"),
        _convert(old_result, kind.result, where=f"{where}, result"),
    )


def _decode(text: str, wanted: type[ContentT], where: str, part: str) -> ContentT:
    try:
        return msgspec.json.decode(text, type=wanted)
    except (msgspec.MsgspecError, UnicodeError, RecursionError) as error:
        raise _unfit(str(error), f"{where}, {part}") from error


def _convert(values: Json, wanted: type[ContentT], *, where: str) -> ContentT:
    try:
        return msgspec.convert(values, wanted)
    except (msgspec.MsgspecError, RecursionError) as error:
        raise _unfit(str(error), where) from error


def _unfit(why: str, where: str) -> RecordError:
    return RecordError(
        f"the record does not hold what its kind asks for: {why.replace(' - at `$', ' - at `')}",
        where=where,
        remedy="Look the log over with: pivotbench log check; a copy of an upgraded log lies beside it",
    )


def _array(value: object) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"{type(value).__name__} has no place in a record")
