"""The lesson: ready experiments in order, each with what to do, what to look for and what to take care of."""

from dataclasses import dataclass, field

from rig.base import cautions
from rig.cards.keys.fields import CardKeys
from rig.virtual.dunlin import BALLAST_G, SETUPS, SetUp

_BARE = SETUPS[0]
CAUTIONS = (
    cautions.SCALE,
    cautions.BATTERY,
    cautions.SPRINGS,
    cautions.TABLE_EDGE,
    f"{cautions.MASSES} {cautions.BALLAST}",
    cautions.GLUE,
    cautions.PUPILS,
    cautions.PENCIL,
    cautions.LOCAL,
)
LEADS = ("the nose leads", "straight", "the tail leads")
LAGS = ("the front lags behind", "neither", "the rear lags behind")
SEEN = ("the nose led", "it went straight", "the tail led")
"""What one can write down of a push that was looked at."""
BAR_CHOICES = ("narrower in front", "it stays", "wider in front")
DRIFT_CHOICES = ("turning in", "holding", "changing sides")
PLACE: tuple[str, ...] = ()
"""The answer is a place on the car."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonStep:
    """One experiment. setup: the virtual car for it; None: nothing is pushed. todo: for a real car.

    choices: what can be answered to the question, PLACE for a place on the car.  worked: name of an answer that is
    worked out, where nothing is pushed.
    """

    name: str
    title: str
    question: str
    todo: str
    notes: str
    caution: str
    choices: tuple[str, ...] = LEADS
    setup: SetUp | None = None
    worked: str = ""


def _at(mass_at_mm: float) -> tuple[float, tuple[float, float]]:
    mass, (x, y) = _BARE.mass_g, _BARE.cg_mm
    total = mass + BALLAST_G
    return total, ((mass * x + BALLAST_G * mass_at_mm) / total, mass * y / total)


def _setup(
    name: str,
    title: str,
    *,
    ballast_at_mm: float | None = None,
    grip: tuple[float, float] = (0.80, 0.80),
    car: CardKeys | None = None,
    test: CardKeys | None = None,
) -> SetUp:
    """title: the car's state. Where it is pushed makes no other car: its truth and its weighing stay."""
    mass, cg = (_BARE.mass_g, _BARE.cg_mm) if ballast_at_mm is None else _at(ballast_at_mm)
    pushed_at: CardKeys = {"push.position_pct": MIDDLE_PCT}
    return SetUp(name=name, title=title, mass_g=mass, cg_mm=cg, grip=grip, car=car or {}, test=pushed_at | (test or {}))


MIDDLE_PCT, STRAIGHT_PCT, AHEAD_PCT = 50.0, 54.5, 85.0
"""Where the steps push: at the middle; where the car with more front grip goes straight (grip 0.96 and 0.80, weight
half and half: 0.96 of 1.76); and near the nose."""

_ROLLING: CardKeys = {"push.wheels": "as on the car card"}
_AHEAD: CardKeys = {"push.position_pct": AHEAD_PCT}
SOLID: CardKeys = {"front.kind": "solid", "rear.kind": "solid"}

