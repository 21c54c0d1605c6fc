"""Hold back what a C library prints by itself where a person reads."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """Send the process's standard error to nowhere meanwhile.

    OpenCV prints a line about a tag whenever it opens a WebM writer, whatever its log level, and then writes well.
    """
    sys.stderr.flush()
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
