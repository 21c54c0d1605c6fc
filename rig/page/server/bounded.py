"""Connections that say nothing, or say it slowly: given some time, then cut, so that they keep nobody else out."""

import asyncio
from dataclasses import dataclass, field
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol


@dataclass(slots=True, kw_only=True, eq=False)
class Bounds:
    """What one server grants. waiting: connections that have sent no whole request yet, oldest first.

    patience: s for a whole request, from the connection or from its first byte.  upload: a body may take longer, as
    long as some of it comes within the patience.  most: of those that wait; the oldest is cut for a newer one.
    """

    patience: float = 10.0
    upload: bool = False
    most: int = 150
    waiting: dict["BoundedProtocol", None] = field(default_factory=dict)


class BoundedProtocol(H11Protocol):
    """One connection within the bounds of its server's subclass, which `bounded` makes."""

    bounds = Bounds()

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self._timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request."""
        super().connection_made(transport)
        self._wait()
        if len(self.bounds.waiting) > self.bounds.most:
            next(iter(self.bounds.waiting)).cut()

    def data_received(self, data: bytes) -> None:
        """Go on waiting until the request is whole."""
        super().data_received(data)
        cycle = self.cycle
        if cycle is not None and not cycle.response_complete and not cycle.more_body:
            self._rest()
        elif self.bounds.upload and cycle is not None and not cycle.response_complete:
            self._rest()
            self._wait()
        elif self._timer is None:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget it."""
        self._rest()
        super().connection_lost(exc)

    def on_response_complete(self) -> None:
        """What was answered before its request was whole waits no longer; the server's own keep-alive goes on."""
        self._rest()
        super().on_response_complete()

    def cut(self) -> None:
        """End it."""
        self._rest()
        if self.transport is not None:
            self.transport.abort()

    def _wait(self) -> None:
        self._timer = self.loop.call_later(self.bounds.patience, self.cut)
        self.bounds.waiting[self] = None

    def _rest(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self.bounds.waiting.pop(self, None)


def bounded(bounds: Bounds) -> type[BoundedProtocol]:
    """The protocol of one server with these bounds."""
    return type("Bounded", (BoundedProtocol,), {"bounds": bounds})
