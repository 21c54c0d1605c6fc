"""An exported folder described in an open packaging standard, and a page that tells a stranger what it is.

RO-Crate Metadata Specification 1.1 (P. Sefton and others, 2020, https://w3id.org/ro/crate/1.1): one JSON-LD file that
lists every file with its size, format and meaning, and a page beside it. Read from memory; the rules kept are tested.
"""

import csv
import html
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from urllib.parse import quote

from rig.archive.manifest import MANIFEST, SUMS
from rig.archive.pivots import PIVOT_HEADS, POSE_HEADS
from rig.base.plain_json import Json
from rig.base.version import SOFTWARE

METADATA, PAGE = "ro-crate-metadata.json", "ro-crate-preview.html"
PIVOTS, UNIT_TABLE = "pivots.csv", "units.csv"
FORMATS = {
    ".csv": "text/csv",
    ".json": "application/json",
    ".jsonl": "application/jsonl",
    ".toml": "application/toml",
    ".txt": "text/plain",
    ".html": "text/html",
    ".mp4": "video/mp4",
    ".webm": "video/webm",
    ".avi": "video/x-msvideo",
    ".mov": "video/quicktime",
    ".npz": "application/zip",
}
"""Ending -> media type; others are left unnamed."""
TITLE = "Bench log of a scale car: weighings, filmed side pushes and their pivots"
ABOUT = (
    "Corner weights, filmed side pushes and what was computed from them, written by a bench program for small-scale "
    "cars. Everything here is readable without it."
)
LICENCE = (
    "No licence is stated. Who made this log decides who may use it; where pupils were filmed, the school's rules "
    "come first."
)
HOW = (
    "To compute a pivot again: take the rows of a poses table that name a rest ('before 1', 'after 1'); average each "
    "rest, every pose weighted by the inverse of its 3 × 3 covariance matrix with 1e-12 added to each variance. With "
    "the way (Δx, Δy) from the first mean to the second, its headings ψ1 and ψ2 and ψ = (ψ1 + ψ2)/2: "
    "sideways = cos ψ Δy − sin ψ Δx, chord = 2 sin((ψ2 − ψ1)/2), travel = sideways + wheelbase × chord / 2, "
    "kappa = chord / travel. The pivot lies wheelbase/2 − 1/kappa ahead of the rear axle."
)
MEANINGS = {
    "README.txt": "What each file is, in plain text.",
    "records.jsonl": "Every record, one a line, as JSON: inputs, result, and the sums of what it rests on.",
    "cards.jsonl": "Every version of every card: sum, kind, name, when it was kept.",
    "files.jsonl": "Every clip, track and raw reading: sum, kind, name, size.",
    "schema.json": "JSON Schema of the lines of records.jsonl.",
    PIVOTS: "Every measured push: its pivot with its interval, the averaged poses, the clip's sum.",
    UNIT_TABLE: "The unit of every column of tables/: 1 for a count or a ratio, empty for words.",
    PAGE: "This description as a page.",
    "manifest.json": "Version of this form, and how many records, cards, files and sums there are.",
    SUMS: "SHA-256 of every other file, as sha256sum -c reads it.",
}
FOLDERS = {
    "tables": "All records of one kind, a column a value, the unit at the end of its name.",
    "poses": "Poses of the car on the floor, picture by picture, of one measured clip.",
    "cards": "A card as it was written.",
    "files": "A clip, raw readings or a track, as it is.",
}


def ro_crate(folder: Path, sums: Mapping[str, str], names: Mapping[str, str], *, newest: str | None) -> str:
    """The metadata of an exported folder as JSON-LD.

    sums: file -> SHA-256, of what is written already.  names: file -> the name it had at the bench.  newest: when the
    last record was made (UTC); None when there is none.
    """
    listed = [*sorted(sums), MANIFEST, SUMS]
    files = [_file(folder, name, sums.get(name), names.get(name, "")) for name in listed]
    root: Json = {
        "@id": "./",
        "@type": "Dataset",
        "name": TITLE,
        "description": f"{ABOUT} {HOW}",
        **({} if newest is None else {"datePublished": newest[:10]}),
        "license": {"@id": "#licence"},
        "hasPart": [{"@id": file["@id"]} for file in files],
        "mentions": {"@id": "#software"},
    }
    described: Json = {
        "@id": METADATA,
        "@type": "CreativeWork",
        "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
        "about": {"@id": "./"},
    }
    columns = [
        {"@id": f"#{table}-{head}", "@type": "PropertyValue", "name": head, "description": meaning}
        for table, heads in (("pivots", PIVOT_HEADS), ("poses", POSE_HEADS))
        for head, meaning in heads.items()
    ]
    besides: list[Json] = [
        {"@id": "#licence", "@type": "CreativeWork", "name": "No licence stated", "description": LICENCE},
        {"@id": "#software", "@type": "SoftwareApplication", "name": SOFTWARE.split()[0], "version": SOFTWARE},
    ]
    context = ["https://w3id.org/ro/crate/1.1/context", {"sha256": "https://schema.org/sha256"}]
    graph = [described, root, *files, *columns, *besides]
    return json.dumps({"@context": context, "@graph": graph}, ensure_ascii=False, indent=1) + "\n"


