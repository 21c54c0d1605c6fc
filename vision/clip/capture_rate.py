"""At how many pictures a second a clip was taken, where its file says so: slow motion is stored to be played slowly.

Sources: ISO/IEC 14496-12 (boxes), Apple's QuickTime File Format (metadata `mdta`: keys and their typed values). The key
is the one that Android's recorders write (its MediaRecorder's capture rate).
"""

import struct
from pathlib import Path

from vision.clip.boxes import boxes_in, boxes_of_file

CAPTURE_KEY = b"com.android.capture.fps"
MOST_RATE = 10_000.0
"""Pictures a second; no camera that films a push takes more."""
_TEXT, _SIGNED, _UNSIGNED, _FLOAT, _DOUBLE = 1, 21, 22, 23, 24
_LARGEST = 16_000_000  # bytes of a movie box that is looked through: it holds no pictures


def tagged_rate(path: Path) -> float | None:
    """Pictures a second at which the clip was captured, by its file's own metadata; None where it says nothing."""
    places = {kind: (start, end) for kind, start, end in boxes_of_file(path)}
    start, end = places.get(b"moov", (0, 0))
    if end - start > _LARGEST:
        return None
    with path.open("rb") as stream:
        stream.seek(start)
        inside = list(boxes_in(stream.read(end - start)))
    inside += [box for kind, body in inside if kind == b"udta" for box in boxes_in(body)]  # user data, as some write it
    found = (_rate_in(body) for kind, body in inside if kind == b"meta")
    return next((rate for rate in found if rate is not None), None)


def _rate_in(meta: bytes) -> float | None:
    """The capture rate among the keys of a `meta` box, with or without the version that MP4 puts before them."""
    boxes = next((found for skip in (0, 4) if b"keys" in (found := dict(boxes_in(meta[skip:])))), {})
    names = [body for _, body in boxes_in(boxes.get(b"keys", b"")[8:])]
    for kind, body in boxes_in(boxes.get(b"ilst", b"")):
        number = struct.unpack(">I", kind)[0]
        if 1 <= number <= len(names) and names[number - 1] == CAPTURE_KEY:
            for name, value in boxes_in(body):
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
