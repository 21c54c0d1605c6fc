"""Where a phone can reach this machine: which addresses are told, and in which order. The network is acted."""

import socket
from typing import Any

import pytest

from rig.page.server import addresses
from rig.page.server.addresses import address_towards_the_internet, addresses_of_the_own_name, own_addresses


class Probe:
    """A socket that only asks the routing table."""

    def __init__(self, way_out: str | None) -> None:
        self.way_out = way_out

    def __enter__(self) -> "Probe":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def connect(self, to: Any) -> None:
        if self.way_out is None:
            raise OSError("no route")

    def getsockname(self) -> tuple[str | None, int]:
        return self.way_out, 5


@pytest.mark.parametrize(("way_out", "told"), [("192.168.4.7", ["192.168.4.7"]), (None, [])])
def test_the_way_out_is_this_machines_own_address(
    monkeypatch: pytest.MonkeyPatch, way_out: str | None, told: list[str]
) -> None:
    monkeypatch.setattr(socket, "socket", lambda *_: Probe(way_out))
    assert address_towards_the_internet() == told


def test_the_own_name_may_stand_for_addresses_or_for_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "gethostname", lambda: "bench")
    found = [(2, 1, 6, "", ("10.0.0.9", 0)), (2, 2, 17, "", ("127.0.1.1", 0))]
    monkeypatch.setattr(socket, "getaddrinfo", lambda name, port, family: found if name == "bench" else [])
    assert addresses_of_the_own_name() == ["10.0.0.9", "127.0.1.1"]

    def unknown(*_: object) -> Any:
        raise socket.gaierror("no such name")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    assert addresses_of_the_own_name() == []


def test_the_likeliest_comes_first_and_what_no_phone_reaches_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(addresses, "address_towards_the_internet", lambda: ["169.254.3.4"])
    monkeypatch.setattr(addresses, "addresses_of_interfaces", lambda: ["127.0.0.1", "10.42.0.1", "0.0.0.0"])
    monkeypatch.setattr(addresses, "addresses_of_the_own_name", lambda: ["192.168.4.7", "10.42.0.1", "224.0.0.1"])
    assert own_addresses() == ["10.42.0.1", "192.168.4.7", "169.254.3.4"]
