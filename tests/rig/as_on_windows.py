"""Runs commands as far as they can be run as on Windows: python as_on_windows.py CODES.json COMMANDS.json

What is there imitated: the modules that Windows lacks cannot be imported by us, nor its os be asked for what it lacks;
our modules are told os.name == "nt"; files are locked by a stand-in for msvcrt (on Linux's locks of open files);
standard output has whatever code page PYTHONIOENCODING names. Not imitated: its paths, its file system (an open file
that cannot be replaced, names that differ in case), its console, its serial ports and cameras.

Libraries are loaded before, since on Linux some of them need those modules. CODES.json gets the exit code of each
command; output goes where it always goes.
"""

import ast
import contextlib
import fcntl
import importlib
import importlib.abc
import importlib.machinery
import json
import os
import struct
import sys
import types
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

LACKING = ("fcntl", "termios", "tty", "pty", "resource", "pwd", "grp", "syslog", "readline", "curses")
"""Standard modules "Availability: Unix" in the Python library reference."""
LACKING_OF_OS = (
    *("fork", "forkpty", "openpty", "getuid", "geteuid", "getgid", "getegid", "getgroups", "setsid", "setuid", "nice"),
    *("chown", "lchown", "fchown", "fchmod", "mkfifo", "mknod", "killpg", "getpgid", "uname", "statvfs", "ttyname"),
    *("sched_getaffinity", "sched_setaffinity", "wait3", "posix_fallocate", "posix_fadvise", "sync", "sendfile"),
    *("O_NONBLOCK", "O_DIRECTORY", "O_CLOEXEC", "O_NOFOLLOW", "O_SYNC", "O_DSYNC", "WNOHANG", "confstr", "sysconf"),
    *("set_blocking", "pread", "pwrite", "readv", "writev", "getloadavg", "setxattr", "getxattr"),
)
"""Names of os "Availability: Unix" there (Python 3.11)."""
LIBRARIES = (
    *("click", "cv2", "matplotlib.figure", "matplotlib.backends.backend_svg", "matplotlib.backends.backend_agg"),
    *("msgspec", "numpy", "rich.console", "rich.progress", "rich.table", "rich.live", "scipy.optimize", "scipy.stats"),
    *("scipy.special", "scipy.integrate", "scipy.linalg", "serial", "serial.tools.list_ports", "serial.urlhandler"),
    *("serial.urlhandler.protocol_socket", "tomlkit", "starlette.applications", "starlette.responses", "uvicorn"),
    *("multiprocessing", "concurrent.futures.process", "sqlite3", "subprocess", "tempfile", "zipfile", "webbrowser"),
    *("asyncio", "ssl", "ctypes", "logging.handlers", "getpass", "shutil", "xml.sax.saxutils", "matplotlib.pyplot"),
    *("scipy.spatial", "scipy.stats.qmc", "scipy.signal", "scipy.interpolate", "scipy.sparse.csgraph"),
)


def stand_in_for_msvcrt() -> types.ModuleType:
    """`locking` of msvcrt, on a lock that belongs to the open file as it does there."""
    module = types.ModuleType("msvcrt")

    def locking(file: int, mode: int, count: int) -> None:
        kind = fcntl.F_UNLCK if mode == 0 else fcntl.F_WRLCK
        wanted = struct.pack("hhqqi4x", kind, os.SEEK_SET, os.lseek(file, 0, os.SEEK_CUR), count, 0)
        fcntl.fcntl(file, fcntl.F_OFD_SETLK, wanted)

    module.__dict__.update(locking=locking, LK_UNLCK=0, LK_LOCK=1, LK_NBLCK=2, kbhit=lambda: False)
    return module


class OsOfWindows(types.ModuleType):
    """os as far as our own modules see it."""

    def __init__(self) -> None:
        super().__init__("os")

    def __getattr__(self, name: str) -> Any:
        if name in LACKING_OF_OS:
            raise AttributeError(f"os on Windows has no {name}")
        return {"name": "nt", "O_BINARY": 0, "linesep": "\r\n"}.get(name, getattr(os, name))


class OursOnly(importlib.abc.MetaPathFinder):
    """Loads our three rooms with that os in the place of the real one, and none of the lacking modules."""

    def find_spec(self, name: str, path: Sequence[str] | None = None, target: object = None) -> Any:
        if name.split(".")[0] in LACKING:
            raise ModuleNotFoundError(f"No module named {name!r} (as on Windows)", name=name)
        if name.split(".")[0] not in ("rig", "vision", "analysis"):
            return None
        tree = [str(Path(__file__).parents[2])]
        spec = importlib.machinery.PathFinder.find_spec(name, path if path is not None else tree)
        if spec is not None and isinstance(spec.loader, importlib.machinery.SourceFileLoader):
            spec.loader = Ours(spec.loader.name, spec.loader.path)
        return spec


class Ours(importlib.machinery.SourceFileLoader):
    """`import os` means the other one."""

    def get_code(self, fullname: str) -> types.CodeType:
        tree = ast.parse(self.get_data(self.path), self.path)
        for node in ast.walk(tree):
            for alias in node.names if isinstance(node, ast.Import) else ():
                if alias.name == "os":
                    alias.name, alias.asname = "os_of_windows", alias.asname or "os"
            if isinstance(node, ast.ImportFrom) and node.module == "os":
                node.module = "os_of_windows"
        return compile(tree, self.path, "exec", dont_inherit=True)


def main() -> None:
    """Load the libraries, take away what is lacking, run the commands."""
    codes, commands = sys.argv[1], json.loads(Path(sys.argv[2]).read_text("utf-8"))
    for name in LIBRARIES:
        importlib.import_module(name)
    for name in LACKING:
        sys.modules.pop(name, None)
    sys.modules["os_of_windows"], sys.modules["msvcrt"] = OsOfWindows(), stand_in_for_msvcrt()
    sys.meta_path.insert(0, OursOnly())
    # a file read or written in the machine's own encoding; needs -X warn_default_encoding
    warnings.filterwarnings("error", category=EncodingWarning, module=r"(rig|vision|analysis)\b")
    ended: list[object] = []
    from rig.main import main as pivotbench

    for command in commands:
        print(f"$ {len(ended)}", flush=True)
        try:
            with contextlib.suppress(KeyboardInterrupt):
                pivotbench(command)
        except SystemExit as done:
            ended.append(done.code or 0)
        sys.stdout.flush()
    Path(codes).write_text(json.dumps(ended), "utf-8")


if __name__ == "__main__":
    main()
