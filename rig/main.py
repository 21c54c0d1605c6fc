"""The command line: a group whose commands are loaded only when asked for, so that help is instant."""

import contextlib
import importlib
import os
import signal
import sys
from collections.abc import Sequence

import click

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Before numpy is loaded: our matrices are small, and threads of its linear algebra that wait for a busy core cost a
# forecast several times its own work. It also makes figures the same on any number of cores.

COMMANDS: dict[str, str] = {
    "demo": "The whole job on the virtual bench: weigh, push, measure, predict, compare",
    "new-cards": "Write commented car, bench, test and phases cards",
    "marker-sheet": "Print sheets with markers and check bar, to scale",
    "ports": "List the serial ports of this machine",
    "calibrate": "Calibrate the pads against check masses",
    "zero": "Zero the empty pads",
    "weigh": "Weigh the car: corner weights, shares, centre of gravity",
    "live": "Show four loads as they are now",
    "lift": "Find the height of the centre of gravity by lifting an axle",
    "cross": "Bring the cross weight where it is wanted, step by step",
    "level": "Say what pad height is worth, whether the floor explains it, which shims",
    "ballast": "Say what a ballast move does, or where ballast must go",
    "record-line": "Keep a port's raw traffic in a file that can be played back",
    "cameras": "List the cameras of this machine",
    "film": "Watch the live camera and record a push when the car moves",
    "camera": "Calibrate a camera from a clip or photos of a printed board",
    "floor": "Find where floor sheets lie that were put down without measuring",
    "plate": "Find where the marker plate sits on the car, with a pin at two points",
    "measure": "Find the pivot in a clip of a push",
    "predict": "Forecast the pivot from weights and grip",
    "batch": "Measure many clips on all cores",
    "compare": "Set the measured pivot beside the forecast",
    "change": "Two set-ups: did the balance move, which way, by how much",
    "tilt": "Measure a grip factor on a tilted board",
    "pull": "Measure a grip factor with a spring balance",
    "sweep": "Find the balance point from pushes at several positions",
    "grip": "Combine all grip measurements of a car",
    "infer": "Infer the grip ratio backwards from measured pushes",
    "reach": "Say which change brings the pivot to a wanted place",
    "plan": "Plan a series of pushes",
    "effects": "Say which change did what in a series",
    "rates": "Measure springs, motion ratio, roll stiffness, bar and damping at the bench",
    "moving": "Tell a drift as a journey of load and balance point, phase by phase",
    "drive": "Read a filmed circle or drift: radius, speed, slide angle, pivot, model beside",
    "ladder": "Rank tyre pairs by grip on this floor",
    "bench": "Open the bench page: weigh, push, see and compare in a browser",
    "report": "Report on one experiment, a series or a term, from the log alone",
    "card-sheet": "Print a car card on A5 with its differences to the baseline in bold",
    "card-send": "Pack a car card as one file for another bench",
    "card-take": "Take a car card from another bench, and say what to measure again",
    "log": "List or export what the bench has recorded",
    "export": "Write the whole log into a folder that stands by itself",
    "import": "Take an exported folder into this log",
    "recalculate": "Compute what stands in the log again",
    "check": "Look over this machine and the log",
}
"""Name -> one line for the help; the code is in rig.command, in a module of the same name."""

MODULES = {"import": "import_"}
"""Where the name is a word of the language."""


class LazyGroup(click.Group):
    """Lists commands from COMMANDS and imports one only when it runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command, imported now, or None."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module("rig.command." + MODULES.get(cmd_name, cmd_name.replace("-", "_")))
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list without importing a single command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="pivotbench")
def cli() -> None:
    """Weigh a scale car, film a side-push, measure the point it pivots about, and predict it.

    Scale models only. Unplug the motor and the battery before hands go near the wheels.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and end the process: 0 good, 1 failed, 2 wrong input, 130 stopped."""
    code = _run(arguments)
    if arguments is None:
        _let_it_end()
    sys.exit(code)


def _run(arguments: Sequence[str] | None) -> int | str | None:
    try:
        cli.main(args=None if arguments is None else list(arguments), standalone_mode=False)
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
        click.echo(failure.text, err=True)
        return failure.exit_code
    return 0


def _let_it_end() -> None:
    """The work is over: another Ctrl-C while the process winds up must not change how it ended."""
    with contextlib.suppress(ValueError):  # not the main thread
        signal.signal(signal.SIGINT, signal.SIG_IGN)


if __name__ == "__main__":
    main()
