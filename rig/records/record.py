"""A record of the log and the kinds there are: what a kind is called, what it holds, and in which version."""

from dataclasses import dataclass
from typing import Any, Generic, TypeGuard, TypeVar

from rig.base.errors import BenchError
from rig.records.content import Content

InputsT = TypeVar("InputsT", bound=Content)
ResultT = TypeVar("ResultT", bound=Content)
InputsCo = TypeVar("InputsCo", bound=Content, covariant=True)
ResultCo = TypeVar("ResultCo", bound=Content, covariant=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Record(Generic[InputsCo, ResultCo]):
    """One entry. inputs: all that is needed to compute the result again; result: what was shown.

    number: order of writing in this log.  bench: id of the bench that wrote it.
    """

    id: str
    number: int
    bench: str
    kind: str
    title: str
    at: str
    software: str
    inputs: InputsCo
    result: ResultCo
    cards: tuple[str, ...]
    files: tuple[str, ...]
    parents: tuple[str, ...]


AnyRecord = Record[Content, Content]
"""A record whose kind is not known yet; `Kind.holds` and `Kind.of` tell."""


@dataclass(frozen=True, slots=True)
class Kind(Generic[InputsT, ResultT]):
    """One kind of record. version: of its content; raised, with a step in `upgrades`, when a field changes."""

    name: str
    inputs: type[InputsT]
    result: type[ResultT]
    version: int = 1

    def holds(self, record: Record[Any, Any]) -> TypeGuard[Record[InputsT, ResultT]]:
        """Whether a record is of this kind."""
        return record.kind == self.name

    def of(self, record: Record[Any, Any]) -> Record[InputsT, ResultT]:
        """The record as one of this kind. Raises BenchError when it is of another."""
        if self.holds(record):
            return record
        raise BenchError(
            f"this is a {record.kind}, not a {self.name}",
            where=f"record {record.number}",
            remedy="List the records with: pivotbench log",
        )
