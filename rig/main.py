"""The command line: a group whose commands are loaded only when asked for, so that help is instant."""

import contextlib
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from rig.base.spelled import spell_out_what_is_missing
from rig.command.group import FirstScreen

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Before numpy is loaded: our matrices are small, and threads of its linear algebra that wait for a busy core cost a
# forecast several times its own work. It also makes figures the same on any number of cores.
os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
# Before OpenCV is loaded: what its reader mutters about a clip that does not open is no word for a person.


@click.group(
    cls=FirstScreen,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="pivotbench")
@click.pass_context
def cli(context: click.Context) -> None:
    """Weigh a scale car, film a push from the side: where does it pivot, and why?

    Scale models only. Unplug the motor and the battery before hands go near the wheels.
    """
    if context.invoked_subcommand is None:
        from rig.command.options import tell
        from rig.command.standing import standing_text

        formatter = context.make_formatter()
        cli.format_commands(context, formatter)
        tell(f"{standing_text(Path.cwd())}\n\n{formatter.getvalue().rstrip()}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and end the process: 0 good, 1 failed, 2 wrong input, 130 stopped."""
    spell_out_what_is_missing()
    code = run_command(arguments)
    if arguments is None:
        _let_it_end()
    sys.exit(code)


def run_command(arguments: Sequence[str] | None) -> int | str | None:
    """Run one command line in this process; its exit code, with what to say already said."""
    try:
        cli.main(args=None if arguments is None else list(arguments), prog_name="pivotbench", standalone_mode=False)
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except BrokenPipeError:  # the reader of our output (a pager, head) has left: nothing to tell it
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except SystemExit as done:
        return done.code
    except BaseException as error:
        if arguments is None:
            _let_it_end()
        from rig.base.failures import explain

        failure = explain(KeyboardInterrupt() if isinstance(error, click.Abort) else error)
        from rig.command.options import tell

        tell(failure.text, err=True)
        return failure.exit_code
    return 0


def _let_it_end() -> None:
    """The work is over: another Ctrl-C while the process winds up must not change how it ended."""
    with contextlib.suppress(ValueError):  # not the main thread
        signal.signal(signal.SIGINT, signal.SIG_IGN)


if __name__ == "__main__":
    main()
