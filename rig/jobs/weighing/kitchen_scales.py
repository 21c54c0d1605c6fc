"""Weights that somebody read off kitchen scales: how far one scale, or four of them, may be off, and what helps."""

from analysis.base.arrays import FloatArray
from analysis.statistics.estimate import DoubtPart
from analysis.weighing.corner_weights import typed_loads
from analysis.weighing.reseating import USUAL_SCATTER_G, pool_placements
from rig.cards.keys.test import Typed

_ONCE = f"Weighed once: a scatter of {USUAL_SCATTER_G[0]:.0f} to {USUAL_SCATTER_G[1]:.0f} g a corner is assumed."
_ONE = "Lift the car off, let it settle and weigh all four again: that shows how far this car scatters"
_FOUR = (
    "Scales differ: change the front ones for the rear ones, weigh again and write the means, which are free of it; "
    "weights_accuracy_pct = 0 then says so"
)


def read_off_scales(load_g: FloatArray, typed: Typed, *, reseat_g: float) -> tuple[DoubtPart, ...]:
    """The doubts of weights that somebody read off scales, g²: (4,) g, FL FR RL RR.

    typed: the scales.  reseat_g: scatter of a corner from placing to placing.
    A scale may be off by up to its accuracy either way (rectangular, JCGM 100:2008 4.3.7). One scale weighs the wheels
    alike, but at a placing each; four weigh one placing, but each in its own way. Where nobody said which, both count.
    """
    gain_u, scales = typed.weights_accuracy_pct / 100.0 / 3**0.5, typed.weights_scales
    _, parts = typed_loads(
        load_g,
        typed.weights_resolution_g,
        gain_u=0.0 if scales == "four scales" else gain_u,
        own_gain_u=0.0 if scales == "one scale" else gain_u,
    )
    return pool_placements(load_g, parts, scatter_g=reseat_g, one_by_one=scales != "four scales").parts


def weighed_once(typed: Typed) -> str:
    """What would make such weights surer."""
    return f"{_ONCE} {_FOUR if typed.weights_scales == 'four scales' else _ONE}"


def scales_unsaid(half_pct: float, *, one: float, four: float) -> str:
    """That nobody said which scales read these weights, and what saying it would be worth.

    half_pct: of the front axle's share, 95 %, points.  one, four: the same for one scale, and for four.
    """
    return (
        f"The test card does not say whether one scale read all four wheels or four scales one each: front ± "
        f'{half_pct:.2f} points allows for either. weights_scales = "one scale" makes it ± {one:.2f}, "four scales" ± '
        f"{four:.2f}"
    )
