"""Orders, clocks, clips given twice, plans and imports: what was done when, and by whom.

By hand: the order of the acts as the test makes them; statics and the closed form (tests/benchmarks/mixed/truth.py).
"""

import json
import re
import shutil

import pytest

from tests.benchmarks.mixed.acts import (
    DAY,
    another_table,
    imported,
    near_balance,
    on_floor,
    other_state,
    plan_of,
    pull_at,
    pushed,
    second_car,
    series_of,
)
from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.questions import (
    ask_effects,
    ask_forecast,
    ask_grip,
    ask_infer,
    ask_log,
    ask_sweep,
    ask_weigh,
)
from tests.faults.mixed_cases import answered_rightly, must_say, must_tell, no_wrong_answer
from tests.faults.quick_bench import BOARDS, CLOCKS, Board, pivotbench

pytestmark = pytest.mark.thorough  # rule by rule these are in tests/values/test_belongs_*.py


@pytest.mark.parametrize("jump", [-20 * 365 * DAY, -3 * DAY, -5.0, 400 * DAY], ids=lambda s: f"{s / DAY:.3g} days")
def test_the_clock_jumps_between_zeroing_and_weighing(h: History, jump: float) -> None:
    CLOCKS.set_wall(jump)
    ask_weigh(h, h.tests[0], touched=True)
    no_wrong_answer(h)


