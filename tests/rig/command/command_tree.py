"""Every command there is, found as the command line finds it."""

from collections.abc import Iterator

import click

from rig.command.first_screen import FIRST_SCREEN
from rig.command.group import BenchCommand
from rig.main import cli

PATHS = [(first,) for first in FIRST_SCREEN] + [
    (first, word) for first in FIRST_SCREEN for word in FIRST_SCREEN[first].words
]


def found(path: tuple[str, ...]) -> tuple[click.Context, click.Command]:
    """The command behind its words, as the command line finds it."""
    context: click.Context = click.Context(cli, info_name="pivotbench")
    command: click.Command = cli
    for i in range(len(path)):
        assert isinstance(command, click.Group), path
        name, inner, _ = command.resolve_command(context, list(path[i:]))
        assert inner is not None, path
        context, command = click.Context(inner, parent=context, info_name=name), inner
    return context, command


def every_command() -> Iterator[tuple[tuple[str, ...], BenchCommand]]:
    """Every command that can be run, with its words."""
    for path in PATHS:
        command = found(path)[1]
        if isinstance(command, click.Group):
            inner = {(*path, name): one for name, one in command.commands.items()}
        else:
            inner = {path: command}
        for words, one in inner.items():
            assert isinstance(one, BenchCommand), words
            yield words, one
