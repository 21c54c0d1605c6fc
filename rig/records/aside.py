"""Records that set another one aside."""

from rig.records.content import Content
from rig.records.record import Kind


class AsideInputs(Content, frozen=True, kw_only=True):
    """The record that is set aside, its parent: its number in this log, and its kind."""

    number: int
    kind: str


class AsideResult(Content, frozen=True, kw_only=True):
    """Why it does not count any more."""

    why: str


ASIDE = Kind("aside", AsideInputs, AsideResult)
