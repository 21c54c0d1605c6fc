"""The eight things a first test needs, asked one by one on a terminal or taken from the options."""

import sys
from pathlib import Path

import click

from analysis.statistics.quantiles import NORMAL_95
from rig.base.errors import InputError
from rig.base.spelled import as_typed
from rig.cards.keys.kinds_of_key import UNMEASURED_BAR_MM_U
from rig.cards.written.first_cards import (
    FIRST_THINGS,
    Answers,
    FirstThing,
    default_of,
    first_texts,
    to_fill_in,
)


def may_ask() -> bool:
    """Whether somebody sits there who sees the questions and can answer them."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def asked_answers() -> Answers:
    """What somebody at the terminal answers; Enter takes the default. Raises click.Abort when they stop."""
    click.echo("Eight questions; Enter takes what stands in brackets. All of it can be changed on the cards.", err=True)
    answers: dict[str, float | str | None] = {}
    for thing in FIRST_THINGS:
        answers[thing.name] = click.prompt(
            f"  {thing.question} [{_shown(thing, answers)}]",
            default="",
            show_default=False,
            value_proc=lambda typed, thing=thing: _good(thing, typed, answers),  # type: ignore[misc]
            err=True,
        )
    return answers


def said_in_options(options: dict[str, str | None]) -> Answers:
    """The answers that options give. options: name of a first thing -> as typed, None when not given.

    Raises click.BadParameter with the likely meaning.
    """
    answers: dict[str, float | str | None] = {}
    for thing in FIRST_THINGS:
        typed = options.get(thing.name)
        if typed is None:
            continue
        try:
            answers[thing.name] = thing.read(typed)
        except InputError as error:
            raise click.BadParameter(_words(error), param_hint=f"--{thing.name.partition('-')[0]}") from error
    return answers


def _shown(thing: FirstThing, answers: Answers) -> str:
    default = default_of(thing, answers)
    if default is None:
        return "not measured"
    return f"{default:g}" if isinstance(default, float) else default


def _good(thing: FirstThing, typed: str, answers: Answers) -> float | str | None:
    """An answer that the cards take; otherwise click says why and asks again. Enter where an answer before is the
    default counts as the same answer."""
    try:
        value = thing.read(typed)
        if value is None:
            return answers.get(thing.like) if thing.like else None
        first_texts({**answers, thing.name: value})
    except InputError as error:
        raise click.UsageError(_words(error)) from error
    return value


def _words(error: InputError) -> str:
    """What is wrong and what was likely meant, without the card's name: it is not written yet."""
    return f"{error.what}. {error.remedy}" + ("" if error.remedy.endswith("?") else ".")


def what_next(folder: Path, answers: Answers) -> list[str]:
    """What is still to be written on the new cards, and the next steps, as lines."""
    lines = []
    stand_ins = to_fill_in(answers)
    if stand_ins:
        figures = ", ".join(f"{key.rpartition('.')[2]} = {value:g}" for key, value in stand_ins.items())
        lines.append(f"Not measured yet: {figures}. Write yours into {folder / 'car.toml'}, and take sizes out.")
    if answers.get("bar") is None:
        lines.append(
            f"After printing: write the bar's length, by ruler, as bar_mm into {folder / 'car.toml'} and "
            f"{folder / 'bench.toml'}; until then it counts as 100 ± {NORMAL_95 * UNMEASURED_BAR_MM_U:.0f} mm."
        )
    test = folder / "test.toml"
    lines.append(f"Next: pivotbench new sheets {as_typed(folder / 'car.toml')}")
    lines.append(f"Then: pivotbench weigh {as_typed(test)}   (kitchen scales: fill in weights_g on it first)")
    return lines
