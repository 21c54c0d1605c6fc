"""The twelve commands in the job's own order, and the words of each: one table for the first screen and for help."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class FirstLevel:
    """A command of the first screen.

    about: what it does by itself, one line.  words: its own words and what each does.  takes: what it takes instead
    of a word, as its help shows it; "" when it takes nothing.
    """

    about: str
    words: dict[str, str] = field(default_factory=dict)
    takes: str = ""

    @property
    def line(self) -> str:
        """What the first screen says of it: one line with its words."""
        return "; ".join(filter(None, [self.about, ", ".join(self.words)]))


FIRST_SCREEN: dict[str, FirstLevel] = {
    "demo": FirstLevel("The story on the virtual bench: no hardware needed"),
    "new": FirstLevel(
        "Write the cards of a bench",
        {
            "sheets": "Print sheets with markers and check bar, to scale",
            "card": "Print a car card on A5, what differs from another in bold",
            "send": "Pack a car card as one file for another bench",
            "take": "Take a car card from another bench; what to measure again",
        },
        takes="DIR",
    ),
    "pads": FirstLevel(
        "What is connected",
        {
            "list": "List the serial ports of this machine",
            "calibrate": "Calibrate the pads against check masses",
            "zero": "Zero the empty pads",
            "live": "Show four loads as they are now",
            "level": "What pad height is worth, and which shims to use",
            "record": "Keep a port's raw traffic in a file, to play back",
            "board": "The pad board: protocol, wiring, firmware, as files",
        },
    ),
    "weigh": FirstLevel(
        "Corner weights and centre of gravity",
        {
            "height": "Height of the centre of gravity, by lifting an axle",
            "cross": "Bring the cross weight where it is wanted, step by step",
        },
        takes="TEST.toml",
    ),
    "push": FirstLevel(
        "Measure a filmed push, judge",
        {
            "film": "Record a push with the live camera when the car moves",
            "measure": "Measure only: who led, balance point, pivot",
            "forecast": "Forecast only, from weights and grip",
            "folder": "Measure many clips on all cores",
        },
        takes="TEST.toml",
    ),
    "grip": FirstLevel(
        "What its grip is",
        {
            "tilt": "Measure a grip factor on a tilted board",
            "pull": "Measure a grip factor with a spring balance",
            "along": "Measure grip along the tyres over grip across",
            "sweep": "Grip ratio from pushes at several positions",
            "infer": "Grip ratio backwards from any pushes",
            "ladder": "Rank tyre pairs by grip on this floor",
            "load": "Measure how grip falls with load",
        },
        takes="TEST.toml",
    ),
    "change": FirstLevel(
        "Two set-ups: what moved, which way, how much",
        {
            "plan": "Plan a series of pushes",
            "effects": "Say which change did what in a series",
        },
        takes="A.toml",
    ),
    "aim": FirstLevel(
        "What brings the balance where you want it",
        {"ballast": "What a ballast move does to the corner weights"},
        takes="TEST.toml",
    ),
    "moving": FirstLevel(
        "The car on the move, phase by phase",
        {
            "rates": "Measure springs, motion ratio, roll stiffness, bar, damping",
            "drive": "Read a filmed circle or drift, the model beside",
            "tilt": "Measure load transfer on tilted pads",
            "freeze": "Ballast for a moment's loads at rest",
        },
        takes="TEST.toml",
    ),
    "camera": FirstLevel(
        "The cameras here",
        {
            "calibrate": "Calibrate a camera from a clip or photos of a board",
            "floor": "Find where sheets lie that were put down by eye",
            "plate": "Find where the marker plate sits on the car",
        },
    ),
    "bench": FirstLevel("The page in your browser (--virtual: without hardware)"),
    "log": FirstLevel(
        "What is recorded",
        {
            "report": "Report on one experiment, a series or a term",
            "export": "Write the whole log into a folder that stands by itself",
            "import": "Take an exported folder into this log",
            "check": "Look over this machine and the log",
            "recalculate": "Compute what stands in the log again",
            "aside": "Set a failed record aside: it counts no more",
        },
    ),
}
"""Name -> what it is. The code of `weigh` is in rig.command.weigh.weigh, that of `weigh height` in its neighbour."""


def module_of(first: str, word: str = "") -> str:
    """The module that holds a command or one of its words."""
    name = word or first
    return f"rig.command.{first}.{name}_" if name == "import" else f"rig.command.{first}.{name}"
