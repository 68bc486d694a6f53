"""Where a message may be sent: public addresses by HTTPS, and what the operator has allowed.

A receiver's address is chosen by whoever may subscribe, and its name is resolved
by servers of theirs. So the name is resolved once, every address that it has must
be allowed, and the connection goes to the address that was checked.
"""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlsplit

from fourpair_service.errors import ServiceError

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

PORTS: Final = {"https": 443, "http": 80}
HOST: Final = re.compile(r"[A-Za-z0-9._-]{1,253}|[0-9A-Fa-f:.]{2,45}", re.ASCII)
URL: Final = re.compile(r"[!-~]{1,2000}", re.ASCII)
# What the registries call global, and what leads back into a network all the same:
# IPv4 inside IPv6 (RFC 4291 2.5.5, 3056, 4380, 6052, 8215) and old site-local addresses (RFC 3879).
LEADING_BACK: Final = tuple(
    ipaddress.ip_network(text)
    for text in (
        "::/96",
        "2002::/16",
        "2001::/32",
        "64:ff9b::/96",
        "64:ff9b:1::/48",
        "fec0::/10",
        "192.88.99.0/24",
    )
)


class TargetRefusedError(ServiceError):
    """An address to which nothing is sent.

    Attributes:
        pointer: where a subscription names it.
    """

    code = "target-refused"
    pointer = "/url"


@dataclass(frozen=True, slots=True)
class Target:
    """A checked receiver.

    Attributes:
        address: to connect to; the name is not resolved again.
        host: for the certificate and the Host header.
        path: with its query.
    """

    scheme: str
    host: str
    port: int
    address: str
    path: str

    @property
    def host_header(self) -> str:
        """The Host header."""
        name = f"[{self.host}]" if ":" in self.host else self.host
        return name if self.port == PORTS[self.scheme] else f"{name}:{self.port}"


def is_public(address: Address) -> bool:
    """Return whether an address is one of the open internet.

    >>> is_public(ipaddress.ip_address("127.0.0.1")), is_public(ipaddress.ip_address("::ffff:10.0.0.1"))
    (False, False)
    """
    if address.version == 6 and address.ipv4_mapped is not None:
        return is_public(address.ipv4_mapped)
    if any(address.version == net.version and address in net for net in LEADING_BACK):
        return False
    return address.is_global and not address.is_multicast and not address.is_reserved


def _is_allowed(address: Address, allowed: Sequence[Network]) -> bool:
    plain = address.ipv4_mapped if address.version == 6 and address.ipv4_mapped else address
    return any(plain.version == net.version and plain in net for net in allowed)


def _parts(url: str) -> tuple[str, str, int, str]:
    if not URL.fullmatch(url) or "\\" in url:
        raise TargetRefusedError("The URL has characters that do not belong into one, or over 2000 of them.")
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise TargetRefusedError(f"The URL cannot be read: {error}.") from None
    scheme, host = parts.scheme, parts.hostname or ""
    if scheme not in PORTS:
        raise TargetRefusedError(f"{scheme or 'no scheme'}: messages are sent by https.")
    if "@" in parts.netloc:
        raise TargetRefusedError("A URL with a user name in it is refused; the signature proves the sender.")
    if not HOST.fullmatch(host):
        raise TargetRefusedError(f"{host or 'nothing'!r} is no name of a host.")
    if parts.fragment:
        raise TargetRefusedError("A URL with a fragment means a place in a page; leave it out.")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return scheme, host, port or PORTS[scheme], path


def _addresses(host: str, port: int, resolve: Callable[..., Any]) -> list[str]:
    try:
        found = resolve(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise TargetRefusedError(f"{host} has no address that can be found ({error}).") from None
    return [str(entry[4][0]) for entry in found]


def check_form(url: str, allowed: Sequence[Network]) -> None:
    """Refuse what is wrong with a URL as far as that shows without asking anybody for its address.

    Raises:
        TargetRefusedError: saying why.
    """
    scheme, host, port, _ = _parts(url)
    try:
        literal = ipaddress.ip_address(host)
    except ValueError:
        literal = None
    if literal is not None:
        _check_address(scheme, host, port, literal, allowed)
    elif not allowed:
        _check_public(scheme, port)


def _check_public(scheme: str, port: int) -> None:
    if scheme != "https":
        raise TargetRefusedError(
            "http is refused: messages are sent by https, for others read what is plain."
        )
    if port != PORTS["https"]:
        raise TargetRefusedError(f"Port {port} is refused; receivers of the open internet listen on 443.")


def _check_address(scheme: str, host: str, port: int, address: Address, allowed: Sequence[Network]) -> None:
    if _is_allowed(address, allowed):
        return
    if not is_public(address):
        raise TargetRefusedError(
            f"{host} is {address}, which is no public address; the operator can allow networks of the site "
            "with FOURPAIR_WEBHOOK_NETWORKS."
        )
    _check_public(scheme, port)


def checked(
    url: str, allowed: Sequence[Network] = (), resolve: Callable[..., Any] = socket.getaddrinfo
) -> Target:
    """Return where a message to a URL goes, once every address of its host is found to be allowed.

    Args:
        url: of the receiver.
        allowed: networks of the site; within them http and any port may be used.
        resolve: as :func:`socket.getaddrinfo`.

    Raises:
        TargetRefusedError: saying why.
    """
    scheme, host, port, path = _parts(url)
    found = _addresses(host, port, resolve)
    if not found:
        raise TargetRefusedError(f"{host} has no address.")
    for text in found:
        try:
            address = ipaddress.ip_address(text)
        except ValueError:
            raise TargetRefusedError(f"{host} is {text!r}, which is no plain address.") from None
        _check_address(scheme, host, port, address, allowed)
    return Target(scheme, host, port, found[0], path)
