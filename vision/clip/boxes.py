"""The boxes of a clip's file (ISO/IEC 14496-12): sizes and kinds, without the pictures in them."""

import struct
from collections.abc import Iterator
from pathlib import Path

FIRST_KIND = b"ftyp"
"""Kind of the box that such a file begins with."""


def boxes_of_file(path: Path) -> Iterator[tuple[bytes, int, int]]:
    """(kind, start of the body, end) of the boxes on the file's top level, in bytes from its beginning.

    The last one may end beyond the file, which was then cut off. Ends where the sizes no longer make sense; nothing for
    a file of another kind.
    """
    size = path.stat().st_size
    with path.open("rb") as stream:
        place = 0
        while place + 8 <= size:
            stream.seek(place)
            header = stream.read(16)
            length, kind, head = struct.unpack(">I", header[:4])[0], header[4:8], 8
            if place == 0 and kind != FIRST_KIND:
                return
            if length == 1 and len(header) == 16:
                length, head = struct.unpack(">Q", header[8:16])[0], 16
            elif length == 0:  # to the end of the file
                length = size - place
            if length < head:
                return
            yield kind, place + head, place + length
            place += length


def boxes_in(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """(kind, body) of the boxes that follow one another; ends where they no longer make sense."""
    place = 0
    while place + 8 <= len(data):
        length = struct.unpack(">I", data[place : place + 4])[0]
        if length < 8 or place + length > len(data):
            return
        yield data[place + 4 : place + 8], data[place + 8 : place + length]
        place += length
