"""Bytes changed the way disks, cables, editors and people change them."""

import random

TOKENS = (
    b"\n",
    b"\r\n",
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\xc2\x85",
    b"\xe2\x80\xa8",
    b'"',
    b"'",
    b",",
    b"=",
    b"[",
    b"]",
    b"{",
    b"}",
    b"-",
    b"0",
    b"-1",
    b"1e999",
    b"nan",
    b"inf",
    b"99999999999999999999",
    b"true",
    b"null",
    b"../",
    b"\\u0000",
    b"\\ud800",
    b"<c1>",
    b"<pad>",
    b"*00",
    b"PB1 ",
    b"PB2 ",
    b" ",
    b"\xf0\x9f\x9a\x97",
    b"1_0",
    b"\xc2\xb2",
)


def mutate(data: bytes, rng: random.Random, others: list[bytes], *, longest: int = 20_000) -> bytes:
    """One to four changes: bits, bytes, pieces doubled, left out, moved, tokens put in, another sample's end."""
    made = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(made) + 1)
        length = min(rng.choice((1, 1, 2, 4, 16, 64, 256)), len(made) - at)
        what = rng.randrange(8)
        if what == 0 and length:
            made[at] ^= 1 << rng.randrange(8)
        elif what == 1 and length:
            made[at] = rng.randrange(256)
        elif what == 2:
            del made[at : at + length]
        elif what == 3:
            made[at:at] = made[at : at + length] * rng.choice((1, 1, 2, 40))
        elif what == 4:
            made[at : at + rng.choice((0, length))] = rng.choice(TOKENS)
        elif what == 5:
            to = rng.randrange(len(made) + 1)
            made[to:to] = made[at : at + length]
        elif what == 6:
            other = rng.choice(others)
            made[at:] = other[rng.randrange(len(other) + 1) :]
        else:
            made[at : at + length] = str(rng.choice((0, -1, 1 << 31, 1 << 63, 1 << 64, 10**40, 0.1))).encode()
    return bytes(made[:longest])
