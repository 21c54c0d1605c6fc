"""A self-contained HTML report: words first, then pictures, then tables; nothing is fetched from anywhere."""

import html
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.base.signs import true_minus
from rig.base.cautions import BATTERY, LOCAL, SCALE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_STYLE = """
:root{color-scheme:light dark}
body{font:16px/1.5 system-ui,sans-serif;max-width:62rem;margin:2rem auto;padding:0 1rem;
color:CanvasText;background:Canvas}
h1{font-size:1.6rem;margin-bottom:.2rem}h2{font-size:1.2rem;margin-top:2rem}
.verdict{font-size:1.15rem;border-left:.4rem solid #0072B2;padding:.5rem 1rem;margin:1rem 0}
.figure{background:#fff;border-radius:6px;padding:4px;margin:1rem 0}
.figure svg{width:100%;height:auto;display:block}
table{border-collapse:collapse;margin:1rem 0;font-variant-numeric:tabular-nums}
th,td{text-align:left;padding:.25rem .8rem;border-bottom:1px solid #8886}
caption{text-align:left;font-weight:600;padding:.3rem 0}
details{margin:1rem 0}summary{font-size:1.1rem;font-weight:600;cursor:pointer}
video{width:100%;max-width:40rem;border-radius:6px}
footer{margin-top:3rem;font-size:.9rem}
@page{margin:13mm}
@media print{body{max-width:none;margin:0;padding:0}h2{break-after:avoid}.figure,table{break-inside:avoid}
.figure svg{max-height:165mm}}
"""

REPORT_CAUTION = f"{SCALE} {BATTERY} {LOCAL}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """caption, one head per column, rows of text."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of a report. verdict is set apart; `alt` tells the figure to readers who cannot see it.

    film: a data address of a WebM film, or "".  folded: shown as a line that opens when asked.
    """

    title: str
    verdict: str = ""
    paragraphs: Sequence[str] = ()
    figure: "Figure | None" = None
    alt: str = ""
    tables: Sequence[Table] = ()
    film: str = ""
    folded: bool = False


def report_html(title: str, parts: Sequence[Part], *, footer: str) -> str:
    """The whole page as text. All given texts are escaped."""
    body = "\n".join(_part(part) for part in parts)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{safe(title)}</title><style>{_STYLE}</style></head>\n<body><main><h1>{safe(title)}</h1>\n"
        f"{body}\n</main><footer><p>{safe(REPORT_CAUTION)}</p><p>{safe(footer)}</p></footer></body></html>\n"
    )


def svg_text(figure: "Figure", *, salt: str) -> str:
    """A figure as inline SVG. The salt keeps ids stable and apart from other figures'."""
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    buffer = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": salt, "svg.fonttype": "path"}):
        # the same bytes as savefig's, which would draw everything twice
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None})  # type: ignore[no-untyped-call]
    text = buffer.getvalue()
    return text[text.index("<svg") :]


def _part(part: Part) -> str:
    pieces = [f"<details><summary>{safe(part.title)}</summary>"] if part.folded else []
    pieces += [] if part.folded else [f"<section><h2>{safe(part.title)}</h2>"]
    if part.verdict:
        pieces.append(f'<p class="verdict">{safe(part.verdict)}</p>')
    pieces += [f"<p>{safe(text)}</p>" for text in part.paragraphs]
    if part.figure is not None:
        svg = svg_text(part.figure, salt=part.title)
        pieces.append(f'<div class="figure" role="img" aria-label="{safe(part.alt or part.title)}">{svg}</div>')
    if part.film:
        pieces.append(f'<video controls loop muted src="{safe(part.film)}" aria-label="{safe(part.alt)}"></video>')
    for table in part.tables:
        pieces.append(table_html(table.heads, table.rows, caption=table.caption))
    return "\n".join([*pieces, "</details>" if part.folded else "</section>"])


def table_html(heads: Sequence[str], rows: Sequence[Sequence[str]], *, caption: str = "") -> str:
    """A table of texts; heads that are all empty are left out."""
    above = f"<caption>{safe(caption)}</caption>" if caption else ""
    head = "".join(f'<th scope="col">{safe(cell)}</th>' for cell in heads)
    body = "".join("<tr>" + "".join(f"<td>{safe(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table>{above}{f'<thead><tr>{head}</tr></thead>' if any(heads) else ''}<tbody>{body}</tbody></table>"


def safe(text: str) -> str:
    """As it stands in HTML."""
    return html.escape(true_minus(text), quote=True)
