"""What is printed for a class: the teacher's pack with drawings, and the ring in which a pencil stays standing."""

import math
from collections.abc import Sequence

from analysis.base.signs import true_minus
from analysis.figures.car import body_outline
from rig.base.car_words import side_words_mm, station_words_mm
from rig.base.cautions import PENCIL
from rig.base.errors import InputError
from rig.cards.read import CardSet
from rig.cards.written.reference import reference
from rig.page.bench.bench import Bench
from rig.page.bench.lesson_steps import CAUTIONS, STEPS
from rig.report.html import safe, table_html

PLAN = (
    ("0 to 7", "Zero the pads, weigh the car, read the two axles and both diagonals aloud.", "weigher, recorder"),
    ("7 to 12", "The question: pushed at the middle, which end leads? Write the guess down.", "all"),
    (
        "12 to 20",
        "Sheets down, bar checked, wheels blocked. Push at the middle, film it.",
        "filmer, pusher",
    ),
    (
        "20 to 25",
        "Write down what you saw, then a reason. Vote again. Reveal: who led, and the balance point.",
        "recorder",
    ),
    ("25 to 35", "Shift ballast, then change tyres: guess, weigh, push at the middle, each time.", "all, roles change"),
    ("35 to 40", "Close in on straight: push at the balance point found. Free the wheels: the same point.", "pusher"),
    ("40 to 45", "Push near the nose: where is the pivot now? One sentence each table, and why.", "all"),
)
KIT = (
    "A 1:10 car with its battery in place, unplugged; foam or tape to block the wheels",
    "Four pads on a firm, level table, or one kitchen scale and three blocks of the same height",
    "Printed floor sheets and marker plate, a steel ruler for the bar, tape",
    "A phone or camera on a stand that looks at the whole push from above at an angle",
    "The push rail with notches and the pusher with a rolling tip (drawings below)",
    "A second pair of tyres; 150 g of steel ballast, wrapped; round stickers; a light pencil",
)
WRONG_IDEAS = (
    ("“It turns about the middle.”", "Only if so pushed. Pushed near the nose, blocked wheels: it lies behind."),
    ("“It turns about the finger.”", "The finger is the one place that surely moves."),
    ("“More push, other pivot.”", "Slow pushes of any force give the same pivot; only quick ones differ."),
    ("“The end with more grip leads.”", "It lags behind: pushed at the middle the other end comes round."),
    (
        "“Heavier means more stable, so nothing changes.”",
        "Where the weight sits counts: a tyre's limit is its load times its grip factor. Double all: same pivot.",
    ),
    ("“A wider track moves the balance.”", "It turns less, about the same balance point."),
    (
        "“A front wheel in the air puts two thirds on the rear.”",
        "The sums of the axles stay: the other front wheel carries it all.",
    ),
    ("“±3 mm means somebody made a mistake.”", "Every measurement has a ±; a forecast without one cannot fail."),
)
DEPTHS = (
    ("First depth", "Guess, push at the middle, look. Front share of the weight, and which end led."),
    (
        "Second depth",
        "Balance point = front share of grip: x = L·F/(F+R) with F, R grip times load of front and rear. Push there "
        "and the car slides straight. Turn per travel κ passes through zero there; the pivot lies at L/2 − 1/κ.",
    ),
)
WIDEST_MM = 178.0
"""What stands to scale is no wider: A4 and Letter on end, with margins that every printer keeps."""
RISKS = ("What could hurt", "Who", "How likely, how bad", "What we do about it", "Who checks")


