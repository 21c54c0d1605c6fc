"""pivotbench moving rates"""

from pathlib import Path

import click

from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.signs import two_digits
from analysis.statistics.quantiles import NORMAL_95
from rig.base.plain_json import Json
from rig.command.group import BenchCommand, NearGroup
from rig.command.onto_card import Written, onto_card
from rig.command.options import FunctionT, json_option, show


def _card_options(function: FunctionT) -> FunctionT:
    """--write CAR.toml and --axle: where a value goes when it is to be written."""
    axle = click.option("--axle", type=click.Choice(("front", "rear")), help="With --write: whose springs these are.")
    write = click.option("--write", "car_card", type=click.Path(path_type=Path), help="Write it onto this car card.")
    return write(axle(function))


@click.group(
    name="rates",
    cls=NearGroup,
    epilog="Example: pivotbench moving rates spring --at 0 40.0 --at 1000 36.1",
)
def command() -> None:
    """Measure springs, motion ratio, roll stiffness, bar and damping at the bench, for the car card.

    Fingers clear of the driveline and of springs under load. The car supported under the lifted axle; for steep
    lifts the battery out, a block of equal mass in its place.
    """


@command.command(
    cls=BenchCommand,
    example="pivotbench moving rates spring --at 0 40.0 --at 1000 36.1",
    then="write the lines onto the car card (--write), then: pivotbench moving test.toml",
)
@click.option("--at", "pairs", type=float, nargs=2, multiple=True, required=True, help="Pad load, g, and length, mm.")
@click.option("--load-u", type=click.FloatRange(0), default=1.0, show_default=True, help="Doubt of a load, g.")
@click.option("--length-u", type=click.FloatRange(0), default=0.2, show_default=True, help="Doubt of a length, mm.")
@_card_options
@json_option
def spring(
    pairs: tuple[tuple[float, float], ...],
    load_u: float,
    length_u: float,
    car_card: Path | None,
    axle: str | None,
    as_json: bool,
) -> None:
    """Spring rate from two or more loads on a pad. Lengths by ruler, or by the height of a marker."""
    import numpy as np

    from analysis.springs.bench_rates import spring_rate

    read = np.array(pairs)
    found = spring_rate(
        read[:, 0] * 1e-3 * STANDARD_GRAVITY,
        read[:, 1] * 1e-3,
        load_u=load_u * 1e-3 * STANDARD_GRAVITY,
        height_u=length_u * 1e-3,
    )
    _show_value(
        "spring_n_per_mm",
        found.value * 1e-3,
        found.u * 1e-3,
        "N/mm",
        found.method,
        _place(car_card, axle),
        as_json=as_json,
    )


@command.command(
    cls=BenchCommand,
    example="pivotbench moving rates ratio --at 0 52.0 --at 10 45.6",
    then="write the lines onto the car card (--write), then: pivotbench moving test.toml",
)
@click.option("--at", "pairs", type=float, nargs=2, multiple=True, required=True, help="Wheel and spring place, mm.")
@click.option("--read-u", type=click.FloatRange(0), default=0.2, show_default=True, help="Doubt of a reading, mm.")
@_card_options
@json_option
def ratio(
    pairs: tuple[tuple[float, float], ...], read_u: float, car_card: Path | None, axle: str | None, as_json: bool
) -> None:
    """Motion ratio from wheel and spring read together. At two or more heights."""
    import numpy as np

    from analysis.springs.bench_rates import motion_ratio

    read = np.array(pairs) * 1e-3
    found = motion_ratio(read[:, 0], read[:, 1], wheel_u=read_u * 1e-3, spring_u=read_u * 1e-3)
    _show_value("motion_ratio", found.value, found.u, "", found.method, _place(car_card, axle), as_json=as_json)


