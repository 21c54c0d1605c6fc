"""What kinds of key there are on the cards: tables, figures with limits, uncertainties, texts, ids, printed bars."""

from typing import Annotated, Literal

from msgspec import Meta, Struct


class Section(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One table of a card: a misspelt key is an error."""


def number(meaning: str, *, ge: float | None = None, gt: float | None = None, le: float | None = None) -> Meta:
    """A figure within these limits. meaning: as the cards and the reference say it."""
    return Meta(description=meaning, ge=ge, gt=gt, le=le)  # type: ignore[call-overload,no-any-return]


def uncertainty_of(of: str) -> Meta:
    """A standard uncertainty of something, in its unit."""
    return Meta(description=f"standard uncertainty of {of}", ge=0.0, le=1e4)


def text(meaning: str) -> Meta:
    """A text that a person writes."""
    return Meta(description=meaning, max_length=2000)


CardId = Annotated[
    str,
    Meta(
        description="made with the card, eight letters: leave it as it is; a copied card keeps it",
        pattern="^([a-z]{8})?$",
    ),
]
AxleKind = Literal["free", "solid", "differential"]
ShaftKind = Literal["none", "coupled"]
ScalesKind = Literal["not said", "one scale", "four scales"]
Load = Annotated[float, Meta(ge=0.0, le=200_000.0)]
Fraction = Annotated[float, Meta(ge=0.0, le=1.0)]
UNMEASURED_BAR_MM_U = 1.5
"""Standard uncertainty of a printed bar of 100 mm that nobody measured: 3 % at 95 %. A page that is "fitted" to the
printer's margins comes out 3 to 4 % small (287 of 297 mm), one at 100 % within half a per cent; which it was, only a
ruler tells."""
MEASURED_BAR_MM_U = 0.2
"""Standard uncertainty of a bar that stands on the card without one of its own: read off a ruler."""
UNMEASURED_RADIUS_MM_U, MEASURED_RADIUS_MM_U = 8.0, 1.0
"""Standard uncertainty of a wheel's radius that nobody measured, and of one on the card: loaded, off a ruler. Wheels of
most cars from 1:12 to 1:8 lie within twice the first of 32 mm. From memory, no source."""
BarU = Annotated[
    float,
    uncertainty_of(
        f"the bar's length; left out: {MEASURED_BAR_MM_U:g} with the bar on the card, otherwise {UNMEASURED_BAR_MM_U:g}"
    ),
]


def bar_length(sheet: str) -> Meta:
    """The printed bar of 100 mm on a sheet."""
    return number(f"length of the bar printed on {sheet}, by ruler (100 wanted); left out: not measured", ge=80, le=120)
