"""The traps: what tired people do at a bench, each with the questions that it makes dangerous.

Each takes a history whose first table is calibrated, with its first car weighed and pushed, and asks at once. Traps
of one group are never laid in the same history. The pads' traps come late: they leave the weighing in doubt.
"""

from collections.abc import Callable

from tests.benchmarks.mixed import cars, grip, log, pads, pushes
from tests.benchmarks.mixed.history import History

Trap = Callable[[History], None]

GROUPS: dict[str, tuple[Trap, ...]] = {
    "pushes": (
        pushes.test_card_copied,
        pushes.place_edited,
        pushes.place_corrected,
        pushes.wheelbase_edited,
        pushes.card_given_again,
        pushes.clip_under_two_cards,
        pushes.sweep_with_one_twice,
    ),
    "series": (
        pushes.plan_from_two_cards,
        pushes.plan_with_other_side,
        pushes.plan_with_other_place,
        pushes.plan_with_mixed_blocks,
    ),
    "grip": (
        grip.grip_on_two_floors,
        grip.grip_on_two_tyres,
        grip.grip_on_two_days,
        grip.grip_that_contradicts,
        grip.grip_of_a_namesake,
    ),
    "cars": (
        cars.cars_named_alike,
        cars.car_card_copied,
        cars.car_changed_since,
        cars.ballast_listed,
        cars.there_and_back,
        cars.old_push_new_state,
        cars.colleagues_weighing,
        cars.only_a_colleague_weighed,
        cars.imported_twice,
    ),
    "pads": (
        pads.benches_named_alike,
        pads.zero_of_the_other,
        pads.board_swapped,
        pads.bench_card_copied,
        pads.pad_moved_clock_back,
        pads.clock_ahead_then_right,
        pads.colleagues_calibration,
        pads.zeroed_once_more,
    ),
    "log": (log.export_changed, log.export_cut, log.export_emptied, log.log_changed, log.links_changed),
}
"""In the order in which they are laid."""
