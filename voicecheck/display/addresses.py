"""The addresses at which others find the display: a wildcard host stands for this machine's own."""

from __future__ import annotations

import ipaddress
import socket
from contextlib import suppress

_ELSEWHERE = {
    socket.AF_INET: ("192.0.2.1", "10.255.255.254", "172.31.255.254", "192.168.255.254"),
    socket.AF_INET6: ("2001:db8::1", "fd00::1"),
}
"""Addresses that nobody has to answer: documentation (RFC 5737, 3849) and private (1918, 4193)."""


def urls(host: str, port: int, path: str) -> tuple[str, ...]:
    """The URL of a page at each address of the host; without a network, the host's as it is."""
    hosts = _own(host) if host in ("0.0.0.0", "::") else ()  # noqa: S104
    return tuple(f"http://{_in_url(each)}:{port}/{path}" for each in hosts or (host,))


def _own(wildcard: str) -> tuple[str, ...]:
    """This machine's addresses, the one of the default route first."""
    family = socket.AF_INET6 if ":" in wildcard else socket.AF_INET
    found = [_towards(family, far) for far in _ELSEWHERE[family]]
    if not any(found):
        with suppress(OSError):  # a machine without a route may still know its name
            known = socket.getaddrinfo(socket.gethostname(), None, family, socket.SOCK_DGRAM)
            found = [str(address[0]) for *_, address in known]
    return tuple(dict.fromkeys(each for each in found if _is_of_use(each)))


def _towards(family: socket.AddressFamily, far: str) -> str:
    """The address from which this machine would send there; connecting UDP sends nothing."""
    with suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as one:
        one.connect((far, 9))
        return str(one.getsockname()[0])
    return ""


def _is_of_use(address: str) -> bool:
    """Whether others can use it: loopback stays here, and no browser takes a zone."""
    if not address or "%" in address:
        return False
    known = ipaddress.ip_address(address)
    return not (known.is_loopback or known.is_link_local or known.is_unspecified)


def _in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host
