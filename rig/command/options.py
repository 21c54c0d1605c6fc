"""Options and ways of showing that all commands share."""

import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from analysis.base.signs import true_minus
from rig.base.progress import Progress
from rig.base.spelled import knows_all_signs
from rig.base.terminal import fit_to_width, text_width
from rig.command.waiting import NOTICE

if TYPE_CHECKING:
    from rig.base.plain_json import Json
    from rig.jobs.weighing.pads import Ask
    from rig.pads.steps import Step
    from rig.records.content import Content

BOARD_FAMILY = "DICT_5X5_50"
"""Of a calibration board's markers, where nothing else is said; as `vision.camera.board_views.Board` has it."""
FunctionT = TypeVar("FunctionT", bound=Callable[..., Any])


def log_folder(given: Path | None) -> Path:
    """Where the bench log lies: as asked, else PIVOTBENCH_LOG, else this user's place for programs' data."""
    if given is not None:
        return given
    if folder := os.environ.get("PIVOTBENCH_LOG"):
        return Path(folder)
    data = Path(click.get_app_dir("pivotbench"))
    # without a home directory the name stays unexpanded: keep the log where the person stands
    return data if data.is_absolute() else Path.cwd() / "pivotbench-log"


def log_option(function: FunctionT) -> FunctionT:
    """--log DIR."""
    return click.option(
        "--log",
        "log_dir",
        type=click.Path(path_type=Path, file_okay=False),
        help="Another bench log ($PIVOTBENCH_LOG).",
    )(function)


def json_option(function: FunctionT) -> FunctionT:
    """--json."""
    return click.option("--json", "as_json", is_flag=True, help="Print JSON.")(function)


def out_option(function: FunctionT) -> FunctionT:
    """--out DIR."""
    return click.option(
        "--out",
        "out_dir",
        type=click.Path(path_type=Path, file_okay=False),
        help="Folder for pictures and reports.",
    )(function)


def seed_option(function: FunctionT) -> FunctionT:
    """--seed N."""
    return click.option(
        "--seed", metavar="N", type=click.IntRange(0), default=0, help="Of the random draws, otherwise 0."
    )(function)


def weighing_option(function: FunctionT) -> FunctionT:
    """--weighing N."""
    return click.option(
        "--weighing",
        default="",
        metavar="N",
        help="Go by the weights of this record.",
    )(function)


def calibration_option(function: FunctionT) -> FunctionT:
    """--calibration N."""
    return click.option(
        "--calibration",
        default="",
        metavar="N",
        help="Go by the calibration of this record.",
    )(function)


def changed_card_options(function: FunctionT) -> FunctionT:
    """What to do about a card that was changed since its push was measured: --same, --as-new."""
    same = click.option("--same", is_flag=True, help="A card changed since its push: use it as it was.")
    new = click.option(
        "--as-new",
        is_flag=True,
        help="A card changed since: only its own pushes count.",
    )
    return same(new(function))


def push_options(function: FunctionT) -> FunctionT:
    """What every question to measured pushes takes: --same, --as-new, --weighing."""
    return changed_card_options(weighing_option(function))


def answer_width() -> int | None:
    """Columns that an answer may take, None where a pipe or a file takes it."""
    return text_width(sys.stdout)


def tell(text: str, *, err: bool = False) -> None:
    """What a person reads, on standard output, or on standard error what is no answer: signs and width as they read."""
    NOTICE.hush()
    click.echo(fit_to_width(true_minus(text), text_width(sys.stderr if err else sys.stdout)), err=err)


def aside(text: str) -> None:
    """What is said while somebody waits: on standard error."""
    tell(text, err=True)


def show(text: str, result: "Json | Content", *, as_json: bool, remarks: Iterable[str] = ()) -> None:
    """Print the result for a person, or as JSON for a program. remarks: what must be known first."""
    from rig.base.plain_json import finite_json
    from rig.records.codec import plain
    from rig.records.content import Content

    first = list(dict.fromkeys(remarks))
    if not as_json:
        tell("\n".join([*(f"note: {one if one.endswith('?') else one.rstrip('.') + '.'}" for one in first), text]))
        return
    shown = plain(result) if isinstance(result, Content) else finite_json(result)
    if first:
        shown = {"remarks": first} | shown
    print_json(shown)