@pytest.mark.parametrize("jump", [-20 * 365 * DAY, -90.0, 400 * DAY], ids=lambda s: f"{s / DAY:.3g} days")
def test_a_pad_is_moved_and_zeroed_after_the_clock_jumped(h: History, jump: float) -> None:
    table = h.tables[0]
    CLOCKS.set_wall(jump)
    table.board.offset[3] += 35 * table.board.gain[3]
    h.zero(table)
    CLOCKS.pass_by(15.0)
    ask_weigh(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_zeros_before_and_after_a_jump_are_not_joined_by_a_line(h: History) -> None:
    """Zero, pad moved, zero; the clock goes back to between the two: the last zero counts, not one half way."""
    table = h.tables[0]
    CLOCKS.pass_by(3600.0)
    table.board.offset[0] += 60 * table.board.gain[0]
    h.zero(table)
    CLOCKS.set_wall(-1800.0)
    CLOCKS.pass_by(10.0)
    ask_weigh(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_the_newest_weighing_is_the_last_one_made_whatever_the_clock_said(h: History) -> None:
    CLOCKS.set_wall(-30 * DAY)
    other_state(h, h.cars[0], told=False)
    h.weigh(h.tests[0])
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)
    no_wrong_answer(h)


def test_calibrated_again_but_not_zeroed(h: History) -> None:
    table = h.tables[0]
    table.board.gain = (600.0, -300.0, 350.0, 700.0)
    h.calibrate(table)
    must_say(h, "weigh", h.tests[0].card.path, hands=h.set_on(table, h.cars[0]))
    no_wrong_answer(h)


@pytest.mark.parametrize(
    "words",
    [
        ("weigh", "--turned", "half"),
        ("weigh height", "--height", "40", "--height", "60", "--height", "80"),
        ("weigh cross", "--target", "50"),
        ("pads level", "--shim", "2"),
    ],
    ids=lambda words: words[0],
)
def test_another_board_is_told_by_every_command_at_the_pads(h: History, words: tuple[str, ...]) -> None:
    h.cars[0].card.edit({f"chassis.{end}.spring_n_per_mm": 2.4 for end in ("front", "rear")})
    h.weigh(h.tests[0])
    port = str(h.tables[0].card.values["pads.port"])
    BOARDS[port] = h.tables[0].board = Board("another", (700.0, -300.0, 300.0, 900.0), [0.0, 500.0, -70.0, 10.0])
    hands = h.set_on(h.tables[0], h.cars[0])
    said = pivotbench(*words[0].split(), h.tests[0].card.path, *words[1:], "--log", h.log, hands=hands)
    assert (said.code == 2 and "another" in said.err) or said.warned, said


def test_the_same_board_at_another_port_is_still_known(h: History) -> None:
    """A cable in another socket: the board says who it is."""
    card = h.tables[0].card
    BOARDS["port-elsewhere"] = BOARDS.pop(str(card.values["pads.port"]))
    card.edit({"pads.port": "port-elsewhere"})
    ask_weigh(h, h.tests[0])
    answered_rightly(h)


def test_pads_that_say_nothing_on_another_port(h: History) -> None:
    """The bench card copied to a second table, and neither board can say who it is: only the port tells."""
    for kind in ("calibrate", "zero"):
        h.tables[0].board.name = ""
        getattr(h, kind)(h.tables[0])
    ask_weigh(h, h.tests[0])
    assert not h.answers[-1].warned, "one's own pads on their own port"
    second = another_table(h, "")
    second.board.name = ""
    second.card.values = h.tables[0].card.values | {"pads.port": second.card.values["pads.port"]}
    second.card.write()
    ask_weigh(h, h.tests[-1], touched=True, known=False)
    no_wrong_answer(h)


def test_two_boards_change_ports(h: History) -> None:
    first, second = h.tables[0], another_table(h, "Far table")
    h.calibrate(second)
    h.zero(second)
    ports = [str(table.card.values["pads.port"]) for table in (first, second)]
    BOARDS[ports[0]], BOARDS[ports[1]] = second.board, first.board
    first.board, second.board = second.board, first.board
    ask_weigh(h, h.tests[0], touched=True)
    ask_weigh(h, h.tests[-1], touched=True)
    no_wrong_answer(h)


def test_one_clip_measured_twice_is_one_push(h: History) -> None:
    h.measure(h.tests[0], h.tests[0].pushes[-1])
    path = h.tests[0].card.path
    must_tell(
        h,
        [1.0],
        lambda said: [float(n) for n in re.findall(r"from (\d+) push", said.text)],
        "grip",
        "infer",
        path,
        "--json",
    )
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_a_copy_of_a_clip_under_another_name_is_no_second_push(h: History) -> None:
    test, push = h.tests[0], h.tests[0].pushes[-1]
    push.clip = shutil.copyfile(push.clip, push.clip.with_name("copy of it.json"))
    other = h.test(h.tables[0], h.cars[0], test.station_pct - 9)
    said = h.run("push", "measure", other.card.path, "--clip", push.clip, must=False)
    if said.code == 0 and not said.warned:
        ask_infer(h, other, touched=True, truth=None)
        no_wrong_answer(h)


def test_measured_again_after_a_slip_on_the_card(h: History) -> None:
    """The card had the place wrong; it is put right and the clip measured again: the second measurement counts."""
    car = h.cars[0]
    true = near_balance(car, 7)
    test = h.test(h.tables[0], car, true - 6.0)
    push = h.push(test, station_pct=true)
    test.card.edit({"push.position_pct": true})
    said = h.run("push", "measure", test.card.path, "--clip", push.clip, must=False)
    assert said.code in (0, 2), said.err
    ask_infer(h, test, touched=True)
    no_wrong_answer(h)


def test_a_clip_replaced_by_another_of_its_name(h: History) -> None:
    """The next push is filmed into the same file: the first push stays what was measured then."""
    first, second = h.tests[:2]
    shutil.copyfile(second.pushes[-1].clip, first.pushes[-1].clip)
    ask_infer(h, first, touched=True)
    no_wrong_answer(h)


def test_repeats_under_one_card_are_counted(h: History) -> None:
    """The same test card takes several clips: two pushes, said as two, or the last one, said as one."""
    h.push(h.tests[0])
    said = h.run("grip", "infer", h.tests[0].card.path, "--json")
    assert re.search(r"from [12] push", said.text)
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_one_clip_under_two_cards_in_a_sweep(h: History) -> None:
    first, second = h.tests[:2]
    third = h.test(h.tables[0], h.cars[0], first.station_pct + 0.4)
    h.run("push", "measure", third.card.path, "--clip", first.pushes[-1].clip, must=False)
    must_say(h, "grip", "sweep", *(test.card.path for test in (first, second, third)))
    no_wrong_answer(h)


def test_a_plan_with_one_clip_under_two_cards(h: History) -> None:
    soft, hard, _ = series_of(h)
    again = h.test(h.tables[0], h.cars[0], soft[0].station_pct)
    h.run("push", "measure", again.card.path, "--clip", soft[0].pushes[-1].clip, must=False)
    rows = [
        ("right", t.station_pct, t, tyre)
        for t, tyre in ((soft[0], "soft"), (again, "soft"), *((t, "hard") for t in hard))
    ]
    must_say(h, "effects", plan_of(h, rows))
    no_wrong_answer(h)


def test_a_plan_with_two_cars(h: History) -> None:
    soft, hard, _ = series_of(h)
    other = second_car(h, "Snipe")
    theirs = h.test(h.tables[0], other, hard[0].station_pct)
    h.weigh(theirs)
    h.push(theirs)
    rows = [
        ("right", t.station_pct, t, tyre)
        for t, tyre in (*((t, "soft") for t in soft), (hard[0], "hard"), (theirs, "hard"))
    ]
    must_say(h, "effects", plan_of(h, rows))
    no_wrong_answer(h)


def test_a_plan_whose_rows_were_put_in_another_order(h: History) -> None:
    """Rows sorted by tyre in a table program: each still belongs to its own card."""
    soft, hard, change = series_of(h)
    rows = [
        ("right", t.station_pct, t, tyre)
        for t, tyre in ((soft[0], "soft"), (hard[0], "hard"), (soft[1], "soft"), (hard[1], "hard"))
    ]
    plan = plan_of(h, rows)
    head, *lines = plan.read_text().splitlines()
    plan.write_text("\n".join([head, *sorted(lines, key=lambda line: line.split(",")[-1])]) + "\n")
    sign = 1 if sorted(["hard", "soft"])[0] == "soft" else -1
    ask_effects(h, plan, sign * change, 4, touched=True)
    no_wrong_answer(h)


@pytest.mark.parametrize("recorded", ["no", "yes"])
def test_a_row_of_a_plan_that_was_not_pushed(h: History, recorded: str) -> None:
    """A row without a card, or of a card without a push, is not made up."""
    soft, hard, change = series_of(h)
    empty = h.test(h.tables[0], h.cars[0], soft[0].station_pct)
    pairs = [
        (test, tyre) for pair in zip(soft, hard, strict=True) for test, tyre in zip(pair, ("soft", "hard"), strict=True)
    ]
    rows = [("right", test.station_pct, test, tyre) for test, tyre in pairs]
    plan = plan_of(h, [*rows, ("right", empty.station_pct, empty, "hard")])
    text = plan.read_text().splitlines()
    text[-1] = text[-1].replace(",yes,", f",{recorded},")
    plan.write_text("\n".join(text) + "\n")
    if recorded == "no":
        ask_effects(h, plan, change, 4, touched=True)
    else:
        must_say(h, "effects", plan)
    no_wrong_answer(h)


def test_a_colleagues_push_of_the_same_name(h: History) -> None:
    name = str(h.tests[0].card.values["name"])
    ours, h.log = h.log, h.root / "theirs"
    table = h.table("far", "Far table")
    car = h.car(table, str(h.cars[0].card.values["name"]))
    test = h.test(table, car, near_balance(car, 5), **{"typed.weights_g": car.loads_g})
    test.card.edit({"name": name})
    h.push(test)
    h.run("log", "export", h.root / "out")
    h.log = ours
    h.run("log", "import", h.root / "out")
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h, fooled=True)


