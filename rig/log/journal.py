"""The journal beside a log: whether SQLite will read all that was committed to it.

SQLite takes the first frame whose sum does not fit for the end of the journal, and forgets what follows. After a power
cut that is right: what follows was never finished. After damage it would drop acknowledged records without a word. The
two are told apart by what follows, and by the index beside the journal, which outlives a killed process.

Formats: https://www.sqlite.org/fileformat2.html#walformat and https://www.sqlite.org/walformat.html.
"""

import struct
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

_Words = NDArray[np.uint32]

_HEAD, FRAME_HEAD = 32, 24
MAGIC = 0x377F0682
"""Of a journal whose sums take words little end first; one more for big end first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Journal:
    """frames: whole ones with the salts of this journal, from its beginning.  read: those that SQLite will read.

    committed: those that were committed for sure; more than `read` when damage hides some.
    """

    frames: int
    read: int
    committed: int


def look_at(log: Path) -> Journal:
    """The journal of a log that no process of this machine has open. Raises OSError when it cannot be read."""
    path = log.with_name(log.name + "-wal")
    try:
        raw = path.read_bytes()
    except FileNotFoundError:  # never made, or taken away just now by the last process that had the log open
        raw = b""
    size = _page_size(raw)
    count = (len(raw) - _HEAD) // (FRAME_HEAD + size) if len(raw) > _HEAD else 0
    if count <= 0:
        return Journal(frames=0, read=0, committed=0)
    index = _index(log.with_name(log.name + "-shm"))
    head_good = _sums(raw, size)[0] == raw[24:32] and raw[:4] in (_word(MAGIC), _word(MAGIC + 1))
    heads = [raw[at : at + FRAME_HEAD] for at in range(_HEAD, _HEAD + count * (FRAME_HEAD + size), FRAME_HEAD + size)]
    salts = [head[8:16] for head in heads]
    salt = raw[16:24] if head_good else index[1] if index is not None else salts[0]
    # whether a frame follows from the sum that stands in the one before it: also behind a damaged one
    fits = [salts[k] == salt and heads[k][16:24] == total for k, total in enumerate(_sums(raw, size)[1:])]
    commits = [head[4:8] != bytes(4) for head in heads]
    whole = next((k for k, good in enumerate(fits) if not (good and head_good)), count)
    read = max((k + 1 for k in range(whole) if commits[k]), default=0)
    committed = read
    if index is not None and index[1] == salt and index[0] <= count:
        committed = max(committed, index[0])
    # one unfinished transaction may follow what is read; what fits behind its end was begun after it was finished
    end = next((k for k in range(whole, count) if commits[k] and salts[k] == salt), count)
    if any(fits[k] for k in range(end + 1, count)):
        committed = max(committed, max(k + 1 for k in range(count) if fits[k] and (commits[k] or k <= end)))
    if index is not None and index[2] >= committed:  # all of it stands in the log itself already
        committed = read
    return Journal(frames=count, read=read, committed=committed)


def sum_again(journal: Path, committed: int) -> None:
    """Make the sums of the first frames fit what stands in them, so that SQLite reads them; what comes after is cut.

    For a copy of a damaged journal: which row is damaged is then told by the rows' own sums.
    """
    raw = bytearray(journal.read_bytes())
    size = _page_size(raw)
    salts = [bytes(raw[_HEAD + k * (FRAME_HEAD + size) + 8 :][:8]) for k in range(committed)]
    salt = max(set(salts), key=salts.count)
    raw[:16] = _word(MAGIC) + _word(3007000) + _word(size) + bytes(raw[12:16])
    raw[16:24] = salt
    total = _sum(bytes(raw[:24]), (0, 0), "<u4")
    raw[24:32] = b"".join(map(_word, total))
    for k in range(committed):
        at = _HEAD + k * (FRAME_HEAD + size)
        raw[at + 8 : at + 16] = salt
        total = _sum(bytes(raw[at : at + 8]) + bytes(raw[at + FRAME_HEAD : at + FRAME_HEAD + size]), total, "<u4")
        raw[at + 16 : at + 24] = b"".join(map(_word, total))
    journal.write_bytes(raw[: _HEAD + committed * (FRAME_HEAD + size)])


def _page_size(raw: bytes | bytearray) -> int:
    """As the journal says; the usual one where it says what cannot be."""
    size = int.from_bytes(raw[8:12], "big")
    return size if 512 <= size <= 65536 and size & (size - 1) == 0 else 4096


def _word(value: int) -> bytes:
    return struct.pack(">I", value)


def _sums(raw: bytes, size: int) -> list[bytes]:
    """The sum that should stand in the journal's head and in each frame, from the one that stands before it."""
    order = ">u4" if raw[3] & 1 else "<u4"
    count = (len(raw) - _HEAD) // (FRAME_HEAD + size)
    frames = np.frombuffer(raw, np.uint8, count * (FRAME_HEAD + size), _HEAD).reshape(count, FRAME_HEAD + size)
    summed = np.concatenate([frames[:, :8], frames[:, FRAME_HEAD:]], axis=1).view(order).astype(np.uint32)
    stated = np.frombuffer(raw[24:_HEAD] + frames[:, 16:24].tobytes(), ">u4").astype(np.uint32).reshape(-1, 2)
    totals = _chained(summed, stated[:-1]).astype(">u4").tobytes()
    head = b"".join(map(_word, _sum(raw[:24], (0, 0), order)))
    return [head, *(totals[at : at + 8] for at in range(0, len(totals), 8))]


