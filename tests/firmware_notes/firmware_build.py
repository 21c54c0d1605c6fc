"""Builds the pad firmware once per test session and runs it: on the host through ctypes, or in the emulator."""

import binascii
import ctypes
import json
import os
import shutil
import subprocess
import threading
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pytest

SOURCE = Path(__file__).parents[2] / "firmware_notes" / "firmware"
APT = "apt-get install --no-install-recommends gcc-avr avr-libc libsimavr-dev gcc make"
COVERAGE = "PIVOTBENCH_PADS_LIBRARY"  # names another build of the core for the same tests
ONCE = pytest.mark.skipif(COVERAGE in os.environ, reason="not in the run whose lines are counted")

# One change to a copy of the source each: (file, old, new). The old text must occur exactly once.
MUTANTS: dict[str, list[tuple[str, str, str]]] = {
    # All converters on one clock line: wait until every pad is ready, clock all, keep the bits of the others.
    "shared clock": [
        (
            "core/pads.c",
            "    pads->armed |= high;\n",
            "    pads->armed |= high;\n    if (high & pads->built) return;\n",
        ),
        (
            "board/board_328p.c",
            "    uint8_t high = clock_line;\n",
            "    static uint8_t bits[25], place;\n"
            "    if (place == 25) place = 0;\n"
            "    if (pad != 0) return (bits[place++] & data_line) != 0;\n"
            "    uint8_t high = CLOCK_LINES;\n",
        ),
        ("board/board_328p.c", "    uint8_t data = PINC;\n", "    uint8_t data = bits[place++] = PINC;\n"),
    ],
    # A pad that already has a value for this line is left for the next one.
    "skipped pads": [("core/pads.c", "~high & pads->built;", "~high & pads->built & (uint8_t)~pads->fresh;")],
    "clock held 70 us": [("board/board_328p.c", "_delay_us(1);", "_delay_us(70);")],
    "wrong CRC": [("core/crc16.h", "CRC16_START 0xFFFFu", "CRC16_START 0x0000u")],
    "no settling pause": [("core/pads.c", "pads->fast ? 50u : 400u", "pads->fast ? 0u : 0u")],
    "conversions sent twice": [
        (
            "core/pads.c",
            "    pads->fresh &= force_bit; /* what the force cell gave waits for a line of its own */\n"
            "    pads->wait_since_ms = now;\n    return",
            "    pads->wait_since_ms = now;\n    return",
        )
    ],
    "a bit too few": [("core/converter.c", "bit < 8;", "bit < 8 - (byte == 2);")],
}
# For the watchdog: a main loop that stands still after 3 s, with the watchdog as it is and without it.
HANGS = [
    (
        "board/board_328p.c",
        "        wdt_reset();\n",
        "        if (now_ms() > 3000) for (;;);\n        wdt_reset();\n",
    )
]
UNWATCHED = [*HANGS, ("board/board_328p.c", "    wdt_enable(WDTO_1S);\n", "")]


def framed(text: str) -> bytes:
    """A line of the protocol without its line end; the CRC from the standard library."""
    return f"{text} {binascii.crc_hqx(text.encode(), 0xFFFF):04X}".encode()


def missing_tools() -> str:
    """What is not there of the tools and how to install it; empty when all is."""
    missing = [tool for tool in ("avr-gcc", "gcc", "make") if shutil.which(tool) is None]
    for compiler, header in (("gcc", "simavr/sim_avr.h"), ("avr-gcc", "avr/io.h")):
        if compiler not in missing and not _has_header(compiler, header):
            missing.append(header)
    return f"the pad firmware cannot be built without {', '.join(missing)}: {APT}" if missing else ""


def require_tools() -> None:
    """Skip without the tools."""
    if reason := missing_tools():
        pytest.skip(reason)


def _has_header(compiler: str, header: str) -> bool:
    options = ["-mmcu=atmega328p"] if compiler == "avr-gcc" else []
    found = subprocess.run(
        [compiler, *options, "-E", "-x", "c", "-"],
        input=f"#include <{header}>\n",
        capture_output=True,
        text=True,
    )
    return found.returncode == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Firmware:
    """What was built. size: (flash, RAM) in bytes."""

    folder: Path
    size: tuple[int, int]

    @property
    def elf(self) -> Path:
        return self.folder / "pads.elf"

    @property
    def emulator(self) -> Path:
        return self.folder / "pad_emulator"

    @property
    def library(self) -> Path:
        return self.folder / "libpads.so"


def build(factory: pytest.TempPathFactory) -> Firmware:
    """Build everything, once per session even with several workers: they share a folder and a lock."""
    require_tools()
    import fcntl  # not on Windows, where the line above has skipped

    base = factory.getbasetemp()
    folder = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "pad_firmware"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        return build_in(folder)


def build_in(folder: Path) -> Firmware:
    """Build everything that is not there yet into a folder."""
    printed = make(folder, "all").splitlines()
    words = next(line.split() for line in printed if line.startswith("flash"))
    return Firmware(folder=folder, size=(int(words[1]), int(words[3])))


