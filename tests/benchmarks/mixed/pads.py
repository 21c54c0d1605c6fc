"""Traps of calibrations and zeros: other boards, other benches, clocks. They leave the weighing in doubt: last."""

from tests.benchmarks.mixed.acts import DAY, another_table, imported
from tests.benchmarks.mixed.history import History
from tests.benchmarks.mixed.questions import ask_weigh
from tests.benchmarks.mixed.things import Card
from tests.faults.quick_bench import BOARDS, CLOCKS, Board


def benches_named_alike(h: History) -> None:
    """Two tables whose bench cards bear one name; each is calibrated and zeroed, the second last."""
    first = h.tests[0]
    second = another_table(h, h.tables[0].card.values["name"])
    h.calibrate(second)
    h.zero(second)
    ask_weigh(h, first, touched=True)
    ask_weigh(h, h.tests[-1], touched=True)


def zero_of_the_other(h: History) -> None:
    """The other table of the same name was calibrated first, and only zeroed after this one."""
    second = another_table(h, h.tables[0].card.values["name"])
    h.calibrate(second)
    h.calibrate(h.tables[0])
    h.zero(h.tables[0])
    h.zero(second)
    ask_weigh(h, h.tests[0], touched=True)


def board_swapped(h: History) -> None:
    """Another board hangs on the port; nobody calibrated it."""
    table = h.tables[0]
    table.board = BOARDS[f"port-{table.card.path.parent.name}"] = Board(
        "board-swapped", h.gains[-1], [1000.0, 2000.0, -3000.0, 500.0]
    )
    ask_weigh(h, h.tests[0], touched=True, known=False)
    h.zero(table, must=False)
    ask_weigh(h, h.tests[0], touched=True, known=False)


def bench_card_copied(h: History) -> None:
    """The second table's card is a copy of the first's with its name (and id); its board was never calibrated."""
    second = another_table(h, "")
    values = h.tables[0].card.values | {"pads.port": second.card.values["pads.port"]}
    second.card = Card(second.card.path, values).write()
    ask_weigh(h, h.tests[-1], touched=True, known=False)
    h.zero(second, must=False)
    ask_weigh(h, h.tests[-1], touched=True, known=False)


def pad_moved_clock_back(h: History) -> None:
    """A pad is moved and reads 40 g more, it is zeroed again, and the clock has gone back meanwhile."""
    table = h.tables[0]
    CLOCKS.set_wall(-float(h.rng.uniform(600, 40_000)))
    table.board.offset[1] += 40 * table.board.gain[1]
    h.zero(table)
    CLOCKS.pass_by(20.0)
    ask_weigh(h, h.tests[0], touched=True)


def clock_ahead_then_right(h: History) -> None:
    """Zeroed while the clock stood some hours ahead; then it is put right, and a pad is moved and zeroed again."""
    table = h.tables[0]
    ahead = float(h.rng.uniform(3600, 5 * DAY))
    CLOCKS.set_wall(ahead)
    h.zero(table)
    CLOCKS.set_wall(-ahead)
    table.board.offset[2] -= 40 * table.board.gain[2]
    h.zero(table)
    CLOCKS.pass_by(30.0)
    ask_weigh(h, h.tests[0], touched=True)


def colleagues_calibration(h: History) -> None:
    """A colleague's log is taken in, with a bench of the same name that was calibrated and zeroed later."""
    imported(h, bench=str(h.tables[0].card.values["name"]), car="Plover", calibrated=True)
    ask_weigh(h, h.tests[0], touched=True)


def zeroed_once_more(h: History) -> None:
    """The pads were moved without zeroing, then zeroed twice within a minute: the last word counts."""
    table = h.tables[0]
    table.board.offset[0] += 30 * table.board.gain[0]
    h.zero(table)
    CLOCKS.pass_by(30.0)
    table.board.offset[0] += 25 * table.board.gain[0]
    h.zero(table)
    CLOCKS.pass_by(5.0)
    ask_weigh(h, h.tests[0], touched=True)