def test_a_colleagues_grip_of_a_car_of_the_same_name(h: History) -> None:
    keys = on_floor("lino", "soft")
    mine = h.test(h.tables[0], h.cars[0], 50.0, **keys)
    pull_at(h, mine, 0.9)
    ours, h.log = h.log, h.root / "theirs"
    table = h.table("far", "Far table")
    car = h.car(table, str(h.cars[0].card.values["name"]))
    theirs = h.test(table, car, 50.0, **keys, **{"typed.weights_g": car.loads_g})
    pull_at(h, theirs, 0.6)
    h.run("log", "export", h.root / "out")
    h.log = ours
    h.run("log", "import", h.root / "out")
    ask_grip(h, mine, 0.9, touched=True, careless=0.75)
    no_wrong_answer(h, fooled=True)


def test_ones_own_older_export_taken_back_changes_nothing(h: History) -> None:
    h.run("log", "export", h.root / "backup")
    other_state(h, h.cars[0], told=True)
    h.weigh(h.tests[0])
    h.run("log", "import", h.root / "backup")
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)
    ask_log(h, touched=True)
    no_wrong_answer(h)


def test_on_a_new_machine_the_bench_is_still_ones_own(h: History) -> None:
    """The whole log is exported and taken into an empty one, cards and all: the same board, the same car."""
    h.run("log", "export", h.root / "all of it")
    h.log = h.root / "new machine"
    h.run("log", "import", h.root / "all of it")
    ask_weigh(h, h.tests[0], touched=True)
    ask_forecast(h, h.tests[0], h.cars[0].loads_g, touched=True)
    ask_infer(h, h.tests[0], touched=True)
    no_wrong_answer(h)