@command.command(
    cls=BenchCommand,
    example="pivotbench moving rates shim --gained 27 --shim 1.0 --track 165 165 --body-roll 0.16",
    then="write the lines onto the car card (--write), then: pivotbench moving test.toml",
)
@click.option("--gained", type=float, required=True, help="Load that the shimmed front wheel gains, g.")
@click.option("--blocked", type=float, help="The same with the rear axle blocked solid, g.")
@click.option("--body-roll", type=float, help="Turn of the body, degrees, instead of blocking an axle.")
@click.option("--shim", "thick", type=float, required=True, help="Shim, mm.")
@click.option("--track", type=float, nargs=2, required=True, help="Contact tracks front and rear, mm.")
@click.option("--load-u", type=click.FloatRange(0), default=1.0, show_default=True, help="Doubt of the gain, g.")
@click.option("--roll-u", type=click.FloatRange(0), default=0.02, show_default=True, help="Doubt of the turn, degrees.")
@json_option
def shim(
    gained: float,
    blocked: float | None,
    body_roll: float | None,
    thick: float,
    track: tuple[float, float],
    load_u: float,
    roll_u: float,
    as_json: bool,
) -> None:
    """Roll stiffness of both axles from a shim under a front wheel.

    The pads alone know only both axles in series: read the body's turn too, or shim again with the rear axle blocked.
    """
    import math

    from analysis.springs.bench_rates import roll_split, roll_split_by_blocking
    from rig.base.errors import InputError
    from rig.report.words.rounding import with_uncertainty

    newton, mm = 1e-3 * STANDARD_GRAVITY, 1e-3
    width = (track[0] * mm, track[1] * mm)
    if body_roll is not None:
        found = roll_split(
            gained * newton,
            thick * mm,
            width,
            math.radians(body_roll),
            gained_u=load_u * newton,
            body_roll_u=math.radians(roll_u),
        )
    elif blocked is not None:
        found = roll_split_by_blocking(gained * newton, blocked * newton, thick * mm, width, gained_u=load_u * newton)
    else:
        raise InputError(
            "a shim and the pads cannot tell front from rear",
            where="shim",
            remedy="Give --body-roll, or --blocked from a second weighing with the rear axle blocked",
        )
    rows = {"front": found.front, "rear": found.rear, "front_share": found.front_share}
    result = {name: {"value": row.value, "u": row.u} for name, row in rows.items()}
    text = "\n".join(
        [
            f"front {with_uncertainty(found.front.value, found.front.u, 'N m/rad')}",
            f"rear  {with_uncertainty(found.rear.value, found.rear.u, 'N m/rad')}",
            f"front share {with_uncertainty(100 * found.front_share.value, 100 * found.front_share.u, '%')}",
        ]
    )
    show(text, result, as_json=as_json)


@command.command(
    cls=BenchCommand,
    example="pivotbench moving rates bar --with-bar 12.0 0.3 --without 8.0 0.3 --track 165",
    then="write the lines onto the car card, then: pivotbench moving test.toml",
)
@click.option("--with-bar", type=float, nargs=2, required=True, help="Axle's roll stiffness and its doubt, N m/rad.")
@click.option("--without", type=float, nargs=2, required=True, help="The same with the bar unhooked, N m/rad.")
@click.option("--track", type=click.FloatRange(0, min_open=True), required=True, help="Contact track, mm.")
@_card_options
@json_option
def bar(
    with_bar: tuple[float, float],
    without: tuple[float, float],
    track: float,
    car_card: Path | None,
    axle: str | None,
    as_json: bool,
) -> None:
    """Rate of an anti-roll bar, by difference."""
    from analysis.springs.bench_rates import Measured, bar_rate

    hooked, free = (Measured(value=v, u=u, method="typed") for v, u in (with_bar, without))
    found = bar_rate(hooked, free, track * 1e-3)
    _show_value(
        "bar_n_per_mm",
        found.value * 1e-3,
        found.u * 1e-3,
        "N/mm",
        found.method,
        _place(car_card, axle),
        as_json=as_json,
    )


@command.command(
    cls=BenchCommand,
    example="pivotbench moving rates bounce bounce.csv",
    then="write the lines onto the car card, then: pivotbench moving test.toml",
)
@click.argument("track", metavar="TRACK.csv", type=click.Path(path_type=Path))
@json_option
def bounce(track: Path, as_json: bool) -> None:
    """Natural frequency and damping ratio of a bounce. Filmed: columns time_s and height_mm, after letting go."""
    from analysis.springs.bounce import fit_bounce
    from rig.jobs.moving.table import columns
    from rig.report.words.rounding import with_uncertainty

    time, height = columns(track, ("time_s", "height_mm")).T
    found = fit_bounce(time, height * 1e-3)
    rows = {"frequency_hz": found.frequency, "damping_ratio": found.damping}
    if found.decrement_damping is not None:
        rows["damping_ratio_by_peaks"] = found.decrement_damping
    result: Json = {name: {"value": row.value, "u": row.u} for name, row in rows.items()}
    text = "\n".join(f"{name:<24} {with_uncertainty(row.value, row.u)}   {row.method}" for name, row in rows.items())
    show(text, result, as_json=as_json)


def _place(car_card: Path | None, axle: str | None) -> tuple[Path, str] | None:
    """The card and the axle that a value is written onto; None when it is only shown."""
    if (car_card is None) != (axle is None):
        raise click.UsageError("to write a value, say both: --write CAR.toml and --axle front or rear")
    return None if car_card is None or axle is None else (car_card, axle)


def _show_value(
    key: str, value: float, u: float, unit: str, method: str, place: tuple[Path, str] | None, *, as_json: bool
) -> None:
    """One value as it goes onto the car card, and there, when `place` names one."""
    from rig.cards.written.edited import card_as_read

    text = f"{key} = {value:.4g}   # ± {two_digits(NORMAL_95 * u)} {unit} (95 %), {method}\n{key}_u = {two_digits(u)}"
    written = Written()
    if place is not None:
        card, axle = place
        rounded = {key: float(f"{value:.4g}"), f"{key}_u": float(f"{u:.2g}")}
        values = {f"chassis.{axle}.{name}": number for name, number in rounded.items()}
        written = onto_card(card, "car", values, as_read=card_as_read(card, "car"))
    show("\n".join([text, *written.lines]), {key: value, f"{key}_u": u}, as_json=as_json)
    if written.refused is not None:
        raise written.refused
