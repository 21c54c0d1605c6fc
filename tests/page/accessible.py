"""A checker of accessibility in the browser."""

from pathlib import Path
from typing import Any

AXE = Path(__file__).parents[1] / "data" / "axe" / "axe.min.js"


def findings(page: Any) -> list[str]:
    """Findings of the checker, of every grade (WCAG 2.2 A and AA, and its good practice)."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
    )
    return [
        f"{one['id']} ({one['impact']}): {node['target']} {node['failureSummary']}"
        for one in found["violations"]
        for node in one["nodes"]
    ]
