"""The method section: model, assumptions, sources and the meaning of each cause of uncertainty, in plain words."""

from rig.report.html import Part, Table

MODEL = (
    "What is measured. The clip gives the car's pose in every picture from markers on the floor and on the car. The "
    "pivot is the point of the car that stands in the same floor place before and after the slide. Statistics are "
    "done on turn per travel: how far the car turns for each centimetre that its middle goes sideways. A pivot "
    "station follows from it; 0 % is the rear axle, 100 % the front axle.",
    "What is forecast. Each tyre can pass on at most its grip factor times its load. Among all motions that are "
    "possible while the finger advances, the car takes the one that wastes the least power in friction (quasi-static "
    "sliding). This is followed over the same rotation that was measured.",
    "How they are compared. Both results carry a 95 % interval. They agree when their difference is no larger than "
    "the doubt of that difference; when the doubt is too large to say, the verdict is that one cannot tell.",
)

ASSUMPTIONS = (
    "The slide is slow: inertia is small against friction.",
    "Tyre grip follows Coulomb's law: the limit is grip factor times load, whatever the speed.",
    "A blocked wheel grips alike in all directions; a rolling wheel passes on only its rolling drag along itself.",
    "The floor is level and its surface alike under all four tyres during one push.",
    "The car is rigid; springs move load only as the push's height and the roll share say.",
    "The marker plate does not move on the car, nor the sheets on the floor, during one clip.",
)

SOURCES = (
    ("uncertainty budget", "JCGM 100:2008 (GUM), law of propagation of uncertainty"),
    ("forecast's interval", "JCGM 101:2008 (GUM Supplement 1), Monte Carlo over all inputs"),
    ("interval of a ratio", "E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175-185"),
    ("car axes", "ISO 8855: x forward, y left, z up"),
    ("colours", "M. Okabe, K. Ito, Color Universal Design (2008)"),
)

MEANING = {
    "push position": "where along the car the finger touched (test card)",
    "push height": "how high above the floor the finger pushed (test card)",
    "push direction": "whether the finger pushed square to the car (test card)",
    "finger friction": "how much the fingertip rubs on the car (test card)",
    "corner weights": "the four wheel loads, weighed or typed in",
    "grip ratio": "grip of the front tyres against that of the rear tyres (test card)",
    "grip level": "how much all four tyres grip (test card)",
    "grip along against across": "how tyres grip along the car, against across it (test card)",
    "grip of single tyres": "differences between tyres of one axle",
    "contact places": "where the tyres really touch the floor (car card)",
    "wheelbase": "front axle to rear axle (car card)",
    "rolling drag": "how hard the wheels roll (car card)",
    "toe": "toe-in of the wheels (car card)",
    "contact patch": "length of rolling tyres' contact patches (car card; unset: from the wheel's radius)",
    "steering": "where both wheels of an axle point (car card)",
    "bearing drag": "what bearings hold whatever a wheel carries (car card)",
    "kind of drag": "whether bearings drag, or the tyres, which do more under load (car card; unset: either)",
    "slope of the floor": "how the floor falls where the car is pushed (test card)",
    "load sensitivity": "how much grip tyres lose under more load (car card; unset: 0.1, give or take 0.1)",
    "roll share": "front axle's share of a rolling moment (car card)",
    "height of the markers": "how high the marker plate is above the floor (car card)",
    "print scale of the car sheet": "the length of the bar printed on the marker plate (car card)",
    "place of the plate along the car": "where the plate sits, along the car (car card)",
    "place of the plate across the car": "where the plate sits, across the car (car card)",
    "turn of the plate on the car": "whether the plate sits square on the car (car card)",
    "print scale of the floor sheets": "the length of the bar printed on the floor sheets (bench card)",
    "camera and floor markers": "the lens, the camera's place, and how the floor sheets lie (from the clip)",
    "what repeats from picture to picture": "errors of finding markers that averaging does not reduce (from the clip)",
    "scatter of the poses at rest": "noise of the averaged poses before and after the slide (from the clip)",
    "the tyres' wind-up": "how the tyres give before they slide and spring back; less in a longer push (from the clip)",
}
"""Cause of uncertainty -> what it is and where its size comes from. A new name stands for itself."""

SHOWN = {"print scale of the car sheet": "print scale of the marker plate"}
"""Cause as tracks and records keep it -> as people read it, where that is not the same."""


def method_part() -> Part:
    """How the results in a report were found."""
    return Part(
        title="Method",
        paragraphs=[*MODEL, "Assumptions, each of which can fail:"],
        tables=[
            Table(caption="Assumptions", heads=("", "taken as true"), rows=_numbered(ASSUMPTIONS)),
            Table(caption="Sources", heads=("for", "source"), rows=SOURCES),
        ],
    )


def _numbered(texts: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(str(number), text) for number, text in enumerate(texts, start=1)]
