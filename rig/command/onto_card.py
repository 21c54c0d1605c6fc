"""--write: an answer that belongs on a card, written there instead of only printed for copying."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.base.errors import BenchError
    from rig.base.plain_json import Json
    from rig.cards.keys.fields import CardKeys


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """lines: for people, what was written where.  refused: why it was not, to be raised after the answer is shown."""

    lines: tuple[str, ...] = ()
    refused: "BenchError | None" = None


def as_printed(row: "Json") -> "Json":
    """A row of a table with its numbers cut at six digits, as they are printed for copying."""
    return {key: float(f"{value:.6g}") if isinstance(value, float) else value for key, value in row.items()}


def onto_card(path: Path, kind: str, values: "CardKeys", *, as_read: str) -> Written:
    """Write an answer onto the card that it belongs on. What is refused is handed back: the answer itself stands."""
    from rig.base.errors import BenchError
    from rig.cards.written.edited import write_onto

    try:
        written = write_onto(path, kind, values, as_read=as_read)
    except BenchError as error:
        return Written(refused=error)
    return Written(lines=(f"wrote {path}: {', '.join(written) if written else 'it said so already'}",))
