"""The effects of a series as `change` tells them: in points of the wheelbase, from the balance point of each push."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.balance.results import BalanceChange
from analysis.series.effects import Effect, Quantity, SeriesPush, SeriesResult, analyse_series
from analysis.set_ups.change_words import change_sentences
from analysis.set_ups.effects import EffectOfSeries, effect_in_points
from rig.cards.measures import wheelbase
from rig.jobs.pushing.balance import PushAnswer
from rig.jobs.series.answered_pushes import PushesOf
from rig.jobs.series.answers import answer_about, answers_on_record
from rig.jobs.series.change import shared_between
from rig.jobs.series.evidence import PushOnRecord
from rig.log.store import BenchLog


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectsInPoints:
    """result: of the series, in points.  changes, sentences: one entry an effect, in its order."""

    result: SeriesResult
    changes: tuple[BalanceChange, ...]
    sentences: tuple[tuple[str, ...], ...]


def effects_in_points(
    used: Sequence[tuple[Mapping[str, str], PushOnRecord]], factors: Sequence[str], log: BenchLog
) -> EffectsInPoints | str:
    """The effects of a filled-in plan in balance points; why there are none, in words, where a push has no such point.

    used: row of the plan and the push that filled it.
    """
    recorded = answers_on_record(log)
    answers: list[PushAnswer] = []
    for _, push in used:
        answer = answer_about(push, recorded, log)
        if answer is None or answer.balance is None:
            return (
                f"No balance points: the push of record {push.record.number} was measured by an earlier version and "
                "its poses were not kept; measure its clip again for an answer in points of the wheelbase"
            )
        if answer.balance.pct is None:
            return f"No balance points: {answer.balance.reason} (record {push.record.number})"
        answers.append(answer)
    balances = [answer.balance for answer in answers if answer.balance is not None]
    pushes = [
        SeriesPush(
            setup={name: row[name] for name in factors},
            block=int(row["block"]),
            kappa=balance.pct or 0.0,
            kappa_u=float(np.sqrt(sum(cause.effect**2 for cause in balance.causes if cause.own))),
            order=float(row["number"]),
        )
        for (row, _), balance in zip(used, balances, strict=True)
    ]
    result = analyse_series(pushes, quantity=Quantity.BALANCE)
    visit = len(pushes) / len({push.block for push in pushes})
    alone = [
        PushesOf(cards=push.cards, clips=(push.record,), answers=(answer,), weighing=push.weighing)
        for (_, push), answer in zip(used, answers, strict=True)
    ]
    changes = []
    for effect in result.effects:
        level = _levels(effect, pushes)
        before, after = ([one for one, at in zip(alone, level, strict=True) if at == side] for side in (-1, 1))
        changes.append(
            effect_in_points(
                balances,
                EffectOfSeries(
                    value=effect.change,
                    own_u=effect.u,
                    dof=effect.dof,
                    weights=np.array(effect.weights),
                    level=level,
                    averaged=effect.averaged,
                    visit=visit,
                ),
                shared=frozenset.intersection(*(shared_between(a, b) for a in before for b in after)),
            )
        )
    length = wheelbase(used[0][1].cards.car)
    return EffectsInPoints(
        result=result,
        changes=tuple(changes),
        sentences=tuple(change_sentences(one, wheelbase=length) for one in changes),
    )


def _levels(effect: Effect, pushes: Sequence[SeriesPush]) -> np.ndarray:
    """+1 where the factor stood at the effect's level, -1 at its reference, 0 elsewhere."""
    return np.array(
        [{effect.level: 1, effect.reference: -1}.get(push.setup[effect.factor], 0) for push in pushes], dtype=float
    )
