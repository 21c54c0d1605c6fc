"""How stiff tyres are sideways, from the card: N per mm into N per m; one axle stands for both where one is given."""

from rig.cards.keys.car import Axle
from rig.cards.mechanics import tyres_across


def test_each_axle_has_its_own_and_one_alone_stands_for_both() -> None:
    front, rear, unset = Axle(tyre_across_n_per_mm=1.25), Axle(tyre_across_n_per_mm=0.8), Axle()
    assert tyres_across(unset, unset) is None
    told = [tyres_across(*pair, softest=False) for pair in ((front, rear), (unset, rear), (front, unset))]
    assert [one.tolist() for one in told if one is not None] == [[1250, 800], [800, 800], [1250, 1250]]
    doubted = tyres_across(Axle(tyre_across_n_per_mm=1.25, tyre_across_n_per_mm_u=0.4), rear)
    assert doubted is not None
    assert doubted.tolist() == [850, 500]  # 1.25 - 0.4, and 0.8 - 0.3, the usual doubt
