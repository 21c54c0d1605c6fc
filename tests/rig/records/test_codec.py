"""Records of every kind go through the log, an export and an import and come out as they went in.

Truth: what hypothesis drew from the types themselves. And the code's text: every kind that it writes is registered.
"""

import ast
import json
import types
import typing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rig.archive.bundle import export_bench, import_bench
from rig.log.store import BenchLog
from rig.records.codec import RecordError, as_record, checked, from_record, plain
from rig.records.record import Kind
from rig.records.registry import RECORD_KINDS
from rig.records.weighing import ZeroResult

RIG = Path(__file__).parents[3] / "rig"
GROUPS = 6
"""As many logs are written for all kinds: it is writing, exporting and importing them that takes the time."""
PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    float: st.floats(allow_nan=False, allow_infinity=False),
    int: st.integers(-(2**53), 2**53),
    str: st.text(st.characters(exclude_categories=("Cs",)), max_size=8),
    bool: st.booleans(),
    types.NoneType: st.none(),
}


def drawn(kind: Any) -> st.SearchStrategy[Any]:
    """Values of a type that a record's field may have."""
    if kind in PLAIN:
        return PLAIN[kind]
    inner, origin = typing.get_args(kind), typing.get_origin(kind)
    if isinstance(kind, types.UnionType):
        return st.one_of(*(drawn(one) for one in inner))
    if origin is typing.Literal:
        return st.sampled_from(inner)
    if origin is tuple and inner[-1] is Ellipsis:
        return st.lists(drawn(inner[0]), max_size=3).map(tuple)
    if origin is tuple:
        return st.tuples(*(drawn(one) for one in inner))
    if origin is dict:
        return st.dictionaries(drawn(inner[0]), drawn(inner[1]), max_size=2)
    hints = typing.get_type_hints(kind)
    return st.builds(kind, **{field.name: drawn(hints[field.name]) for field in msgspec.structs.fields(kind)})


@pytest.mark.parametrize("first", range(GROUPS))
@given(data=st.data())
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_a_record_of_any_kind_is_written_read_exported_and_imported_unchanged(first: int, data: st.DataObject) -> None:
    kinds = [RECORD_KINDS[name] for name in sorted(RECORD_KINDS)[first::GROUPS]]
    given = [(data.draw(drawn(kind.inputs)), data.draw(drawn(kind.result))) for kind in kinds]
    with TemporaryDirectory() as place:
        with BenchLog(Path(place) / "log") as log:
            log.database.execute("PRAGMA synchronous = OFF")  # a scratch log: speed alone matters
            made = [
                log.record(kind, "t", inputs=inputs, result=result)
                for kind, (inputs, result) in zip(kinds, given, strict=True)
            ]
            read = [next(log.records(kind=kind)) for kind in kinds]
            export_bench(log, Path(place) / "out")
        with BenchLog(Path(place) / "other") as other:
            import_bench(other, Path(place) / "out")
            taken = [next(other.records(kind=kind)) for kind in kinds]
        written = (Path(place) / "out" / "records.jsonl").read_text(encoding="utf-8")
        lines = [json.loads(one) for one in written.rstrip("\n").split("\n")]
    assert [(one.inputs, one.result) for one in read] == given
    assert made == read == taken
    assert [(one["kind"], one["version"], one["result"]) for one in lines] == [
        (kind.name, kind.version, plain(result)) for kind, (_, result) in zip(kinds, given, strict=True)
    ]


def _kinds_in(path: Path) -> dict[str, str]:
    """Name of each kind that a module defines -> what it is called in the log."""
    found = {}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if (
            isinstance(node, ast.Assign)
            and isinstance(node.value, ast.Call)
            and isinstance(node.value.func, ast.Name)
            and node.value.func.id == Kind.__name__
        ):
            found[ast.unparse(node.targets[0])] = ast.literal_eval(node.value.args[0])
    return found


def test_every_kind_that_the_code_writes_is_registered() -> None:
    """A name in capitals is a kind of rig/records; a text is the kind itself."""
    defined: dict[str, str] = {}
    for path in (RIG / "records").glob("*.py"):
        defined |= _kinds_in(path)
    assert set(defined.values()) == set(RECORD_KINDS)
    assert all(name == kind.name for name, kind in RECORD_KINDS.items())
    written = set()
    for path in RIG.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "record"):
                continue
            first = node.args[0] if node.args else None
            if isinstance(first, ast.Constant) and isinstance(first.value, str):
                written.add(first.value)
            elif isinstance(first, ast.Name) and first.id.isupper():
                written.add(defined[first.id])
    assert written == set(RECORD_KINDS)


def test_arrays_are_kept_as_numbers_and_other_things_have_no_place() -> None:
    given: Any = ZeroResult(
        counts=np.array([1.5, 2.0, -3.0, 4.25]),
        u=np.ones(4),
        noise=np.zeros(4),
        samples=np.int64(7),  # type: ignore[arg-type]
    )
    assert checked(given, where="here") == ZeroResult(
        counts=(1.5, 2.0, -3.0, 4.25), u=(1.0,) * 4, noise=(0.0,) * 4, samples=7
    )
    for spoilt, words in (
        ({"counts": np.array([1.0, 2.0, 3.0])}, "counts"),
        ({"u": np.array([1.0, float("nan"), 1.0, 1.0])}, "u"),
        ({"samples": "seven"}, "samples"),
    ):
        with pytest.raises(RecordError, match=words):
            checked(msgspec.structs.replace(given, **spoilt), where="here")
    with pytest.raises(TypeError, match="has no place"):
        plain(msgspec.structs.replace(given, samples=object()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Emptied:
    """A result with what `ZeroResult` holds, but for its samples."""

    counts: tuple[float, ...]
    u: tuple[float, ...]
    noise: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Renamed(Emptied):
    """With its samples, too, but under another name than the record's."""

    readings: int


def test_a_result_and_its_record_have_the_same_fields_or_say_which_they_do_not_share() -> None:
    given = Emptied(counts=(1.5, 2.0, -3.0, 4.25), u=(1.0,) * 4, noise=(0.5, 0.0, 0.0, 0.0))
    record = as_record(given, ZeroResult, samples=7)
    assert record == ZeroResult(counts=(1.5, 2.0, -3.0, 4.25), u=(1.0,) * 4, noise=(0.5, 0.0, 0.0, 0.0), samples=7)
    assert from_record(record, Emptied) == given
    with pytest.raises(RecordError, match="missing required field `samples`"):
        as_record(given, ZeroResult)
    with pytest.raises(RecordError, match="unknown field `readings`"):
        as_record(Renamed(counts=given.counts, u=given.u, noise=given.noise, readings=7), ZeroResult, samples=7)
    with pytest.raises(RecordError, match="missing required field `readings`"):
        from_record(record, Renamed)
