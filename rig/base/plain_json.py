"""Values as plain JSON: what the log, the page and `--json` write."""

import math
from collections.abc import Mapping
from typing import Any

Json = dict[str, Any]
"""A JSON object on its way out to a page, a terminal or a file, or just come in from one; between jobs, types go."""


def finite_json(value: Any) -> Any:
    """Plain JSON with finite numbers: arrays become lists, missing values are left out of maps."""
    if isinstance(value, Mapping):
        plain = {str(key): finite_json(inner) for key, inner in value.items()}
        return {key: inner for key, inner in plain.items() if inner is not None}
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, list | tuple):
        return [finite_json(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
