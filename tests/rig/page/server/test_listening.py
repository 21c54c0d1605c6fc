"""Answers of the page go out at once: what a browser's connection is told of Nagle's algorithm (RFC 896)."""

import asyncio
import socket

import pytest

from rig.page.server.addresses import listening
from rig.page.server.serve import listen


def told_of_a_connection(door: socket.socket) -> int:
    """TCP_NODELAY of the server's end of a connection that asyncio took in through `door`."""

    async def connect() -> int:
        found: asyncio.Future[int] = asyncio.get_running_loop().create_future()

        async def come(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            own = writer.get_extra_info("socket")
            found.set_result(own.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()

        async with await asyncio.start_server(come, sock=door):
            _, writer = await asyncio.open_connection(*door.getsockname())
            told = await asyncio.wait_for(found, 5.0)
            writer.close()
            return told

    return asyncio.run(connect())


def test_no_part_of_an_answer_is_held_back() -> None:
    assert told_of_a_connection(listening("127.0.0.1", 0)) != 0
    assert told_of_a_connection(listen(0)) != 0


def test_a_port_that_is_taken_is_refused() -> None:
    with listening("127.0.0.1", 0) as taken, pytest.raises(OSError, match="in use"):
        listening("127.0.0.1", taken.getsockname()[1])