STEPS: tuple[LessonStep, ...] = (
    LessonStep(
        name="balanced",
        title="Balanced, pushed at the middle",
        question="Four equal tyres, weight half and half. Pushed at the middle: which end goes further, nose or tail?",
        todo="Weigh the car and move things until front and rear carry the same. Block all wheels. Push at notch 5.",
        notes="Neither: pushed at its balance point a car slides straight. “Straight” is an answer, too. Only where "
        "the push is, not how hard, decides.",
        caution=cautions.BATTERY,
        setup=_setup("balanced", "balanced"),
    ),
    LessonStep(
        name="ballast-forward",
        title="Ballast forward",
        question="150 g fixed at the front bumper, pushed at the middle: does the nose lead or the tail?",
        todo="Fix 150 g (steel, wrapped) at the front. Weigh again.",
        notes="The tail comes round: a tyre's limit is its load times its grip factor, so the loaded end lags behind. "
        "The balance point moved toward the ballast; the weighing says by how much.",
        caution=f"{cautions.MASSES} {cautions.BALLAST}",
        setup=_setup("ballast-forward", "ballast forward", ballast_at_mm=282.0),
    ),
    LessonStep(
        name="ballast-back",
        title="Ballast back",
        question="Now the 150 g at the rear bumper: which end leads?",
        todo="Move the same 150 g to the rear. Weigh again.",
        notes="The nose leads: the mirror of the step before. Let the class say first what the weighing will show.",
        caution=f"{cautions.MASSES} {cautions.BALLAST}",
        setup=_setup("ballast-back", "ballast back", ballast_at_mm=-25.0),
    ),
    LessonStep(
        name="front-grip",
        title="More grip in front",
        question="No ballast, grippier front tyres. Same push at the middle: which end lags behind?",
        todo="Fit the grippier pair in front. Change nothing else. Weigh again: what does the weighing say?",
        notes="The end that grips more lags behind: the tail leads. The weights did not change, the balance point did: "
        "it is the front share of load times grip factor, not of load alone.",
        choices=LAGS,
        caution=cautions.GLUE,
        setup=_setup("front-grip", "more grip in front", grip=(0.96, 0.80)),
    ),
    LessonStep(
        name="rear-grip",
        title="More grip behind",
        question="And with the grippier pair behind?",
        todo="Swap the pairs: grippier tyres behind.",
        notes="The nose leads, and the balance point moved back.",
        choices=LAGS,
        caution=cautions.GLUE,
        setup=_setup("rear-grip", "more grip behind", grip=(0.80, 0.96)),
    ),
    LessonStep(
        name="straight",
        title="Close in on straight",
        question="Grippier front tyres again. Where must the finger push so that the car goes straight?",
        todo="Push once at the middle, read the balance point, push there. Was it straight? If not, once more.",
        notes="Ahead of the middle, where the balance point is. Every error but the finger's place shrinks there: that "
        "is the measurement. Twice the load on all wheels, or a wider track, changes nothing about it.",
        choices=PLACE,
        caution=cautions.BATTERY,
        setup=_setup("straight", "more grip in front", grip=(0.96, 0.80), test={"push.position_pct": STRAIGHT_PCT}),
    ),
    LessonStep(
        name="free",
        title="Wheels free",
        question="Same car, wheels free, pushed at the middle: what does it do now?",
        todo="Free the wheels. Hold the steering straight. Check that each spins easily.",
        notes="It swings about its front axle: pushed behind the balance point a rolling car turns about the axle that "
        "grips better. The balance point is the same; free wheels only say on which side of it the finger was.",
        choices=("about the front axle", "straight", "about the rear axle"),
        caution=cautions.SPRINGS,
        setup=_setup("free", "wheels free", grip=(0.96, 0.80), test=_ROLLING),
    ),
    LessonStep(
        name="ahead",
        title="Pushed near the nose",
        question="Four equal tyres again, wheels blocked, pushed at 85 % of the wheelbase: where does it pivot?",
        todo="Take everything off. Block the wheels. Push at notch 8 and a half.",
        notes="About a point behind the rear axle, on the far side of the push: not about the middle, and not about "
        "the finger, which is the one place that surely moves. More front grip moves this point backward: the balance "
        "point came nearer to the push.",
        choices=PLACE,
        caution=cautions.BATTERY,
        setup=_setup("ahead", "balanced", test=_AHEAD),
    ),
    LessonStep(
        name="solid",
        title="Solid axles",
        question="Left and right wheel of each axle locked together, pushed near the nose. As free, or as blocked?",
        todo="Lock the differentials, or glue a pair of wheels on one shaft.",
        notes="A solid axle can roll as a whole but not turn about itself: the answer lies between free and blocked.",
        choices=("as free", "in between", "as blocked"),
        caution=f"{cautions.GLUE} {cautions.SPRINGS}",
        setup=_setup("solid", "solid axles", car=SOLID, test=_ROLLING | _AHEAD),
    ),
    LessonStep(
        name="front-bar",
        title="A stiffer front bar",
        question="A stiffer anti-roll bar in front. On the move the balance can reach a whole region: what does the "
        "bar do to its front end?",
        todo="Nothing is pushed. Guess, then reveal: it is worked out.",
        notes="At rest nothing moves, so no push can show a bar. On the move a stiffer front bar makes the front tyres "
        "share the load that goes across less evenly, and the rear ones more evenly. Under braking, when the front "
        "carries most, the balance then has less room to either side; under power it has a little more.",
        choices=BAR_CHOICES,
        caution=cautions.SCALE,
        worked="bar",
    ),
    LessonStep(
        name="moving",
        title="And while driving?",
        question="In a drift, when is the balance farthest forward: turning in, holding, or changing sides?",
        todo="Nothing is pushed. Guess, then reveal: it is worked out. Talk about where load goes when the car brakes, "
        "turns and accelerates.",
        notes="Load travels forward on braking and backward under power, and with it the balance point. What a push "
        "lacks: driven wheels that spin, counter-steer, body air.",
        choices=DRIFT_CHOICES,
        caution=cautions.SCALE,
        worked="drift",
    ),
)


FIRST_STEP = next(step for step in STEPS if step.name == "ahead")
"""The virtual car when it is switched on: for a first try it has to swing about a point that a pin can mark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenChoice:
    """What may be hidden under the shell. ballast_at_mm: None for none.  grip: true factors front, rear."""

    name: str
    ballast_at_mm: float | None = None
    grip: tuple[float, float] = field(default=(0.80, 0.80))


HIDDEN: tuple[HiddenChoice, ...] = (
    HiddenChoice(name="nothing was changed"),
    HiddenChoice(name="150 g at the front", ballast_at_mm=282.0),
    HiddenChoice(name="150 g at the rear", ballast_at_mm=-25.0),
    HiddenChoice(name="grippier front tyres", grip=(0.96, 0.80)),
    HiddenChoice(name="grippier rear tyres", grip=(0.80, 0.96)),
)


def hidden_setup(choice: HiddenChoice) -> SetUp:
    """The virtual car with the secret in it; its card stays that of the balanced car."""
    return _setup("hidden", "something hidden", ballast_at_mm=choice.ballast_at_mm, grip=choice.grip, test=_AHEAD)


def step_named(name: str) -> LessonStep | None:
    """The step, or None."""
    return next((step for step in STEPS if step.name == name), None)
