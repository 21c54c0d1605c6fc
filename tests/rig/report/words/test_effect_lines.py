"""A series in words: effects in points or as turn per travel, and what a plan can show. By hand."""

import pytest

from rig.records.series import EffectRow, EffectsResult
from rig.report.words import effect_lines as words
from rig.report.words.effect_lines import effect_lines, plan_lines, turn_rows

ROWS = (
    EffectRow(
        factor="tyres",
        level="soft",
        reference="hard",
        change_per_m=-0.5,
        interval_per_m=(-0.9, -0.2),
        clear=True,
        sentences=("It moved back.", "Beyond chance."),
    ),
    EffectRow(factor="bar", level="off", reference="on", change_per_m=0.25, interval_per_m=(-0.3, 0.8), clear=False),
)


def result(**more: object) -> EffectsResult:
    return EffectsResult(
        effects=ROWS,
        push_u_per_m=0.12,
        block_u_per_m=0.07,
        pushes=14,
        warnings=("mind",),
        **more,  # type: ignore[arg-type]
    )


def test_effects_in_points_or_where_there_are_none_as_turn_per_travel() -> None:
    """1 per metre is 0.573 degrees per centimetre: a half of it 0.29, 0.12 of it 0.0688."""
    assert effect_lines(result(push_u_pct=0.43, block_u_pct=0.2, drift="It drifted."), needed=7) == [
        "tyres, hard → soft: It moved back. Beyond chance.",
        "bar, on → off: ",
        "Pushes of one set-up scatter by 0.43 points; 14 pushes.",
        "It drifted.",
    ]
    assert turn_rows(result()) == [
        ("tyres", "hard → soft", "-0.29", "-0.52 to -0.11", "clear"),
        ("bar", "on → off", "+0.14", "-0.17 to +0.46", "cannot tell"),
    ]
    lines = effect_lines(result(no_points="Wheels rolled", drift="mind"), needed=7)
    assert lines[1:] == [  # what drifts is among the warnings already
        "Pushes of one set-up scatter by 0.069 °/cm; 14 pushes.",
        "Wheels rolled.",
        "To tell 2 % of the wheelbase apart: 7 pushes of each set-up.",
    ]
    head, *table = lines[0].splitlines()
    assert head.split() == ["factor", "change", "turn", "per", "travel,", "°/cm", "95", "%"]
    assert [" ".join(line.split()) for line in table if "→" in line] == [" ".join(row) for row in turn_rows(result())]
    assert len(effect_lines(result())) == 2


def test_what_a_plan_shows_from_where_it_pushes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(words, "points_told_apart", lambda repeats: {3: 1.23}[repeats])
    monkeypatch.setattr(words, "signal_at", lambda pct: {70.0: 0.412, 20.0: 0.004, 44.0: 0.9}[pct])
    (middle,) = plan_lines((46.0, 54.9), 3)
    assert middle == (
        "3 pushes of each set-up at its balance point, placed by a bare finger, show a change of about 1.2 points; 10 "
        "% more front grip moves the balance by 2.4."
    )
    first, second, third = plan_lines((60.0, 70.0), 3)
    assert first == middle
    assert second.startswith("Planned at 70 %: the same change shows in the turn there about 41 % of what a push")
    assert third.endswith("plan on both sides (--position 70 --position 30), or measure it (pivotbench grip along).")
    (_, far, other) = plan_lines(20.0, 3)
    assert far.startswith("Planned at 20 %: the same change shows in the turn there next to nothing of what a push")
    assert "(--position 20 --position 80)" in other
    assert len(plan_lines((44.0, 51.0), 3)) == 2  # on both sides
