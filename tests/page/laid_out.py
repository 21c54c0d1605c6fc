"""What a reader cannot read: words that are cut, lie on one another, or beyond the window's edge."""

from pathlib import Path
from typing import Any

FAULTS = Path(__file__).with_name("laid_out.js").read_text(encoding="utf-8")


def faults(page: Any) -> list[str]:
    """Of the page as it stands; empty where all of it can be read."""
    return list(page.evaluate(FAULTS))
