"""pivotbench grip"""

from pathlib import Path

import click

from rig.command.options import card_argument, json_option, log_folder, log_option, show


@click.command(name="grip", epilog="Example: pivotbench grip test.toml")
@card_argument
@click.option("--static", "static", is_flag=True, help="Grip at the first slip instead of while sliding.")
@log_option
@json_option
def command(test_card: Path, static: bool, log_dir: Path | None, as_json: bool) -> None:
    """Combine all grip measurements of this car (tilt, pull, sweep) in one estimate, with what contradicts."""
    from rig.cards.read import read_set
    from rig.jobs.grip.grip import combined_grip
    from rig.log.store import BenchLog
    from rig.report.sentences import noted

    cards = read_set(test_card)
    with BenchLog(log_folder(log_dir), read_only=True) as log:
        found = combined_grip(cards, log, state="static" if static else "sliding")
    alike = "" if found.ratio_measured else "  (not measured: all four tyres alike)"
    lines = [
        f"front {found.front:.3f} (95 %: {found.front_interval[0]:.3f} to {found.front_interval[1]:.3f})",
        f"rear  {found.rear:.3f} (95 %: {found.rear_interval[0]:.3f} to {found.rear_interval[1]:.3f})",
        f"front / rear {found.ratio:.3f} (95 %: {found.ratio_interval[0]:.3f} to {found.ratio_interval[1]:.3f}){alike}",
        f"from {found.count} measurements, {found.state}",
        *([found.contradiction.sentence] if found.contradiction.sentence else []),
        *noted(found.warnings),
        "Onto the test card:",
        f"[grip]\nfront = {found.front:.4f}\nrear = {found.rear:.4f}\nratio_u = {found.ratio_u:.4f}\n"
        f"level_u = {found.level_u:.4f}\nmeasured = {'true' if found.ratio_measured else 'false'}",
    ]
    show(
        "\n".join(lines),
        {
            "front": found.front,
            "rear": found.rear,
            "ratio": found.ratio,
            "ratio_interval": list(found.ratio_interval),
            "ratio_u": found.ratio_u,
            "level_u": found.level_u,
            "count": found.count,
            "measured": found.ratio_measured,
            "contradiction": found.contradiction.sentence,
            "warnings": list(found.warnings),
        },
        as_json=as_json,
    )
