"""What a terminal takes: signs that its code page does not have, spelled out, and a path as one types it."""

import codecs
import os
import re
import sys
from pathlib import PurePath

HANDLER = "pivotbench-spelled"
SPELLED = {
    "−": "-",
    "–": "-",
    "→": "->",
    "±": "+-",
    "×": "x",
    "°": " deg",
    "…": "...",
    "≤": "<=",
    "≥": ">=",
    "½": "1/2",
    "²": "^2",
    "·": "*",
    "κ": "kappa",
    "μ": "mu",
}
"""Sign -> what stands for it; anything else becomes a question mark."""


def _spell(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join(SPELLED.get(sign, "?") for sign in lost), error.end


codecs.register_error(HANDLER, _spell)


def spell_out_what_is_missing() -> None:
    """Standard output and error write any sign from now on. Streams that know all signs are not touched in effect."""
    for stream in (sys.stdout, sys.stderr):
        if getattr(stream, "errors", "") in ("strict", "backslashreplace") and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=HANDLER)


def knows_all_signs(encoding: str | None) -> bool:
    """Whether every sign can be written: JSON is written in ASCII where not, so that no name in it is lost.

    encoding: of the stream; None where text stays text.
    """
    return encoding is None or encoding.lower().replace("-", "").replace("_", "") in (
        "utf8",
        "utf16",
        "utf32",
        "utf8sig",
    )


def as_typed(path: PurePath | str, *, windows: bool = os.name == "nt") -> str:
    """A path as one argument of a command that is shown to be typed: in quotes where a shell would cut it otherwise.

    windows: its command prompt knows double quotes only, and no file name there holds one.
    """
    text = str(path)
    if windows:
        return text if re.fullmatch(r"[\w@+=:,.\\/~-]+", text) else f'"{text}"'
    return text if re.fullmatch(r"[\w@%+=:,./-]+", text) else "'" + text.replace("'", "'\\''") + "'"
