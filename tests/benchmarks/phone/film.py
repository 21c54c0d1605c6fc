"""Light to a file as phones write it: exposure, blur, noise, the sensor's curve, and then a codec."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from tests.benchmarks.phone.optics import Array, View
from tests.benchmarks.phone.stage import FINE, Kept, Stage


@dataclass
class Sensor:
    """gain: of the light (1: white paper just below full scale).  noise: read noise as a share of full scale, and
    the photons' share.  curve: "gamma", "hlg", "contrast" or "linear".  exposure: s.  blur: px, of the lens."""

    gain: float = 1.0
    noise: tuple[float, float] = (0.004, 0.006)
    curve: str = "gamma"
    exposure: float = 0.006
    blur: float = 0.55
    sharpen: float = 0.0
    clip_at: float = 1.0

    def response(self, light: Array) -> Array:
        """Linear light to the signal, both 0 to 1."""
        x = np.clip(light, 0.0, self.clip_at)
        if self.curve == "linear":
            return x
        if self.curve == "hlg":  # ARIB STD-B67, white paper at three quarters
            e = x / 3.0
            log = 0.17883277 * np.log(np.maximum(12 * e - 0.28466892, 1e-9)) + 0.55991073
            return np.where(e <= 1 / 12, np.sqrt(3 * e), log)
        y = x ** (1 / 2.2)
        return y * y * (3 - 2 * y) if self.curve == "contrast" else y


@dataclass
class Tape:
    """How the pictures are stored.

    codec: a PyAV encoder.  pixels: its pixel format.  quality: crf, or qscale for MJPEG and MPEG-4.  turn: degrees, of
    the display tag (mp4).  rate: pictures a second that the file claims.  stamps: s of every picture instead; None at a
    constant rate.  keep: share of the file that is left.
    """

    codec: str = "libx264"
    pixels: str = "yuv420p"
    quality: int = 20
    suffix: str = ".mp4"
    turn: int = 0
    full_range: bool = False
    keep: float = 1.0
    comment: dict[str, str] = field(default_factory=dict)


def instants(stage: Stage, view: View, sensor: Sensor, times: Array, rng: np.random.Generator) -> Iterator[Array]:
    """Signals (height, width) float32, 0 to 1, of the pictures taken at `times`, s."""
    moving_camera = view.sway.__name__ != "stands"
    moving_floor = stage.shade is not None or getattr(stage.pages, "moves", False)
    kept = Kept(view, still=not (moving_camera or moving_floor))
    width, height = view.size
    pool = [rng.standard_normal((height + 64, width + 64)).astype(np.float32) for _ in range(4)]
    steps = np.linspace(0, 1, 4097)
    table = sensor.response(steps * 1.2).astype(np.float32)
    still: Array | None = None
    for time in times:
        before, after = stage.pose(time - sensor.exposure / 2), stage.pose(time + sensor.exposure / 2)
        far = np.hypot(*(after - before)[:2]) + 0.1 * abs(after[2] - before[2])
        shakes = moving_camera and sensor.exposure > 0.004
        count = 1 if far < 2e-4 and not shakes else 3
        at = time + (np.arange(count) + 0.5 - count / 2) / count * sensor.exposure
        parts = [stage.picture(view, float(moment), kept) for moment in at]
        light = parts[0] if count == 1 else sum(parts) / count
        light = cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA) if FINE > 1 else light
        light = cv2.GaussianBlur(light, (0, 0), sensor.blur) if sensor.blur > 0 else light
        light = light * np.float32(sensor.gain)
        read, photons = sensor.noise
        x, y = rng.integers(0, 64, 2)
        grain = pool[rng.integers(len(pool))][y : y + height, x : x + width]
        light += grain * np.sqrt(read**2 + photons**2 * np.maximum(light, 0))
        place = np.clip(light / 1.2, 0, 1) * 4096
        signal = cv2.remap(table[None, :], place.astype(np.float32), np.zeros_like(place), cv2.INTER_LINEAR)
        if sensor.sharpen:
            signal = signal + sensor.sharpen * (signal - cv2.GaussianBlur(signal, (0, 0), 1.2))
        still = np.clip(signal, 0, 1)
        yield still


def _planes(signal: Array, tape: Tape) -> av.VideoFrame:
    high = "10" in tape.pixels
    most = 1023 if high else 255
    step = 4 if high else 1
    low, span = (0, most) if tape.full_range else (16 * step, 219 * step)
    luma = np.rint(low + span * signal).astype(np.uint16 if high else np.uint8)
    height, width = luma.shape
    frame = av.VideoFrame(width, height, tape.pixels)
    for index, plane in enumerate(frame.planes):
        rows = np.frombuffer(memoryview(plane), dtype=np.uint8).reshape(plane.height, plane.line_size)
        values = luma if index == 0 else np.full((plane.height, plane.width), 128 * step, luma.dtype)
        bytes_ = np.ascontiguousarray(values[: plane.height, : plane.width]).view(np.uint8)
        rows[:, : bytes_.shape[1]] = bytes_
    frame.color_range = 2 if tape.full_range else 1
    return frame


def write(path: Path, signals: Iterator[Array], stamps: Array, tape: Tape) -> None:
    """Encode. stamps: (n,) s, when each picture is shown."""
    base = Fraction(1, 90000)
    gaps = np.diff(stamps)
    rate = Fraction(float(1 / np.median(gaps))).limit_denominator(1001) if len(gaps) else Fraction(30)
    options = {"threads": "1"}
    if tape.codec in ("libx264", "libx265"):
        options |= {"crf": str(tape.quality), "preset": "veryfast" if tape.codec == "libx264" else "ultrafast"}
        if tape.codec == "libx265":
            options["x265-params"] = "log-level=none:pools=none:frame-threads=1"
    elif tape.codec == "libvpx-vp9":
        options |= {"crf": str(tape.quality), "b": "0", "cpu-used": "8", "deadline": "realtime"}
    elif tape.codec in ("mjpeg", "mpeg4"):
        options |= {"qmin": str(tape.quality), "qmax": str(tape.quality)}
    with av.open(str(path), "w") as file:
        file.metadata.update(tape.comment)
        stream = file.add_stream(tape.codec, rate=rate, options=options)
        stream.pix_fmt = tape.pixels
        for index, signal in enumerate(signals):
            if not index:
                stream.height, stream.width = signal.shape
                stream.codec_context.color_range = 2 if tape.full_range else 1
                if tape.codec not in ("mpeg4", "mjpeg"):
                    stream.codec_context.time_base = base
            frame = _planes(signal, tape)
            if tape.codec in ("mpeg4", "mjpeg"):
                frame.pts, frame.time_base = index, 1 / rate
            else:
                frame.pts, frame.time_base = round(float(stamps[index]) / base), base
            for packet in stream.encode(frame):
                file.mux(packet)
        for packet in stream.encode(None):
            file.mux(packet)
    if tape.turn:
        _tag(path, tape.turn)
    if tape.keep < 1.0:
        whole = path.read_bytes()
        path.write_bytes(whole[: int(len(whole) * tape.keep)])


def _tag(path: Path, degrees: int) -> None:
    """Write the display matrix of the first track (ISO 14496-12, 8.3.2)."""
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4 + 40
    c, s = {90: (0, 1), 180: (-1, 0), 270: (0, -1)}[degrees]
    one = 0x10000
    data[at : at + 36] = struct.pack(">9i", c * one, s * one, 0, -s * one, c * one, 0, 0, 0, 0x40000000)
    path.write_bytes(data)