def pack_html(cards: CardSet) -> str:
    """The teacher's pack as one page to print."""
    length = cards.car.geometry.wheelbase_mm
    pieces = rail_pieces(length)
    joined = "" if len(pieces) == 1 else "Lay the notch of the same number of both pieces on each other and glue. "
    lines = [
        f"<h1>Where is its balance point?</h1><p>A lesson of 45 minutes with {safe(cards.car.name)}. "
        "No stopwatch, no ranks, no points, no names.</p>",
        "<h2>Plan and roles</h2>",
        table_html(("minutes", "what", "who"), PLAN),
        "<p>Roles: <b>weigher</b>, <b>pusher</b>, <b>filmer</b>, <b>recorder</b>; they change at minute 25.</p>",
        "<h2>Kit</h2>",
        _list(KIT),
        "<h2>Take care</h2>",
        _list(CAUTIONS),
        "<h2>Experiments and answers</h2>",
        table_html(("experiment", "question", "answer"), [(step.title, step.question, step.notes) for step in STEPS]),
        "<h2>Wrong ideas to expect</h2>",
        table_html(("heard", "what helps"), WRONG_IDEAS),
        "<h2>Two depths</h2>",
        table_html(("", ""), DEPTHS),
        "<h2>The standing pencil</h2><p>Print the ring from the page, fix it to the chassis where it shows, and stand "
        f"a light pencil on the floor inside it. {PENCIL} When the car swings about that point, the pencil stays "
        "up.</p>",
        "<h2 class=new>Worksheet</h2>",
        "<p>Our guess: nose leads / tail leads / straight. What we saw: ______________________________</p>",
        "<p>Our reason: ______________________________ Our second vote: nose / tail / straight</p>",
        table_html(
            ("set-up", "FL g", "FR g", "RL g", "RR g", "front %", "balance by push", "by weights", "agrees?"),
            [(name, *[""] * 8) for name in ("as it is", "changed: __________", "changed: __________")],
        ),
        _drawing("of the car", worksheet_car(cards)),
        "<p>One sentence: the balance point moved ______________ because ______________________________________</p>",
        "<h2 class=new>Risk sheet (fill in for your room)</h2>",
        table_html(RISKS, [("",) * 5 for _ in range(8)]),
        "<p>Filled in by the school: local rules and qualified people come first. Date ________</p>",
        "<h2 class=new>Drawing: clip-on push rail</h2>",
        f"<p>To scale for a wheelbase of {length:g} mm when printed at 100 %: check the 50 mm bar. {joined}Card or 3 "
        "mm plywood; clips or double-sided tape hold it to the chassis, as low as it goes. Notch 0 at the rear axle, "
        "notch 10 at the front axle.</p>",
        *(_drawing(f"of the rail from notch {a} to {b}", rail(length, a, b)) for a, b in pieces),
        "<h2>Drawing: pusher with a rolling tip</h2>",
        "<p>A ruler or stick with a small ball bearing (about 10 mm) on a screw at its end, lying flat: the tip rolls "
        "along the rail and presses square to it. Hold it 6 to 9 mm above the floor.</p>",
        _drawing("of the pusher", pusher()),
    ]
    return page_html("Teacher’s pack", "\n".join(lines))


def keys_html() -> str:
    """Every key of the cards as one page to print: the reference that `pivotbench new --keys` shows too."""
    lines = ["<h1>Every key of the cards</h1>"]
    for section in reference():
        may = " Only where you need it." if section.optional else ""
        rows = [
            (key.path.rpartition(".")[2], key.unit, key.meaning, f"{key.takes}; {key.default}") for key in section.keys
        ]
        lines += [
            f"<h2>{safe(section.head)}</h2><p>{safe(section.meaning + may)}</p>",
            table_html(("key", "unit", "meaning", "takes"), rows),
        ]
    return page_html("Every key of the cards", "\n".join(lines))


def ring_html(bench: Bench) -> str:
    """The ring at the forecast (or measured) pivot, to scale. Raises InputError when there is none on the car."""
    verdict, cards = bench.verdict, bench.cards()
    if verdict is None:
        raise InputError("nothing was pushed yet", where="standing pencil", remedy="Push once, then print the ring")
    estimate = verdict.forecast.prediction.estimate
    region = verdict.forecast.prediction.region
    if estimate.station_pct is None or region is None:
        raise InputError(
            "the forecast names no pivot for this push", where="standing pencil", remedy="Push farther ahead or behind"
        )
    x, y = (float(part) for part in region.place)
    where = f"Fix the ring with its cross {station_words_mm(x)} and {side_words_mm(y)}."
    (behind, right), (ahead, left) = body_outline(verdict.picture.wheelbase, verdict.picture.body)[[0, 2]]
    if not (behind < x < ahead and right < y < left):
        where += " That is outside the body: fix a light card arm to the chassis that carries the ring there."
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="90mm" viewBox="-60 -45 120 90" role="img" '
        'aria-label="Ring to cut out, 30 mm inside, 44 mm outside, with a cross and a 50 mm bar">'
        '<g fill="none" stroke="#000" stroke-width=".4"><circle r="22"/><circle r="15"/>'
        '<path d="M-28 0H-15M15 0H28M0-28V-15M0 15V28"/></g>'
        '<path d="M32 0l-6-3v6z"/><text x="34" y="1.5" font-size="5">nose</text>'
        '<path d="M-25 38v-4h50v4" fill="none" stroke="#000" stroke-width=".4"/>'
        '<text x="0" y="43" font-size="5" text-anchor="middle">50 mm when printed at 100 %</text></svg>'
    )
    return page_html(
        "Standing pencil",
        f"<h1>The standing pencil</h1><p>{safe(where)}</p><p>Stand a light pencil on the floor inside the ring. "
        f"{PENCIL} Then push as before ({cards.test.push.position_pct:g} %). The car swings about the pencil, which "
        "stays up.</p>" + _drawing("of the ring", drawing),
    )


