"""The far end of a virtual port: a pseudo-terminal, or a socket on this computer only."""

import os
import select
import shutil
import socket
import tempfile
from pathlib import Path
from typing import Protocol

_CHUNK = 4096


class Link(Protocol):
    """url stays the same over unplugging, as a link by serial number does. Only `receive` waits."""

    url: str

    def send(self, data: bytes) -> int:
        """Hand over what fits; returns how many bytes were taken."""
        ...

    def receive(self, timeout: float) -> bytes: ...

    def unplug(self) -> None: ...

    def plug_in(self) -> None: ...


class PtyLink:
    """A pseudo-terminal under a link of its own in a new temporary folder."""

    def __init__(self) -> None:
        self._folder = ""
        self._name = Path(tempfile.gettempdir())
        self.url = ""
        self.plug_in()

    def plug_in(self) -> None:
        import pty
        import tty

        if not self.url:
            self._folder = tempfile.mkdtemp(prefix="pivotbench-pads-")
            self._name = Path(self._folder) / "port"
            self.url = str(self._name)
        self._name.parent.mkdir(exist_ok=True)
        self._board_end, self._host_end = pty.openpty()
        tty.setraw(self._host_end)  # held open, or the board's end would hang up between two readers
        os.set_blocking(self._board_end, False)
        self._name.symlink_to(os.ttyname(self._host_end))

    def send(self, data: bytes) -> int:
        try:
            return os.write(self._board_end, data)
        except BlockingIOError:
            return 0

    def receive(self, timeout: float) -> bytes:
        ready, _, _ = select.select([self._board_end], [], [], timeout)
        return os.read(self._board_end, _CHUNK) if ready else b""

    def unplug(self) -> None:
        if not self._name.is_symlink():
            return
        shutil.rmtree(self._folder)
        for end in (self._host_end, self._board_end):
            os.close(end)


class SocketLink:
    """One listener at a time; what is sent while nobody listens is lost, as with a real board."""

    def __init__(self) -> None:
        self._number = 0
        self._server: socket.socket | None = None
        self._peer: socket.socket | None = None
        self.plug_in()
        self.url = f"socket://127.0.0.1:{self._number}"

    def plug_in(self) -> None:
        if self._server is None:
            self._server = socket.create_server(("127.0.0.1", self._number), backlog=1)
            self._number = int(self._server.getsockname()[1])

    def send(self, data: bytes) -> int:
        if self._peer is None:
            return len(data)
        try:
            return self._peer.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._hang_up()
            return len(data)

    def receive(self, timeout: float) -> bytes:
        ends = [end for end in (self._server, self._peer) if end is not None]
        ready, _, _ = select.select(ends, [], [], timeout)
        if self._peer is not None and self._peer in ready:
            try:
                data = self._peer.recv(_CHUNK)
            except OSError:
                data = b""
            if data:
                return data
            self._hang_up()
        elif self._server is not None and self._peer is None and ready:
            self._peer, _ = self._server.accept()
            self._peer.setblocking(False)
            self._peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return b""

    def unplug(self) -> None:
        self._hang_up()
        if self._server is not None:
            self._server.close()
            self._server = None

    def _hang_up(self) -> None:
        if self._peer is not None:
            self._peer.close()
            self._peer = None