def make(folder: Path, target: str, *, source: Path = SOURCE, options: str = "") -> str:
    """Run make for one target into `folder`; what it printed. A failed build fails the test."""
    done = subprocess.run(
        ["make", "-f", str(source / "Makefile"), f"OUT={folder}", f"BOARD_OPTIONS={options}", target],
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        pytest.fail(f"make {target} failed:\n{done.stdout}\n{done.stderr}")
    return done.stdout


def build_changed(folder: Path, changes: list[tuple[str, str, str]]) -> Path:
    """The board's ELF file from a changed copy of the source."""
    source = folder / "source"
    shutil.copytree(SOURCE, source)
    for name, old, new in changes:
        text = (source / name).read_text()
        assert text.count(old) == 1, f"{name} no longer holds once: {old!r}"
        (source / name).write_text(text.replace(old, new))
    make(folder / "out", "board", source=source)
    return folder / "out" / "pads.elf"


class EmulatedBoard:
    """A board in the emulator. Time stands still except in `run`; `port` is its pseudo-terminal."""

    def __init__(self, emulator: Path, elf: Path, *, seed: int = 1, converters: int = 4, limit: float = 600.0) -> None:
        self._process = subprocess.Popen(
            [str(emulator), str(elf), str(seed), str(converters)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        )
        self._limit = threading.Timer(limit, self._process.kill)  # a stuck emulator must not stop the tests
        self._limit.daemon = True
        self._limit.start()
        self.port = self._answer().split()[1]

    def _answer(self) -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the emulator has ended"
        return line.strip()

    def tell(self, command: str) -> str:
        """Send one command; its answer."""
        assert self._process.stdin is not None
        self._process.stdin.write(command + "\n")
        self._process.stdin.flush()
        answer = self._answer()
        assert not answer.startswith("error"), (command, answer)
        return answer

    def run(self, seconds: float) -> float:
        """Let that much emulated time pass; what passed."""
        return float(self.tell(f"run {seconds:.6f}").split()[1])

    def interrupt(self) -> None:
        """End a `run` of another thread early."""
        assert self._process.stdin is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()

    def statistics(self) -> Any:
        return json.loads(self.tell("stats"))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._limit.cancel()
        self._process.kill()
        self._process.communicate()


class HostBoard:
    """The firmware's core on this computer, with a board made of variables."""

    def __init__(
        self,
        library: Path,
        *,
        channels: int = 4,
        name: str = "pads4",
        boot: str = "power",
        ms: int = 0,
        force: bool = False,
    ) -> None:
        self.core = ctypes.CDLL(str(library))
        self.core.host_take.restype = ctypes.c_size_t
        self.core.host_pulses.restype = ctypes.c_ulong
        self.core.host_crc.restype = ctypes.c_uint16
        self.core.host_crc.argtypes = [ctypes.c_char_p, ctypes.c_size_t]
        self.core.host_type.restype = ctypes.c_bool
        self.core.host_type.argtypes = [ctypes.c_char_p, ctypes.c_size_t]
        self.core.host_convert_later.argtypes = [ctypes.c_uint8, ctypes.c_int32, ctypes.c_long]
        self.core.host_fast.restype = ctypes.c_bool
        self._sent = ctypes.create_string_buffer(8192)
        self.ms = ms
        self.core.host_begin(channels, name.encode(), boot.encode(), ctypes.c_uint32(ms), ctypes.c_bool(force))

    def poll(self, *, after_ms: int = 0) -> list[bytes]:
        """Let time pass, let the core look once; the lines it sent, without line ends."""
        self.ms = (self.ms + after_ms) % (1 << 32)
        self.core.host_poll(ctypes.c_uint32(self.ms))
        return self.taken()

    def taken(self) -> list[bytes]:
        length = self.core.host_take(self._sent)
        text = ctypes.string_at(self._sent, length)
        assert text == b"" or text.endswith(b"\n")
        return text.split(b"\n")[:-1]

    def convert(self, *counts: int | None) -> None:
        """A new conversion is ready at each pad that has a number."""
        for pad, number in enumerate(counts):
            if number is not None:
                self.core.host_convert(pad, number)

    def type(self, text: bytes) -> list[bytes]:
        """Bytes from the host, and what the board answers to them."""
        assert self.core.host_type(text, len(text))
        return self.poll()

    def settle(self) -> None:
        """Pass the pause after a start or a change of rate."""
        self.taken()
        self.poll(after_ms=400)

    def reading(self, seq: int, ms: int, counts: tuple[int, ...], flags: int) -> bytes:
        """The line of a reading with these fields, as the core writes it."""
        into = ctypes.create_string_buffer(96)
        length = self.core.host_reading(
            ctypes.c_uint16(seq),
            ctypes.c_uint32(ms),
            (ctypes.c_int32 * 4)(*counts),
            ctypes.c_uint16(flags),
            into,
        )
        return into.raw[: length & 0xFF]

    def force_line(self, seq: int, ms: int, count: int, flags: int) -> bytes:
        """The line of the force cell with these fields, as the core writes it."""
        into = ctypes.create_string_buffer(96)
        length = self.core.host_force_line(
            ctypes.c_uint16(seq), ctypes.c_uint32(ms), ctypes.c_int32(count), ctypes.c_uint16(flags), into
        )
        return into.raw[: length & 0xFF]
