"""What this room raises: three parts, what happened, where, and what to do about it."""


class VisionError(Exception):
    """Shown to people as it stands; the front end ends with `exit_code`.

    what: what happened.  where: file, line, port or quantity.  remedy: what to do.
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str, remedy: str) -> None:
        super().__init__(f"{where}: {what}. {remedy}.")
        self.what, self.where, self.remedy = what, where, remedy


class InputError(VisionError):
    """What the person gave cannot be used."""

    exit_code = 2
