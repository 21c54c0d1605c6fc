"""Pictures of the moving car: reachable balance points, the path through a drift, and an animation by itself."""

import html
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheel_names import WHEELS
from analysis.base.wheels import AXLES
from analysis.figures.car import FORECAST, MEASURED, QUIET
from analysis.moving.phases import DriftPath
from analysis.moving.region import INSET, Region

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS, LINES = (FORECAST, MEASURED), ("-", "--")
WHEEL_SIZE = (0.056, 0.024)
FRAMES_PER_S = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionDraws:
    """What is not known of a region, to be drawn with it. edges: (n, d, 2) m, its edge in n draws.

    rest_half: m, 95 % half-width of the balance point at rest.  rest_by: what says where that is.
    widths: its width near the rear and the front end, in words.
    """

    edges: FloatArray
    rest_half: float
    rest_by: str
    widths: tuple[str, str]


def region_figure(
    contact_place: FloatArray,
    regions: Sequence[tuple[str, Region]],
    draws: Sequence[RegionDraws] = (),
    *,
    title: str = "Balance points within grip",
) -> "Figure":
    """Car from above, nose to the right, with the region of balance points of up to two set-ups, mm.

    contact_place: (4, 2) m.  regions: (name, region) each.  draws: beside each region, what is not known of it: thin
    lines are regions that the cards leave open as well, the bar is the balance point at rest with its 95 %.
    Wheels that lift somewhere at the edge are hatched and named, the stretch of edge where they do is marked.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 6.4), layout="constrained")
    axes = figure.add_subplot()
    _car(axes, contact_place, up=[k for k in range(4) if any(one.lifted[:, k].any() for _, one in regions)])
    for k, ((name, region), colour, line) in enumerate(zip(regions, COLOURS, LINES, strict=False)):
        loops = region.outline or (np.concatenate([region.edge, region.edge[:1]]),)
        for i, loop in enumerate(loops):
            axes.fill(1e3 * loop[:, 0], 1e3 * loop[:, 1], facecolor=colour, alpha=0.12)
            area = "" if k < len(draws) else f": {1e4 * region.area:.1f} cm²"  # no figure without its ±
            label = f"{name}{area}" if i == 0 else None
            axes.plot(1e3 * loop[:, 0], 1e3 * loop[:, 1], color=colour, linestyle=line, linewidth=1.8, label=label)
        lifts = region.lifted.any(-1)
        if lifts.any():
            here = 1e3 * region.edge[lifts]
            axes.plot(here[:, 0], here[:, 1], marker="^", markersize=4, color=colour, linestyle="none")
        if k < len(draws):
            _unknown(axes, region, draws[k], colour, above=k == 0)
        else:
            axes.plot(*(1e3 * region.rest), marker="x", color=colour, markersize=9, linestyle="none")
    axes.legend(loc="upper center", fontsize=9)
    axes.set_title(f"{title} (x: at rest)", loc="left", fontsize=12)
    return figure


def _unknown(axes: "Axes", region: Region, unsure: RegionDraws, colour: str, *, above: bool) -> None:
    """The balance point at rest with its bar, thin edges of the draws, the widths at their places."""
    for edge in unsure.edges:
        loop = 1e3 * np.concatenate([edge, edge[:1]])
        axes.plot(loop[:, 0], loop[:, 1], color=colour, linewidth=0.4, alpha=0.25, zorder=1)
    x, y = 1e3 * region.rest
    axes.errorbar(
        [x],
        [y],
        xerr=[[1e3 * unsure.rest_half]] * 2,
        marker="x",
        color=colour,
        markersize=9,
        capsize=5,
        linestyle="none",
    )
    side = 1 if above else -1
    reach = max(float(np.nanmax(np.abs(unsure.edges[..., 1]))), *np.abs(region.side)) if len(unsure.edges) else 0.03
    axes.annotate(
        f"at rest, by {unsure.rest_by}",
        (x, y),
        xytext=(x, side * (1e3 * reach + 5)),
        arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.6},
        ha="center",
        va="bottom" if above else "top",
        fontsize=8,
        color=colour,
    )
    low, high = (1e3 * v for v in region.station)
    inset = INSET * (high - low)
    places = ((low + inset, -1, "right"), (high - inset, 1, "left"))
    for (at, way, align), width, words in zip(places, region.width, unsure.widths, strict=True):
        half = 500 * width
        axes.plot([at, at], [-half, half], color=colour, linewidth=0.9, linestyle=":")
        axes.annotate(
            f"{words} wide",
            (at, side * half),
            xytext=(x + way * (1e3 * reach + 12), side * 14),
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.6},
            ha=align,
            va="center",
            fontsize=8,
            color=colour,
        )


def path_figure(names: Sequence[str], paths: Sequence[tuple[str, DriftPath]], contact_place: FloatArray) -> "Figure":
    """Loads against time with the phases named, and the balance point's way in the plane; up to two set-ups.

    contact_place: (4, 2) m, car axes.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.2, 7.4), layout="constrained")
    upper, lower = figure.subplots(2, 1, height_ratios=(1.2, 1))
    first = paths[0][1]
    joints = np.flatnonzero(np.diff(first.phase)) + 1
    for at in joints:
        upper.axvline(first.time[at], color=QUIET, linewidth=0.6)
    for k, name in enumerate(names):
        inside = first.time[first.phase == k]
        if len(inside):
            upper.text(inside.mean(), 1.01, name, ha="center", va="bottom", fontsize=8, transform=_mixed(upper))
    wheel_colours = ("#0072B2", "#D55E00", "#009E73", "#CC79A7")
    for (label, path), line in zip(paths, LINES, strict=False):
        for i in range(4):
            wheel_label = f"{WHEELS[i]}{f', {label}' if len(paths) > 1 else ''}"
            upper.plot(
                path.time, path.load[:, i], color=wheel_colours[i], linestyle=line, label=wheel_label, linewidth=1.3
            )
    upper.set_xlabel("time, s")
    upper.set_ylabel("load, N")
    upper.legend(fontsize=7, ncols=4, loc="upper center", bbox_to_anchor=(0.5, -0.14))
    at_rest = 1e3 * np.asarray(contact_place).mean(0)
    lower.plot(*at_rest, marker="+", color=QUIET, linestyle="none", label="middle of the wheelbase")
    lower.set_aspect("equal", adjustable="datalim")
    lower.set_xlabel("ahead of the rear axle, mm")
    lower.set_ylabel("left of the middle, mm")
    for (label, path), colour, line in zip(paths, COLOURS, LINES, strict=False):
        xy = 1e3 * path.centre
        lower.plot(xy[:, 0], xy[:, 1], color=colour, linestyle=line, label=label, linewidth=1.2)
        for k in range(len(names)):
            inside = np.flatnonzero(path.phase == k)
            if len(inside) and np.all(np.isfinite(xy[inside[-1]])):
                lower.annotate(str(k + 1), xy[inside[len(inside) // 2]], color=colour, fontsize=9)
    lower.legend(fontsize=8, loc="center left", bbox_to_anchor=(1.0, 0.5))
    lower.set_title("balance point (figures: phases)", loc="left", fontsize=10)
    return figure


def drift_page(
    title: str, names: Sequence[str], paths: Sequence[tuple[str, DriftPath]], contact_place: FloatArray
) -> str:
    """The drift as one self-contained page: set-ups side by side from above, wheels as big as their load.

    A button plays at the drift's own pace, a slider goes through it; without scripts the first moment is seen and a
    note says so. A lifted wheel is drawn hollow with a word, not by colour alone.
    contact_place: (4, 2) m, car axes.
    """
    first = paths[0][1]
    every = max(1, round(1 / FRAMES_PER_S / float(first.time[1] - first.time[0])))
    some = np.arange(0, len(first.time), every)
    heaviest = max(float(np.nanmax(path.load)) for _, path in paths)
    data = {
        "names": list(names),
        "step": float(first.time[some[1]] - first.time[some[0]]) if len(some) > 1 else 0.05,
        "time": _plain(first.time[some]),
        "phase": [int(k) for k in first.phase[some]],
        "most": heaviest,
        "ax": _plain(first.ax[some] / STANDARD_GRAVITY),
        "ay": _plain(first.ay[some] / STANDARD_GRAVITY),
        "steer": _plain(np.degrees(first.steer[some])),
        "place": [_plain(1e3 * np.asarray(p)) for p in contact_place],
        "cars": [
            {
                "name": label,
                "load": [_plain(row) for row in path.load[some]],
                "up": [[bool(u) for u in row] for row in path.lifted[some]],
                "centre": [_plain(1e3 * row) for row in path.centre[some]],
            }
            for label, path in paths
        ],
    }
    text = json.dumps(data, allow_nan=False).replace("</", "<\\/")
    return PAGE.replace("@TITLE@", html.escape(title)).replace("@DATA@", text)


def _plain(values: FloatArray) -> list[float | None]:
    return [round(float(v), 4) if np.isfinite(v) else None for v in values]


def _car(axes: "Axes", contact_place: FloatArray, *, up: Sequence[int] = ()) -> None:
    from matplotlib.patches import Rectangle

    length, width = (1e3 * v for v in WHEEL_SIZE)
    place = 1e3 * np.asarray(contact_place)
    for k, (x, y) in enumerate(place):
        hatch = "///" if k in up else None
        corner = (x - length / 2, y - width / 2)
        axes.add_patch(Rectangle(corner, length, width, facecolor="none", edgecolor=QUIET, hatch=hatch))
        if k in up:
            axes.annotate("lifts at the edge", (x, y + (1 if y > 0 else -1) * width), ha="center", fontsize=8)
    for a, b in AXLES:
        axes.plot(place[[a, b], 0], place[[a, b], 1], color=QUIET, linewidth=0.8)
    axes.plot([0, place[0, 0]], [0, 0], color=QUIET, linewidth=0.6, linestyle=":")
    axes.set_aspect("equal")
    axes.set_xlabel("ahead of the rear axle, mm")
    axes.set_ylabel("left of the middle, mm")
    axes.margins(0.08)


def _mixed(axes: "Axes"):  # type: ignore[no-untyped-def]
    return axes.get_xaxis_transform()


PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">
<title>@TITLE@</title><style>
body{font:16px/1.4 system-ui,sans-serif;margin:1rem auto;max-width:70rem;padding:0 1rem;color:#111;background:#fff}
.cars{display:flex;flex-wrap:wrap;gap:1rem}.cars figure{flex:1 1 20rem;margin:0}svg{width:100%;height:auto}
input{width:100%}button{font:inherit;padding:.3rem 1rem}output{font-variant-numeric:tabular-nums}
</style></head><body><h1>@TITLE@</h1>
<p><button id="play" type="button">Play</button> <output id="said" aria-live="off"></output></p>
<p><label>Moment <input id="at" type="range" min="0" value="0" step="1"></label></p>
<div class="cars" id="cars"></div><noscript><p>The animation needs scripts; the table and pictures of the report do
not.</p></noscript>
<p>Seen from above, nose up. Discs: load of each wheel by area; hollow and named: in the air. Cross: balance point.</p>
<script>
const D=@DATA@,NS="http://www.w3.org/2000/svg",$=i=>document.getElementById(i);
const el=(n,a,p)=>{const e=document.createElementNS(NS,n);for(const k in a)e.setAttribute(k,a[k]);p.append(e);return e};
const xs=D.place.map(p=>p[0]),ys=D.place.map(p=>p[1]),L=Math.max(...xs),W=Math.max(...ys)*2,R=W*.2;
const views=D.cars.map(c=>{const f=document.createElement("figure"),h=document.createElement("figcaption");
h.textContent=c.name;f.append(h);$("cars").append(f);
const s=el("svg",{viewBox:`${-W/2-R*2.2} ${-L-R*1.6} ${W+R*4.4} ${L+R*3.2}`,role:"img","aria-label":c.name},f);
el("rect",{x:-W/2+R*.4,y:-L-R*.7,width:W-R*.8,height:L+R*1.4,rx:R*.4,fill:"none",stroke:"#555"},s);
const w=D.place.map(p=>({d:el("circle",{cx:-p[1],cy:-p[0],stroke:"#009E73","stroke-width":2},s),
t:el("text",{x:-p[1],y:-p[0]+R*.15,"text-anchor":"middle","font-size":R*.42},s)}));
const trail=el("polyline",{fill:"none",stroke:"#0072B2","stroke-width":1,points:c.centre.filter(p=>p[0]!==null).map(p=>`${-p[1]},${-p[0]}`).join(" ")},s);
const x=el("path",{stroke:"#D55E00","stroke-width":3,fill:"none"},s);return{c,w,x}});
function show(i){const k=D.phase[i];$("said").textContent=`${D.names[k]} · ${D.time[i].toFixed(2)} s · forward ${D.ax[i].toFixed(2)} g, left ${D.ay[i].toFixed(2)} g, steer ${D.steer[i].toFixed(0)}°`;
for(const v of views){v.w.forEach((w,j)=>{const n=v.c.load[i][j],up=v.c.up[i][j];
w.d.setAttribute("r",up||n===null?R*.5:R*Math.sqrt(n/D.most));w.d.setAttribute("fill",up||n===null?"none":"#009E7355");
w.t.textContent=n===null?"rolled over":up?"in the air":n.toFixed(2)+" N"});
const p=v.c.centre[i];v.x.setAttribute("d",p[0]===null?"":`M${-p[1]-R*.2} ${-p[0]}h${R*.4}M${-p[1]} ${-p[0]-R*.2}v${R*.4}`)}}
const bar=$("at");bar.max=D.time.length-1;bar.oninput=()=>show(+bar.value);let timer=null;
$("play").onclick=()=>{if(timer){clearInterval(timer);timer=null;$("play").textContent="Play";return}
$("play").textContent="Stop";timer=setInterval(()=>{bar.value=(+bar.value+1)%D.time.length;show(+bar.value)},1000*D.step)};show(0);
</script></body></html>
"""  # noqa: E501
