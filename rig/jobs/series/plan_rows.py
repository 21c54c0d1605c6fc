"""The rows of a filled-in plan held against the test cards that they name: each row one push, none twice."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from rig.base.errors import InputError
from rig.cards.mechanics import pushed_wheels
from rig.cards.read import CardSet, Choices, read_set
from rig.cards.toml_slips import number_in_text
from rig.jobs.series.evidence import PushOnRecord, clips_of_test, measured_pushes, same_test
from rig.jobs.series.own_pushes import clip_hashes, clip_of
from rig.log.store import BenchLog

PlanRow = Mapping[str, str]
STATION_OFF_PCT = 2.0
"""A push so far from the planned position is another push than the one planned, in per cent of the wheelbase."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPushes:
    """The rows that were pushed, each with its own push. remarks: to be told before any figure."""

    used: tuple[tuple[PlanRow, PushOnRecord], ...]
    remarks: tuple[str, ...]


@dataclass(slots=True)
class _OneCard:
    """A test card with the rows that it fills, in the order of the plan."""

    cards: CardSet
    rows: list[tuple[int, PlanRow]] = field(default_factory=list)


def pushes_of_plan(
    rows: Sequence[PlanRow], factors: Sequence[str], path: Path, log: BenchLog, choices: Choices
) -> PlanPushes:
    """A push for each recorded row. A test card may fill as many rows as it has measured clips, in their order.

    Raises InputError naming the row that contradicts its card, or has no push of its own.
    """
    levels = {name: {row[name].strip().casefold() for row in rows} for name in factors}
    groups: list[_OneCard] = []
    for line, row in enumerate(rows, start=2):
        if row["recorded"] != "yes" or not row["test"].strip():
            continue
        cards = read_set(path.parent / row["test"].strip(), choices)
        _hold_against(row, cards, levels, where=f"{path}, line {line}")
        group = next((one for one in groups if same_test(one.cards, cards)), None)
        if group is None:
            group = _OneCard(cards)
            groups.append(group)
        group.rows.append((line, row))
    _refuse_mixed_wheels(groups, factors, path)
    _refuse_mixed_blocks(groups, factors, path)
    measured_pushes([group.cards for group in groups], log)  # contradicting cards of one clip, two cars
    found: list[tuple[int, PlanRow, PushOnRecord]] = []
    remarks: list[str] = []
    taken: dict[str, str] = {}
    films = clip_hashes(log)
    for group in groups:
        clips = clips_of_test(group.cards, log)
        name, lines = group.cards.test.name, ", ".join(str(line) for line, _ in group.rows)
        setups = {tuple(row[factor].strip() for factor in factors) for _, row in group.rows}
        if len(setups) > 1:
            raise InputError(
                f'one test card ("{name}") fills rows of different set-ups',
                where=f"{path}, lines {lines}",
                remedy="Give each set-up its own test card",
            )
        if len(clips.pushes) < len(group.rows):
            raise InputError(
                f'{len(group.rows)} rows are filled with one test card ("{name}") that has '
                f"{len(clips.pushes)} measured clip{'s' if len(clips.pushes) > 1 else ''}: a push counts once",
                where=f"{path}, lines {lines}",
                remedy="Measure a clip for each push (one test card takes several), and leave the column test empty "
                "where nothing was pushed",
            )
        remarks += clips.remarks
        if len(clips.pushes) > len(group.rows):
            remarks.append(
                f"{name}: {len(clips.pushes)} clips for {len(group.rows)} rows, the newest are taken; set failed ones "
                "aside"
            )
        for (line, row), push in zip(group.rows, clips.pushes[-len(group.rows) :], strict=True):
            film = clip_of(push.record, films) or push.record.id
            if film in taken:
                raise InputError(
                    f"the clip of record {push.record.number} stands for this row and for {taken[film]}",
                    where=f"{path}, line {line}",
                    remedy="A push counts once: name the test card of each row's own push",
                )
            taken[film] = f"line {line}"
            found.append((line, row, push))
    found.sort(key=lambda one: one[0])
    return PlanPushes(used=tuple((row, push) for _, row, push in found), remarks=tuple(dict.fromkeys(remarks)))


def _hold_against(row: PlanRow, cards: CardSet, levels: Mapping[str, set[str]], *, where: str) -> None:
    push, conditions = cards.test.push, cards.test.conditions
    against: list[str] = []
    if row["side"].strip() and row["side"].strip().casefold() != push.side:
        against.append(f"side {row['side'].strip()}, on the card {push.side}")
    if row["station_pct"].strip():
        try:
            planned = float(row["station_pct"])
        except ValueError:
            meant = number_in_text(row["station_pct"])
            raise InputError(
                f'station_pct "{row["station_pct"]}" is not a number',
                where=where,
                remedy=(f"Did you mean {meant}? " if meant else "") + "Leave this column as it was planned",
            ) from None
        if abs(planned - push.position_pct) > max(STATION_OFF_PCT, 3 * push.position_pct_u):
            against.append(f"position {planned:g} %, on the card {push.position_pct:g} %")
    noted = [conditions.compound_front, conditions.compound_rear, conditions.surface, conditions.treatment]
    excluded = {one.strip().casefold() for one in noted if one.strip()}
    for name, known in levels.items():
        level = row[name].strip().casefold()
        if level not in excluded and (other := excluded & (known - {level})):
            against.append(f"{name} {row[name].strip()}, on the card {', '.join(sorted(other))}")
    if against:
        raise InputError(
            f'the row contradicts its test card "{cards.test.name}": {"; ".join(against)}',
            where=where,
            remedy="Name the test card of this push, or correct the row if it was pushed otherwise than planned",
        )


def _refuse_mixed_wheels(groups: Sequence[_OneCard], factors: Sequence[str], path: Path) -> None:
    if any("wheel" in name.casefold() for name in factors):
        return
    wheels = {pushed_wheels(group.cards.test): group for group in groups}
    if len(wheels) > 1:
        (first, a), (second, b) = list(wheels.items())[:2]
        raise InputError(
            f'the wheels differ: {first} on "{a.cards.test.name}", {second} on "{b.cards.test.name}"',
            where=str(path),
            remedy="Compare pushes with the wheels alike, or make wheels a factor of the plan",
        )


def _refuse_mixed_blocks(groups: Sequence[_OneCard], factors: Sequence[str], path: Path) -> None:
    """A block is one visit to one set-up: its mean would otherwise be of two."""
    setups: dict[str, dict[tuple[str, ...], int]] = {}
    for line, row in sorted(((line, row) for group in groups for line, row in group.rows), key=lambda one: one[0]):
        setup = tuple(row[factor].strip().casefold() for factor in factors)
        found = setups.setdefault(row["block"], {})
        found.setdefault(setup, line)
        if len(found) > 1:
            raise InputError(
                f"block {row['block']} holds two set-ups (lines {', '.join(str(one) for one in found.values())})",
                where=f"{path}, line {line}",
                remedy="A block is one visit to one set-up: begin a new block at every change",
            )