def worksheet_car(cards: CardSet) -> str:
    """The car from above with a scale in per cent, to draw on."""
    g = cards.car.geometry
    length, half = g.wheelbase_mm, g.body_width_mm / 2
    left = -max(g.body_rear_mm, 0.9 * length)
    ticks = "".join(
        f'<path d="M{length * pct / 100:.1f} {half + 8:.1f}v6" stroke="#000"/>'
        f'<text x="{length * pct / 100:.1f}" y="{half + 28:.1f}" font-size="13" text-anchor="middle">'
        f"{true_minus(str(pct))}</text>"
        for pct in range(-80, 121, 20)
    )
    wheels = "".join(
        f'<rect x="{x - 24:.1f}" y="{y - 10:.1f}" width="48" height="20" rx="4"/>'
        for x, track in ((length, g.track_front_mm), (0.0, g.track_rear_mm))
        for y in (-track / 2, track / 2)
    )
    width = length + g.body_front_mm - left + 40
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{left - 20:.1f} {-half - 20:.1f} {width:.1f} '
        f'{2 * half + 60:.1f}" '
        f'role="img" aria-label="The car from above, nose to the right, with a scale in per cent of the wheelbase">'
        f'<g fill="none" stroke="#000" stroke-width="1.5"><rect x="{-g.body_rear_mm:.1f}" y="{-half:.1f}" '
        f'width="{length + g.body_front_mm + g.body_rear_mm:.1f}" height="{2 * half:.1f}" rx="14"/>{wheels}'
        f'<path d="M{left:.1f} {half + 8:.1f}H{length * 1.2:.1f}"/></g>{ticks}</svg>'
    )


def rail(length: float, first: int = 0, last: int = 10) -> str:
    """The push rail with numbered notches, mm, or the piece of it from notch `first` to notch `last`."""
    pitch = length / 10
    wide = pitch * (last - first)
    notches = "".join(
        f'<path d="M{10 + pitch * (n - first) - 3:.2f} 10l3 4 3-4" fill="none" stroke="#000" stroke-width=".5"/>'
        f'<text x="{10 + pitch * (n - first):.2f}" y="22" font-size="6" text-anchor="middle">{n}</text>'
        for n in range(first, last + 1)
    )
    clips = "".join(
        f'<rect x="{10 + pitch * (at - first) - 8:.1f}" y="30" width="16" height="10" fill="none" stroke="#000" '
        'stroke-width=".5" stroke-dasharray="2 1"/>'
        for at in (2.5, 7.5)
        if first < at < last
    )
    words = "rear axle at 0; clips under the chassis" if (first, last) == (0, 10) else f"notch {first} to {last}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide + 20:.1f}mm" height="58mm" '
        f'viewBox="0 0 {wide + 20:.1f} 58" '
        f'role="img" aria-label="Rail with notches numbered {first} to {last} and its clips">'
        f'<rect x="2" y="10" width="{wide + 16:.1f}" height="20" fill="none" stroke="#000" stroke-width=".5"/>'
        f'{notches}{clips}<text x="10" y="46" font-size="6">{words}</text>'
        '<path d="M10 50v3h50v-3" fill="none" stroke="#000" stroke-width=".5"/>'
        '<text x="64" y="54" font-size="6">50 mm</text></svg>'
    )


def rail_pieces(length: float) -> list[tuple[int, int]]:
    """First and last notch of each piece that fits on paper of every usual size; pieces share a notch to be joined."""
    for count in range(1, 11):
        notches = math.ceil(10 / count)
        if length / 10 * notches + 20 <= WIDEST_MM:
            break
    return [(first, min(first + notches, 10)) for first in range(0, 10, notches)]


def pusher() -> str:
    """The pusher from above and from the side, mm; the stick is drawn short."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="170mm" height="62mm" viewBox="0 0 170 62" role="img" '
        'aria-label="A stick with a ball bearing lying flat at its end, from above and from the side">'
        '<g fill="none" stroke="#000" stroke-width=".5"><rect x="4" y="8" width="82" height="14" rx="2"/>'
        '<circle cx="90" cy="15" r="5"/><circle cx="90" cy="15" r="1.5"/>'
        '<rect x="4" y="44" width="88" height="3"/><rect x="85" y="47" width="10" height="4"/>'
        '<path d="M90 41v10M72 54H100"/></g>'
        '<text x="100" y="17" font-size="5">bearing, rolls</text><text x="4" y="6" font-size="5">from above</text>'
        '<text x="4" y="40" font-size="5">from the side</text>'
        '<text x="103" y="53" font-size="5">6 to 9 mm to the floor</text></svg>'
    )


def _drawing(what: str, svg: str) -> str:
    return f'<div class="drawing" tabindex="0" role="region" aria-label="Drawing {what}, to scale">{svg}</div>'


def _list(items: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{safe(item)}</li>" for item in items) + "</ul>"


def page_html(title: str, body: str) -> str:
    """A page to print. body: HTML."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f'<title>{safe(title)}</title><link rel="icon" href="data:,"><link rel="stylesheet" href="/static/print.css">'
        f"</head><body><main>{body}</main></body></html>\n"
    )