def _file(folder: Path, name: str, digest: str | None, called: str) -> Json:
    above, _, last = name.rpartition("/")
    kind = "text/plain" if name == SUMS else FORMATS.get(Path(last).suffix)
    heads = {"poses": "poses", "": "pivots" if name == PIVOTS else ""}.get(above, "")
    columns = {"pivots": PIVOT_HEADS, "poses": POSE_HEADS}.get(heads, {})
    measured = [{"@id": f"#{heads}-{head}"} for head in columns]
    size = {"contentSize": str((folder / name).stat().st_size)} if digest is not None else {}
    return {
        "@id": quote(name),
        "@type": "File",
        "name": called or last,
        "description": MEANINGS.get(name) or FOLDERS[above],
        **({} if kind is None else {"encodingFormat": kind}),
        **size,
        **({} if digest is None else {"sha256": digest}),
        **({"variableMeasured": measured} if measured else {}),
    }


STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem}"
    "table{border-collapse:collapse}th,td{text-align:left;padding:.2rem .7rem;border-bottom:1px solid #8886}"
    ".wide{overflow-x:auto}"
)


def contents_page(sums: Mapping[str, str], names: Mapping[str, str], pivots: str) -> str:
    """The folder told to a stranger as one HTML page. pivots: the table of pivots as CSV."""
    pushes = list(csv.DictReader(io.StringIO(pivots, newline="")))
    clips = {digest: name for name, digest in sums.items() if name.startswith("files/")}
    shown = [
        [
            row["at_utc"][:10],
            html.escape(row["title"]),
            row["push"],
            _pivot(row),
            _link(row["poses"], "poses"),
            _link(clips.get(row["clip_sha256"], ""), names.get(clips.get(row["clip_sha256"], ""), "")),
        ]
        for row in pushes
    ]
    single = [[_link(name, name), html.escape(text)] for name, text in MEANINGS.items()]
    folders = [[f"{name}/", html.escape(text)] for name, text in FOLDERS.items()]
    tables = [[_link(name, name), ""] for name in sorted(sums) if name.startswith("tables/")]
    heads = [[head, html.escape(text)] for head, text in PIVOT_HEADS.items()]
    poses = [[head, html.escape(text)] for head, text in POSE_HEADS.items()]
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{TITLE}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{STYLE}</style></head><body><main>\n'
        f"<h1>{TITLE}</h1>\n<p>{html.escape(ABOUT)}</p>\n<p>{html.escape(LICENCE)}</p>\n"
        "<h2>Every measured push</h2>\n"
        + _table(("day", "test", "push", "pivot", "", "clip"), shown)
        + "<p>The pivot is the point about which the car swung, in per cent of the wheelbase ahead of the rear axle; "
        "in brackets its 95 % interval.</p>\n"
        f"<h2>How a pivot is computed again</h2>\n<p>{html.escape(HOW)}</p>\n"
        "<h2>What lies here</h2>\n"
        + _table(("file", ""), [*single, *folders, *tables])
        + f"<h2>Columns of {PIVOTS}</h2>\n"
        + _table(("column", ""), heads)
        + "<h2>Columns of the poses</h2>\n"
        + _table(("column", ""), poses)
        + f"<p>Written by {html.escape(SOFTWARE)}.</p>\n</main></body></html>\n"
    )


def _pivot(row: Mapping[str, str]) -> str:
    if row["set_aside"]:
        return html.escape(f"set aside: {row['set_aside']}")
    if not row["station_pct"]:
        return html.escape(row["finding"])
    ends = [f"{float(row[key]):.1f}".replace("-", "−") for key in ("station_low_pct", "station_high_pct") if row[key]]
    return f"{float(row['station_pct']):.1f} %".replace("-", "−") + (f" ({' to '.join(ends)})" if ends else "")


def _link(name: str, words: str) -> str:
    return f'<a href="{html.escape(quote(name))}">{html.escape(words or name)}</a>' if name else ""


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f"<th>{text}</th>" for text in heads)
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>\n" for row in rows)
    return f'<div class="wide"><table><tr>{head}</tr>\n{body}</table></div>\n'
