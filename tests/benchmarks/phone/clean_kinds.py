"""Clips with nothing amiss: the ways phones write them, light and angles of an ordinary workshop."""

import numpy as np

from tests.benchmarks.phone.film import Tape
from tests.benchmarks.phone.kinds import kind
from tests.benchmarks.phone.optics import Array
from tests.benchmarks.phone.shot import Shot, seen_from


def _tape(name: str, sizes: tuple[float, ...], tape: Tape) -> None:
    @kind(name, sizes, "compress|quality", clean=True)
    def stored(shot: Shot, size: float) -> None:
        shot.tape = Tape(tape.codec, tape.pixels, int(size), tape.suffix, tape.turn, tape.full_range)


_tape("H.264", (18, 24), Tape())
_tape("H.264 strongly compressed", (30, 34), Tape())
_tape("H.264 10 bit", (20, 26), Tape(pixels="yuv420p10le"))
_tape("H.264 full range", (20,), Tape(full_range=True))
_tape("H.264 turned by 90", (22,), Tape(turn=90))
_tape("H.264 turned by 180", (22,), Tape(turn=180))
_tape("HEVC", (22, 28), Tape("libx265"))
_tape("HEVC 10 bit", (22, 28), Tape("libx265", "yuv420p10le"))
_tape("VP9", (28, 40), Tape("libvpx-vp9", suffix=".webm"))
_tape("MJPEG", (3, 8), Tape("mjpeg", "yuvj420p", suffix=".avi", full_range=True))
_tape("MPEG-4", (3, 6), Tape("mpeg4", suffix=".avi"))


@kind("full cards, ordinary", clean=True, cards="full")
@kind("short cards, ordinary", clean=True, cards="short")
def _ordinary(shot: Shot, size: float) -> None:
    pass


@kind("HDR curve, HEVC 10 bit", (22, 28), clean=True)
def _hdr(shot: Shot, size: float) -> None:
    shot.sensor.curve, shot.tape = "hlg", Tape("libx265", "yuv420p10le", int(size))


@kind("contrast curve", (0.9, 1.1), clean=True)
def _contrast(shot: Shot, size: float) -> None:
    shot.sensor.curve, shot.sensor.gain = "contrast", size


@kind("odd picture size", (1, 3), clean=True)
def _odd(shot: Shot, size: float) -> None:
    shot.size, shot.tape = (960 + int(size), 540 + int(size)), Tape("libx264", "yuv444p")


@kind("portrait", (540, 576), clean=True)
def _portrait(shot: Shot, size: float) -> None:
    shot.size = (int(size), 960)
    seen_from(shot, around=-np.pi + 0.12, up=0.95, reach=1.45, wide=1.15)


@kind("four by three", (720, 800), clean=True)
def _four(shot: Shot, size: float) -> None:
    shot.size = (int(size), int(size) * 3 // 4)
    seen_from(shot, up=0.95, reach=1.25, wide=0.85)


@kind("rate", (24, 25, 50, 60), clean=True, speed=True)
def _rate(shot: Shot, size: float) -> None:
    shot.rate = size


@kind("variable rate", (0.15, 0.35), clean=True, speed=True)
def _variable(shot: Shot, size: float) -> None:
    gaps = (1 / shot.rate) * (1 + size * shot.rng.uniform(-1, 1, int(shot.length * shot.rate)))
    shot.times = np.cumsum(gaps) - gaps[0]


@kind("pictures dropped", (0.05, 0.15), clean=True, speed=True)
def _dropped(shot: Shot, size: float) -> None:
    times = np.arange(0, shot.length, 1 / shot.rate)
    shot.times = times[(shot.rng.uniform(size=len(times)) > size) | (np.arange(len(times)) == 0)]


@kind("dim", (99, 75, 55), "light|dim|dark", fine=True)
def _dim(shot: Shot, size: float) -> None:
    shot.sensor.gain = (size / 255) ** 2.2 / 0.82
    shot.sensor.noise = (0.004, 0.006)


@kind("noisy", (2, 4), clean=True)
def _noisy(shot: Shot, size: float) -> None:
    shot.sensor.noise = (0.004 * size, 0.01 * size)


@kind("rolling shutter", (0.015, 0.028), clean=True)
def _rolling(shot: Shot, size: float) -> None:
    shot.readout = size


@kind("long exposure", (0.016, 0.03), clean=True)
def _long(shot: Shot, size: float) -> None:
    shot.sensor.exposure = size


@kind("soft lens", (0.9, 1.2), "soft|focus|sharp", fine=True)
def _soft(shot: Shot, size: float) -> None:
    shot.sensor.blur = size


@kind("sharpened", (0.4, 1.0), clean=True)
def _sharpened(shot: Shot, size: float) -> None:
    shot.sensor.sharpen = size


@kind("tele", (1.8, 2.6), "calibrate|flatter|lens", fine=True)
def _tele(shot: Shot, size: float) -> None:
    seen_from(shot, reach=1.25 * size)


@kind("flat angle", (0.55, 0.65), "from nearer|resolution", fine=True)
def _low(shot: Shot, size: float) -> None:
    seen_from(shot, up=size)


@kind("from above", (1.25, 1.4), "hardly fix the lens|flatter|calibrate", fine=True)
def _above(shot: Shot, size: float) -> None:
    seen_from(shot, up=size)


@kind("hand at the car's end", (0.0, 0.01), "hands|in the line|covered", fine=True)
def _hand(shot: Shot, size: float) -> None:
    shot.hand = lambda moment: np.array([0.0, -0.10 + size + min(max(moment - 0.3, 0), 0.3)]) if moment > 0.3 else None


@kind("light that changes", (0.1, 0.3), clean=True)
def _light(shot: Shot, size: float) -> None:
    shot.shade = lambda x, y, moment: 1 - size * (0.5 + 0.5 * np.sin(9 * moment)) * np.ones_like(x)


@kind("soft shadow edge", (0.2, 0.45), "shadow|light", fine=True)
def _shadow(shot: Shot, size: float) -> None:
    def shade(x: Array, y: Array, moment: float) -> Array:
        return 1 - size / (1 + np.exp((x * 0.8 + y - 0.35 + 0.18 * moment) / 0.02))

    shot.shade = shade


@kind("small travel", (0.006, 0.012), "turn|travel|small|farther|straight", fine=True)
def _small(shot: Shot, size: float) -> None:
    shot.travel = size


@kind("went straight", (40, -60), "straight", fine=True)
def _straight(shot: Shot, size: float) -> None:
    shot.station, shot.start_yaw = size, 0.0  # at a pivot so far off, a slanted start is metres away


@kind("marker out of the picture", (0.10, 0.14), "floor marker", fine=True)
def _out(shot: Shot, size: float) -> None:
    shot.aim = shot.aim + np.array([0.0, size * 2, 0.0])
