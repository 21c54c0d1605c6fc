"""Traps of pushes and series: cards copied, edited, given twice; rows of a plan that contradict their cards."""

from tests.benchmarks.mixed.acts import near_balance, plan_of, series_of
from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.questions import ask_effects, ask_infer, ask_repeated, ask_sweep
from tests.benchmarks.mixed.things import Test


def test_card_copied(h: History) -> None:
    """The next push's card is a copy, its place changed and its name (and id) left."""
    first = h.tests[0]
    off = near_balance(first.car, -9)
    card = first.card.copy_to(first.card.path.with_name(f"copy-{h.number()}.toml"), {"push.position_pct": off})
    second = Test(card, first.car, first.table)
    h.push(second)
    ask_infer(h, first, touched=True)
    ask_infer(h, second, touched=True)


def place_edited(h: History) -> None:
    """The card's place is changed for the next push after this one was measured."""
    h.tests[0].card.edit({"push.position_pct": h.tests[0].station_pct + float(h.rng.choice([-7.0, 6.0]))})
    ask_infer(h, h.tests[0], touched=True)


def place_corrected(h: History) -> None:
    """The card had the place wrong: it was pushed elsewhere, and the card is put right after measuring."""
    car = h.cars[0]
    true = near_balance(car, 7)
    test = h.test(h.tables[0], car, true - 6.0)
    push = h.push(test, station_pct=true)
    test.card.edit({"push.position_pct": true})
    ask_infer(h, test, touched=True, truth=push.grip_ratio)


def wheelbase_edited(h: History) -> None:
    """Somebody types another wheelbase into the car's card after the push (a slip, or another car's)."""
    car = h.cars[0]
    car.card.edit({"geometry.wheelbase_mm": 281.0, "geometry.track_front_mm": 140.0, "geometry.track_rear_mm": 140.0})
    ask_infer(h, h.tests[0], touched=True)
    car.card.edit({"geometry.wheelbase_mm": 257.0, "geometry.track_front_mm": 165.0, "geometry.track_rear_mm": 165.0})


def card_given_again(h: History) -> None:
    """The same card four times over."""
    ask_repeated(h, h.tests[0], 4)


def clip_under_two_cards(h: History) -> None:
    """One clip is measured under two cards by mistake: the second push was never filmed."""
    other = h.test(h.tables[0], h.cars[0], near_balance(h.cars[0], -10))
    h.events.append(("push", other.card.values["name"], h.tests[0].pushes[-1].kappa))
    said = h.run("push", "measure", other.card.path, "--clip", h.tests[0].pushes[-1].clip, must=False)
    if said.refused or said.warned:
        h.note("measure", "refused" if said.refused else "warned", careless_wrong=True)
    else:
        ask_infer(h, other, touched=True, truth=None)


def sweep_with_one_twice(h: History) -> None:
    """A sweep over three cards, two of them the same."""
    ask_sweep(h, [h.tests[0], h.tests[1], h.tests[0]], touched=True)


def plan_from_two_cards(h: History) -> None:
    """Eight rows of a plan are filled from two cards."""
    (soft, *_), (hard, *_), _ = series_of(h)
    rows = [("right", t.station_pct, t, tyre) for _ in range(4) for t, tyre in ((soft, "soft"), (hard, "hard"))]
    change = hard.pushes[-1].kappa - soft.pushes[-1].kappa
    ask_effects(h, plan_of(h, rows), change, 2, touched=True)


def plan_with_other_side(h: History) -> None:
    """A row says left where its card says right."""
    soft, hard, change = series_of(h)
    rows = [("right", t.station_pct, t, "soft") for t in soft] + [("left", t.station_pct, t, "hard") for t in hard]
    ask_effects(h, plan_of(h, rows), change, 4, touched=True, known=False)


def plan_with_other_place(h: History) -> None:
    """The rows say 85 % where the cards say something else."""
    soft, hard, change = series_of(h)
    rows = [("right", 85.0, t, "soft") for t in soft] + [("right", 85.0, t, "hard") for t in hard]
    ask_effects(h, plan_of(h, rows), change, 4, touched=True, known=False)


def plan_with_mixed_blocks(h: History) -> None:
    """Tyres were changed within each block of the plan: what a block's mean says of one set-up is of two."""
    soft, hard, change = series_of(h)
    order = ((soft[0], "soft"), (hard[0], "hard"), (hard[1], "hard"), (soft[1], "soft"))
    rows = [("right", t.station_pct, t, tyre) for t, tyre in order]
    ask_effects(h, plan_of(h, rows, blocks=(1, 1, 2, 2)), change, 4, touched=True)
