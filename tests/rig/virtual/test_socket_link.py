"""Virtual pads behind a socket: one listener at a time, and nothing kept for one who is not there."""

import socket
from collections.abc import Iterator

import pytest

from rig.virtual.pads_link import SocketLink


@pytest.fixture
def link() -> Iterator[SocketLink]:
    made = SocketLink()
    yield made
    made.unplug()


def listener(link: SocketLink) -> socket.socket:
    host, _, port = link.url.removeprefix("socket://").partition(":")
    return socket.create_connection((host, int(port)), timeout=5)


def test_what_is_sent_before_somebody_listens_is_lost(link: SocketLink) -> None:
    assert link.send(b"nobody\n") == 7
    with listener(link) as ear:
        assert link.receive(5.0) == b""  # it is let in
        assert link.send(b"reading\n") == 8
        assert ear.recv(100) == b"reading\n"
        ear.sendall(b"rate 80\n")
        assert link.receive(5.0) == b"rate 80\n"
        assert link.receive(0.0) == b""


def test_a_second_one_waits_until_the_first_has_gone(link: SocketLink) -> None:
    first = listener(link)
    assert link.receive(5.0) == b""
    with listener(link) as second:
        link.receive(0.05)
        link.send(b"one\n")
        assert first.recv(100) == b"one\n"
        first.close()
        assert link.receive(5.0) == b""  # it has hung up
        assert link.send(b"lost\n") == 5
        assert link.receive(5.0) == b""  # the second one is let in
        link.send(b"two\n")
        assert second.recv(100) == b"two\n"


def test_a_board_that_is_plugged_in_again_has_the_same_address(link: SocketLink) -> None:
    with listener(link) as ear:
        link.receive(5.0)
        link.unplug()
        assert ear.recv(100) == b""
    with pytest.raises(OSError, match=r"refused|reset|timed out"):
        listener(link)
    link.plug_in()
    link.plug_in()  # already is
    with listener(link) as ear:
        link.receive(5.0)
        link.send(b"again\n")
        assert ear.recv(100) == b"again\n"
