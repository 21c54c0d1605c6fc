"""Experiments in one place: plans, effects, and the two ready ones."""

from analysis.experiments_effects import (
    Drift,
    Effect,
    SeriesPush,
    SeriesResult,
    analyse_series,
    pushes_needed,
)
from analysis.experiments_plan import (
    ChangeCheck,
    PlannedPush,
    full_factorial,
    one_change_only,
    plan_series,
    standard_pushes,
)
from analysis.experiments_ready import (
    HiddenChange,
    Hypothesis,
    Ladder,
    LadderEntry,
    Rung,
    TellingPush,
    grip_ladder,
    hidden_change,
    most_telling_push,
)

__all__ = [
    "ChangeCheck", "Drift", "Effect", "HiddenChange", "Hypothesis", "Ladder", "LadderEntry", "PlannedPush", "Rung",
    "SeriesPush", "SeriesResult", "TellingPush", "analyse_series", "full_factorial", "grip_ladder", "hidden_change",
    "most_telling_push", "one_change_only", "plan_series", "pushes_needed", "standard_pushes",
]  # fmt: skip
