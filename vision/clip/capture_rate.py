"""At how many pictures a second a clip was taken, where its file says so: slow motion is stored to be played slowly.

Sources: ISO/IEC 14496-12 (boxes), Apple's QuickTime File Format (metadata `mdta`: keys and their typed values). The key
is the one that Android's recorders write (its MediaRecorder's capture rate).
"""

import struct
from collections.abc import Iterator
from pathlib import Path

CAPTURE_KEY = b"com.android.capture.fps"
MOST_RATE = 10_000.0
"""Pictures a second; no camera that films a push takes more."""
_TEXT, _SIGNED, _UNSIGNED, _FLOAT, _DOUBLE = 1, 21, 22, 23, 24
_LARGEST = 16_000_000  # bytes of a movie box that is looked through: it holds no pictures


def tagged_rate(path: Path) -> float | None:
    """Pictures a second at which the clip was captured, by its file's own metadata; None where it says nothing."""
    with path.open("rb") as stream:
        head = stream.read(12)
        if head[4:8] != b"ftyp":
            return None
        movie = _box_of_file(path, b"moov")
    if movie is None:
        return None
    inside = list(_boxes(movie))
    inside += [box for kind, body in inside if kind == b"udta" for box in _boxes(body)]  # user data, as some write it
    found = (_rate_in(body) for kind, body in inside if kind == b"meta")
    return next((rate for rate in found if rate is not None), None)


def _box_of_file(path: Path, wanted: bytes) -> bytes | None:
    """The body of the first box of this kind on the file's top level."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        place = 0
        while place + 8 <= size:
            stream.seek(place)
            header = stream.read(16)
            length, kind, start = struct.unpack(">I", header[:4])[0], header[4:8], 8
            if length == 1 and len(header) == 16:
                length, start = struct.unpack(">Q", header[8:16])[0], 16
            elif length == 0:
                length = size - place
            if length < start:
                return None
            if kind == wanted:
                stream.seek(place + start)
                return stream.read(length - start) if length <= _LARGEST else None
            place += length
    return None


def _boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """(kind, body) of the boxes that follow one another; ends where they no longer make sense."""
    place = 0
    while place + 8 <= len(data):
        length = struct.unpack(">I", data[place : place + 4])[0]
        if length < 8 or place + length > len(data):
            return
        yield data[place + 4 : place + 8], data[place + 8 : place + length]
        place += length


def _rate_in(meta: bytes) -> float | None:
    """The capture rate among the keys of a `meta` box, with or without the version that MP4 puts before them."""
    boxes = dict(_boxes(meta)) or dict(_boxes(meta[4:]))
    if b"keys" not in boxes:
        boxes = dict(_boxes(meta[4:]))
    names = [body for _, body in _boxes(boxes.get(b"keys", b"")[8:])]
    for kind, body in _boxes(boxes.get(b"ilst", b"")):
        number = struct.unpack(">I", kind)[0]
        if 1 <= number <= len(names) and names[number - 1] == CAPTURE_KEY:
            for name, value in _boxes(body):
                if name == b"data" and len(value) > 8:
                    return _number(struct.unpack(">I", value[:4])[0] & 0xFFFFFF, value[8:])
    return None


def _number(kind: int, value: bytes) -> float | None:
    """A value of well-known type as a rate, None when it is none."""
    try:
        if kind == _TEXT:
            rate = float(value.decode("utf-8"))
        elif kind in (_FLOAT, _DOUBLE):
            rate = float(struct.unpack(">f" if kind == _FLOAT else ">d", value)[0])
        elif kind in (_SIGNED, _UNSIGNED):
            rate = float(int.from_bytes(value, "big", signed=kind == _SIGNED))
        else:
            return None
    except (ValueError, struct.error):
        return None
    return rate if 0.0 < rate <= MOST_RATE else None
