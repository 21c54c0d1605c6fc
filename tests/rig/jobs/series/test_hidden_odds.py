"""What the next push at a hidden change is worth: a measurement that tells nothing is worth nothing, by Shannon."""

import re

import pytest

from analysis.base.pivot import PivotEstimate
from rig.cards.mechanics import push_state
from rig.jobs.pushing.what_if import WhatIf
from rig.jobs.series.hidden_change import SecretPush, hidden_odds
from tests.rig.jobs.synthetic_pushes import LENGTH, cards

CHOICES = {
    name: WhatIf(front=front, rear=rear, ballast_g=0.0, ballast_pct=50.0, push_pct=50.0)
    for name, front, rear in (("alike", 0.8, 0.8), ("front", 0.96, 0.8), ("rear", 0.8, 0.96))
}


def worth_bits(kappa_u: float) -> float:
    """Bits that the next push is said to be worth after one push measured so well, 1/m."""
    of = cards(push__position_pct=50.0)
    measured = PivotEstimate(
        kappa=0.0,
        kappa_u=kappa_u,
        interval=(-1.96 * kappa_u, 1.96 * kappa_u),
        wheelbase=LENGTH,
        count=1,
        method="by hand",
    )
    found = hidden_odds(of, None, CHOICES, [SecretPush(push=push_state(of.car, of.test), measured=measured)])
    (bits,) = re.findall(r"worth (\S+) bits", found.next_push)
    return float(bits)


def test_pushes_that_tell_nothing_are_worth_nothing() -> None:
    """Of means that lie m apart on the whole, a scatter s tells less than (m / s)² / 2 nats: here (10 / 500)² / 2."""
    assert worth_bits(500.0) < 0.5 * (10 / 500) ** 2 / 0.693
    assert worth_bits(0.06) > 0.01
    # a push that is measured better than pushes scatter tells as much as one measured as well as they scatter
    assert worth_bits(1e-6) == pytest.approx(worth_bits(0.01), rel=0.05)