def test_a_colleagues_newer_weighing_of_the_very_same_car_is_said(h: History) -> None:
    """The same cards, copied to a colleague with the car, who put ballast in and weighed it."""
    mine = list(h.cars[0].loads_g)
    ours, h.log = h.log, h.root / "theirs"
    theirs = h.new_loads()
    h.tests[0].card.edit({"typed.weights_g": theirs})
    h.run("weigh", h.tests[0].card.path)
    h.events.append(("weighing", h.cars[0].card.values["name"], theirs))
    h.run("log", "export", h.root / "out")
    h.log = ours
    h.tests[0].card.values.pop("typed.weights_g")
    h.tests[0].card.write()
    h.run("log", "import", h.root / "out")
    ask_forecast(h, h.tests[0], mine, touched=True)
    no_wrong_answer(h, fooled=True)


def test_an_import_between_a_push_and_its_inference(h: History) -> None:
    imported(h, bench=str(h.tables[0].card.values["name"]), car=str(h.cars[0].card.values["name"]))
    ask_infer(h, h.tests[0], touched=True)
    ask_sweep(h, [*h.tests[:2], pushed(h, h.cars[0], 2)], touched=True)
    no_wrong_answer(h, fooled=True)


def test_grip_of_a_floor_on_which_nothing_was_measured(h: History) -> None:
    """Pulled on carpet; asked of lino: what carpet gave is not told of lino, nor pasted."""
    carpet = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("carpet", "soft"))
    lino = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("lino", "soft"))
    pull_at(h, carpet, 0.95)
    ask_grip(h, lino, None, touched=True, careless=0.95)
    no_wrong_answer(h)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("conditions.cleaning", "wiped with alcohol"),
        ("conditions.treatment", "additive"),
        ("conditions.dust", "much"),
        ("conditions.floor_temperature_c", 38.0),
    ],
)
def test_grip_under_other_conditions_is_not_mixed_in(h: History, key: str, value: object) -> None:
    first = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("lino", "soft"))
    second = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("lino", "soft"), **{key: value})
    pull_at(h, first, 0.65)
    pull_at(h, second, 0.95)
    ask_grip(h, first, 0.65, touched=True, careless=0.8)
    no_wrong_answer(h, fooled=True)


def test_like_grip_is_combined_and_lines_are_printed(h: History) -> None:
    test = h.test(h.tables[0], h.cars[0], 50.0, **on_floor("lino", "soft"))
    for level in (0.79, 0.8, 0.81):
        pull_at(h, test, level)
    ask_grip(h, test, 0.8)
    answered_rightly(h)


def test_two_log_folders_keep_to_themselves(h: History) -> None:
    """The same cards with another log: nothing is known there."""
    h.log = h.root / "another log"
    must_say(h, "push", "forecast", h.tests[0].card.path)
    must_say(h, "grip", "infer", h.tests[0].card.path)
    must_say(h, "weigh", h.tests[0].card.path, hands=h.set_on(h.tables[0], h.cars[0]))
    no_wrong_answer(h)


def test_the_list_of_records_says_what_was_shown(h: History) -> None:
    imported(h, bench="Far table", car="Whimbrel")
    h.weigh(h.tests[0])
    ask_log(h)
    assert len(h.shown) == 2
    answered_rightly(h)
    said = h.run("log", "--json")
    assert json.dumps(said.result)
