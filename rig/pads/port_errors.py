"""How a port ends: lost, or at the end of a recording."""


class PortLostError(OSError):
    """The far end is gone: unplugged, switched off, or hung up."""


class EndOfRecordingError(OSError):
    """A replayed recording has nothing more."""
