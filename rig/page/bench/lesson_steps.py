"""The lesson: ready experiments in order, each with what to do, what to look for and what to take care of."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rig.virtual.dunlin import BALLAST_G, SETUPS, SetUp

_BARE = SETUPS[0]
CAUTIONS = (
    "Scale models only; nothing here is advice for driving a full-size car.",
    "Unplug the motor and the battery before hands go near wheels. The battery stays in for weighing and pushing.",
    "Keep fingers clear of the driveline and of springs under load.",
    "A rail or a catcher at the table's edge; cables and tripods out of the way.",
    "Check masses away from toes. No lead as ballast in class.",
    "Tyre treatments and glue only with air and gloves.",
    "When filming pupils: sound off, crop to the floor sheets, follow the school's rules.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonStep:
    """One experiment. setup: the virtual car for it; None: nothing is pushed. todo: for a real car."""

    name: str
    title: str
    question: str
    todo: str
    notes: str
    caution: str
    setup: SetUp | None = None


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
    car: Mapping[str, Any] | None = None,
    test: Mapping[str, Any] | None = None,
) -> SetUp:
    mass, cg = (_BARE.mass_g, _BARE.cg_mm) if ballast_at_mm is None else _at(ballast_at_mm)
    pushed_at = {"push.position_pct": 85.0}
    return SetUp(
        name=name, title=title, mass_g=mass, cg_mm=cg, grip=grip, car=dict(car or {}), test=pushed_at | dict(test or {})
    )


_ROLLING = {"push.wheels": "as on the car card"}
SOLID = {"front.kind": "solid", "rear.kind": "solid"}

STEPS: tuple[LessonStep, ...] = (
    LessonStep(
        name="balanced",
        title="Balanced",
        question="Four equal tyres, weight half and half. Pushed near the nose: where will it pivot?",
        todo="Weigh the car and move things until front and rear carry the same. Block all wheels.",
        notes="Most people point at the middle of the car, or at the finger. It swings about a point behind the "
        "middle, on the far side of the push: the farther ahead the push, the nearer the pivot comes.",
        caution=CAUTIONS[1],
        setup=_setup("balanced", "balanced"),
    ),
    LessonStep(
        name="front-grip",
        title="More grip in front",
        question="Same push, grippier front tyres. Does the pivot move forward or back?",
        todo="Fit the grippier pair in front. Change nothing else.",
        notes="The front now holds on, so the balance point lies farther forward: the same push is nearer to it, "
        "the car turns less and the pivot moves away to the rear.",
        caution=CAUTIONS[5],
        setup=_setup("front-grip", "more grip in front", grip=(0.96, 0.80)),
    ),
    LessonStep(
        name="rear-grip",
        title="More grip behind",
        question="And with the grippier pair behind?",
        todo="Swap the pairs: grippier tyres behind.",
        notes="The balance point moves back, the push is farther from it, and the pivot comes closer to the rear axle.",
        caution=CAUTIONS[5],
        setup=_setup("rear-grip", "more grip behind", grip=(0.80, 0.96)),
    ),
    LessonStep(
        name="ballast-forward",
        title="Ballast forward",
        question="150 g fixed at the front bumper. Same as more front grip, or something else?",
        todo="Fix 150 g (steel, wrapped) at the front. Weigh again.",
        notes="Weight is grip: 150 g in front acts as grippier front tyres do. The weighing says by how much.",
        caution=CAUTIONS[4],
        setup=_setup("ballast-forward", "ballast forward", ballast_at_mm=282.0),
    ),
    LessonStep(
        name="ballast-back",
        title="Ballast back",
        question="Now the 150 g at the rear bumper: which way does the pivot go?",
        todo="Move the same 150 g to the rear. Weigh again.",
        notes="The mirror of the step before. Let the class say first what the weighing will show.",
        caution=CAUTIONS[4],
        setup=_setup("ballast-back", "ballast back", ballast_at_mm=-25.0),
    ),
    LessonStep(
        name="blocked",
        title="Wheels blocked, pushed at the middle",
        question="Pushed at 50 % of the wheelbase with blocked wheels: does it turn at all?",
        todo="Block the wheels with foam or tape. Push at the notch 5.",
        notes="Near the balance point the car slides almost straight. “Straight” is an answer too; the page says so "
        "instead of naming a far-off point.",
        caution=CAUTIONS[1],
        setup=_setup("blocked", "blocked, pushed at the middle", test={"push.position_pct": 50.0}),
    ),
    LessonStep(
        name="free",
        title="Wheels free",
        question="The wheels may roll. Pushed near the nose: where is the pivot now?",
        todo="Free the wheels. Check that each spins easily.",
        notes="Free wheels act like a switch: ahead of the balance point the car swings about its rear axle, "
        "behind it about its front axle. Good for showing, poor for measuring grip.",
        caution=CAUTIONS[2],
        setup=_setup("free", "wheels free", test=_ROLLING),
    ),
    LessonStep(
        name="solid",
        title="Solid axles",
        question="Left and right wheel of each axle locked together. Free again, or blocked?",
        todo="Lock the differentials, or glue a pair of wheels on one shaft.",
        notes="A solid axle can roll as a whole but not turn about itself: the answer lies between free and blocked.",
        caution=CAUTIONS[2],
        setup=_setup("solid", "solid axles", car=SOLID, test=_ROLLING),
    ),
    LessonStep(
        name="moving",
        title="And while driving?",
        question="In a drift, which phase has the pivot farthest forward: turning in, holding, or changing sides?",
        todo="Nothing is pushed. Talk about where load goes when the car brakes, turns and accelerates.",
        notes="Load travels forward on braking and backward under power, and with it the balance point. What a push "
        "lacks: driven wheels that spin, counter-steer, body air.",
        caution=CAUTIONS[0],
    ),
)


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
    return _setup("hidden", "something hidden", ballast_at_mm=choice.ballast_at_mm, grip=choice.grip)


def step_named(name: str) -> LessonStep | None:
    """The step, or None."""
    return next((step for step in STEPS if step.name == name), None)