def print_json(shown: "Json") -> None:
    """JSON for a program, whole in any code page: signs that this one lacks are escaped, as JSON can."""
    NOTICE.hush()
    click.echo(json.dumps(shown, ensure_ascii=not knows_all_signs(sys.stdout.encoding), indent=2))


LINE_EVERY_S = 5.0
"""How often long work says how far it is where no terminal is."""


@contextmanager
def progress(title: str, *, quiet: bool = False) -> Iterator[Progress]:
    """A bar on standard error while long work runs; yields a function that takes 0..1."""
    NOTICE.hush()
    if quiet:
        yield lambda share: None
        return
    if not sys.stderr.isatty():
        yield _now_and_then(title)
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=None)  # it moves to and fro until the work says how far it is
        yield lambda share: bar.update(task, total=1.0, completed=share)
    NOTICE.arm()


def _now_and_then(title: str) -> Progress:
    """Lines for a file or another program's window: how far long work is, every few seconds."""
    last = time.monotonic()

    def say(share: float) -> None:
        nonlocal last
        if (now := time.monotonic()) - last >= LINE_EVERY_S:
            last = now
            tell(f"{title}: {100 * share:.0f} %", err=True)

    return say


def ask_in_terminal(*, unattended: bool) -> "Ask":
    """A way to ask for each step: waits for Enter, or goes on at once when unattended."""

    def ask(step: "Step") -> None:
        tell(f"  {step.text}", err=True)
        if unattended:
            return
        try:
            click.prompt("  then press Enter", default="", show_default=False, prompt_suffix=" ", err=True)
        except click.Abort:
            raise KeyboardInterrupt from None
        NOTICE.arm()

    return ask


def unattended_option(function: FunctionT) -> FunctionT:
    """--unattended."""
    return click.option("--unattended", is_flag=True, help="Do not wait for Enter.")(function)


def card_argument(function: FunctionT) -> FunctionT:
    """TEST.toml."""
    return click.argument("test_card", metavar="TEST.toml", type=click.Path(path_type=Path))(function)


def board_options(function: FunctionT) -> FunctionT:
    """The board that a camera is calibrated with: --columns, --rows, --square-mm, --marker-mm, --dictionary."""
    family = click.option(
        "--dictionary", default=BOARD_FAMILY, show_default=True, metavar="FAMILY", help="Family of a board's markers."
    )
    marker = click.option(
        "--marker-mm", type=click.FloatRange(1, 500), default=18.0, show_default=True, help="Side of a board's marker."
    )
    square = click.option(
        "--square-mm", type=click.FloatRange(1, 500), default=25.0, show_default=True, help="Side of a board's square."
    )
    rows = click.option("--rows", type=click.IntRange(3, 50), default=7, show_default=True, help="Squares down.")
    columns = click.option(
        "--columns", type=click.IntRange(3, 50), default=10, show_default=True, help="The board's squares across."
    )
    return columns(rows(square(marker(family(function)))))


def _known_kind(context: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """A kind of record that there is: a misspelt one would find nothing, as if nothing were recorded."""
    if value is None:
        return None
    from rig.command.likely import likely_of
    from rig.records.registry import RECORD_KINDS

    if value not in RECORD_KINDS:
        raise click.BadParameter(f'there is no kind "{value}". {likely_of(value, RECORD_KINDS)}', context, param)
    return value


def kind_option(function: FunctionT) -> FunctionT:
    """--kind KIND."""
    return click.option("--kind", metavar="KIND", default=None, callback=_known_kind, help="Only this kind, as push.")(
        function
    )


def write_option(function: FunctionT) -> FunctionT:
    """--write."""
    return click.option("--write", is_flag=True, help="Write it onto the card.")(function)


def clip_option(function: FunctionT) -> FunctionT:
    """--clip FILE: what a push was filmed on."""
    return click.option(
        "--clip",
        type=click.Path(path_type=Path),
        default=None,
        help="The filmed push, instead of the test card's clip.",
    )(function)


def port_option(function: FunctionT) -> FunctionT:
    """--port."""
    return click.option("--port", default="", help="Instead of the bench card's.")(function)


def pads_options(function: FunctionT) -> FunctionT:
    """What every job at the pads takes: --port, --log, --unattended, --json."""
    return port_option(log_option(unattended_option(json_option(function))))
