"""Commands that are loaded only when they run, a command's own words, and help that fits one screen."""

import importlib
import re
from collections.abc import Callable
from typing import Any

import click

from rig.command.first_screen import FIRST_SCREEN, module_of
from rig.command.waiting import noticed

_TRUE_MINUS = re.compile(r"^−(?=\.?\d)")


class BenchCommand(click.Command):
    """A command whose help ends with its words, one example and the next step, each on a line of its own."""

    def __init__(self, name: str | None, *, example: str, then: str, words_of: str = "", **click_own: Any) -> None:
        """example, then: command lines.  words_of: the first-level command whose words the help lists."""
        super().__init__(name, **click_own)
        for one in self.params:
            one.metavar = one.metavar or _short_metavar(one)
        self.example, self.then, self.words_of = example, then, words_of

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As click does; a word of this command that comes too late is told to come first."""
        given = list(args)
        args = [_TRUE_MINUS.sub("-", one) for one in args]  # a number as it was shown may be pasted back
        try:
            return super().parse_args(ctx, args)
        except click.UsageError as error:
            level = FIRST_SCREEN[self.words_of] if self.words_of else None
            late = [word for word in given if level is not None and level.takes and word in level.words]
            if late and (isinstance(error, click.NoSuchOption) or "extra argument" in error.message):
                right = f"pivotbench {self.words_of} {late[0]} …"
                raise click.UsageError(f"A word comes right after its command: {right}", ctx) from error
            raise

    def invoke(self, ctx: click.Context) -> Any:
        """As click does; a long silence is broken by a word on standard error."""
        with noticed():
            return super().invoke(ctx)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Words, example, next step; lines to be copied are never broken."""
        words = FIRST_SCREEN[self.words_of].words if self.words_of else {}
        if words:
            with formatter.section("Words"):
                formatter.write_dl(list(words.items()))
        gap = "" if words else "\n"
        formatter.write(f"{gap}Example: {self.example}\nNext: {self.then}\n")


def bench_command(
    name: str, *, example: str, then: str, words_of: str = ""
) -> Callable[[Callable[..., Any]], BenchCommand]:
    """As click.command, for a command of the bench. words_of: the first-level command whose words its help lists."""

    return click.command(name=name, cls=BenchCommand, example=example, then=then, words_of=words_of)


class NearGroup(click.Group):
    """A group that names the likely one of its commands when one is misspelt."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does.  Raises click.UsageError."""
        if args[0] not in self.commands:
            from rig.command.likely import none_of

            raise click.UsageError(none_of(ctx.command_path, list(self.commands), args[0]), ctx)
        return super().resolve_command(ctx, args)


class CommandWords(click.Group):
    """The words of one first-level command, each loaded when it runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of the first screen's table."""
        return list(FIRST_SCREEN[str(self.name)].words)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command behind a word, imported now, or None."""
        return _loaded(str(self.name), cmd_name) if cmd_name in FIRST_SCREEN[str(self.name)].words else None


class FirstScreen(click.Group):
    """The twelve commands. A word after a command is one of its own words, otherwise it is the command's argument."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the work."""
        return list(FIRST_SCREEN)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command itself, imported now, or None."""
        return _loaded(cmd_name) if cmd_name in FIRST_SCREEN else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command, or the group of its words when one of them follows; a misspelt one is told with the likely one.

        Raises click.UsageError.
        """
        from rig.command.likely import not_a_word, unknown_command

        first, rest = args[0], args[1:]
        level = FIRST_SCREEN.get(first)
        if level is None:
            raise click.UsageError(unknown_command(first), ctx)
        if rest and rest[0] in level.words:
            return first, CommandWords(name=first), rest
        if rest and (refusal := not_a_word(first, level, rest[0])):
            raise click.UsageError(refusal, ctx)
        return first, self.get_command(ctx, first), rest

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The twelve, one line each, without importing a single one."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, level.line) for name, level in FIRST_SCREEN.items()])


def _short_metavar(param: click.Parameter) -> str | None:
    """What an option takes, in few letters: help has to fit a screen. None where click's own word is as short."""
    if isinstance(param, click.Argument) or param.nargs != 1:
        return None
    kind = param.type
    if isinstance(kind, click.types.IntParamType):
        return "N"
    if isinstance(kind, click.types.FloatParamType):
        return "X"
    if isinstance(kind, click.Path):
        return "DIR" if kind.dir_okay and not kind.file_okay else "FILE"
    return None


def _loaded(first: str, word: str = "") -> click.Command:
    command: click.Command = importlib.import_module(module_of(first, word)).command
    return command
