"""How long work says how far it is."""

from collections.abc import Callable

Progress = Callable[[float], None]
"""Called with the share that is done, 0 to 1."""
