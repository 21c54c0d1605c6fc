"""What `pivotbench` alone says: where one stands, the next step, and the twelve commands."""

from pathlib import Path

from rig.command.options import log_folder


def standing_text(folder: Path) -> str:
    """Where one stands in a folder, and the next step."""
    from rig.jobs.record.where_one_stands import NOTHING, where_one_stands

    found = where_one_stands(folder, log_folder(None))
    lines = [card.words for card in found.cards]
    if found.left_out:
        lines.append(f"… and {found.left_out} more test cards")
    if not lines:
        lines.append("No bench here yet." if found.log == NOTHING else "No test card in this folder.")
    return "\n".join([*lines, f"Log: {found.log}.", f"Next: {found.next}"])