_powers: dict[int, tuple[_Words, _Words]] = {}


def _sum(data: bytes, before: tuple[int, int], order: str) -> tuple[int, int]:
    """The sum of one piece of data that follows what has the sum `before`."""
    words = np.frombuffer(data, order).astype(np.uint32).reshape(1, -1)
    first, second = _chained(words, np.array([before], np.uint32))[0]
    return int(first), int(second)


def _chained(words: _Words, before: _Words) -> _Words:
    """(n, 2) sums of (n, words) words that follow what has the (n, 2) sums before.

    s0 += x[i] + s1; s1 += x[i+1] + s0, over pairs of words: a linear recurrence, so one product with its powers.
    """
    pairs = words.shape[1] // 2
    if pairs not in _powers:
        _powers[pairs] = _recurrence(pairs)
    first, second = words[:, ::2], words[:, ::2] + words[:, 1::2]
    return np.stack(
        [
            (before * row[0]).sum(axis=1, dtype=np.uint32)
            + (first * row[1:, 0] + second * row[1:, 1]).sum(axis=1, dtype=np.uint32)
            for row in _powers[pairs]
        ],
        axis=1,
    )


def _recurrence(count: int) -> tuple[_Words, _Words]:
    """Both rows of [[1, 1], [1, 2]] to the powers count … 0, the last one being that of the last step itself."""
    powers, mask = [(1, 0, 0, 1)], 0xFFFFFFFF
    for _ in range(count):
        a, b, c, d = powers[-1]
        powers.append(((a + c) & mask, (b + d) & mask, (a + 2 * c) & mask, (b + 2 * d) & mask))
    table = np.array([powers[count], *powers[count - 1 :: -1]], np.uint32)
    return table[:, :2], table[:, 2:]


def _index(path: Path) -> tuple[int, bytes, int] | None:
    """(frames committed, salts, frames that the log holds already) as the index says; None when it does not fit."""
    try:
        with path.open("rb") as file:
            raw = file.read(100)
    except OSError:
        return None
    if len(raw) < 100 or raw[:48] != raw[48:96] or raw[12] != 1:
        return None
    native = "<u4" if sys.byteorder == "little" else ">u4"
    if _sum(raw[:40], (0, 0), native) != struct.unpack("=II", raw[40:48]):
        return None
    committed, moved = struct.unpack("=I", raw[16:20])[0], struct.unpack("=I", raw[96:100])[0]
    return committed, raw[32:40], moved
