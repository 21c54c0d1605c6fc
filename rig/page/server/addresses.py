"""Where this machine can be reached by a phone beside it: also on a hotspot of its own, which has no way out."""

import contextlib
import ipaddress
import socket
import struct
from collections.abc import Iterable

SIOCGIFADDR = 0x8915
"""Linux: the address of an interface (netdevice(7))."""


def listening(host: str, port: int) -> socket.socket:
    """A socket that waits for browsers; 0 takes a free port. Raises OSError where it is taken.

    It says that it is TCP: else asyncio leaves Nagle's algorithm on, which holds the second part of an answer back
    until the first is acknowledged, and that takes 40 ms (RFC 896; RFC 1122, 4.2.3.2).
    """
    plain = socket.create_server((host, port), backlog=128)
    return socket.socket(plain.family, plain.type, socket.IPPROTO_TCP, fileno=plain.detach())


def own_addresses() -> list[str]:
    """IPv4 addresses of this machine on its networks, likeliest first; empty when it is on none. Nothing is sent."""
    return reachable([*address_towards_the_internet(), *addresses_of_interfaces(), *addresses_of_the_own_name()])


def reachable(addresses: Iterable[str]) -> list[str]:
    """Without doubles, without addresses that only this machine itself can reach, self-given ones (RFC 3927) last."""
    given = [ipaddress.ip_address(one) for one in dict.fromkeys(addresses)]
    usable = [one for one in given if not (one.is_loopback or one.is_unspecified or one.is_multicast)]
    return [str(one) for one in sorted(usable, key=lambda one: one.is_link_local)]


def address_towards_the_internet() -> list[str]:
    """This machine's own address on the way out, where there is one."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): only asks the routing table
            return [str(probe.getsockname()[0])]
        except OSError:  # no default route: a hotspot, or a switch with nothing behind it
            return []


def addresses_of_interfaces() -> list[str]:
    """Of every network interface: Linux only; elsewhere the own name tells."""
    try:
        import fcntl
    except ImportError:
        return []
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):  # it has no address, or this is not Linux
                answer = fcntl.ioctl(asking.fileno(), SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
                found.append(socket.inet_ntoa(answer[20:24]))
    return found


def addresses_of_the_own_name() -> list[str]:
    """What this machine's name stands for, by its own book of names."""
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    except OSError:
        return []
    return [str(address[0]) for *_, address in found]
