"""Clips handed over in the browser: limited in size, checked by their first bytes, kept under a name of our own."""

import secrets
import shutil
from pathlib import Path

from starlette.requests import Request

from rig.base.errors import BenchError, InputError
from vision.clip.frames import check_clip

LARGEST = 600_000_000
ROOM_LEFT = 200_000_000
"""Bytes that must stay free on the disk for the log."""


def clip_ending(head: bytes) -> str | None:
    """The file ending that belongs to these first bytes (ISO base media, RIFF AVI, Matroska/WebM), or None."""
    if head[4:8] == b"ftyp" and head[8:12] not in (b"heic", b"heix", b"mif1", b"avif"):
        return ".mp4"
    if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
        return ".avi"
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return ".mkv"
    return None


def sweep_clips(folder: Path) -> None:
    """Remove what was cut off on its way in when the machine went down."""
    for part in folder.glob("upload-*.part"):
        part.unlink(missing_ok=True)


async def receive_clip(request: Request, folder: Path) -> Path:
    """Store the body of a request as a clip. Raises InputError for what is no clip, BenchError without room."""
    length = int(request.headers.get("content-length", "0") or 0)
    folder.mkdir(parents=True, exist_ok=True)
    if shutil.disk_usage(folder).free < length + ROOM_LEFT:
        raise BenchError("the disk is too full for this clip", where="clip", remedy="Make room, then try again")
    part = folder / f"upload-{secrets.token_hex(8)}.part"
    ending: str | None = None
    head = b""
    try:
        with part.open("xb") as file:
            async for chunk in request.stream():
                if ending is None:
                    head += chunk[:64]
                    if len(head) >= 12 and (ending := clip_ending(head)) is None:
                        raise _no_clip()
                file.write(chunk)
        if ending is None:
            raise _no_clip()
        check_clip(part)
        clip = part.with_suffix(ending)
        part.replace(clip)
        return clip
    finally:
        part.unlink(missing_ok=True)


def _no_clip() -> InputError:
    return InputError(
        "this is not a clip",
        where="clip",
        remedy="Give a video file as the camera wrote it (MP4, MOV, WebM, AVI or MKV)",
    )
