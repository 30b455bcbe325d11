"""Addresses given by others: judged by where they lead, opened without a second look-up.

A URL of a webhook endpoint or of a picture may point into our own network. So: https only, usual ports, no user name
in it; the name is resolved once, *every* address must be public, and the connection goes to the address that was
checked, with the name kept for TLS and the Host header. Redirects are not followed, proxies of the environment not
used, times and sizes are capped, and all of it is done anew for each delivery, because names can change.

`ipaddress` says `is_global` for some addresses that lead back inside (NAT64, 6to4, Teredo and compatible forms of an
inner IPv4 address, multicast), hence the second look at embedded addresses.
Source: RFC 6890 (special-purpose registries), RFC 6052, RFC 3056, RFC 4380.
"""

from __future__ import annotations

import ipaddress
import socket
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool

from intakebot.errors import BadInputError

PORTS = (443, 8443)
CONNECT_S, TOTAL_S = 5, 15
MAX_ANSWER_BYTES = 64 * 1024

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolver = Callable[[str, int], Sequence[str]]


def system_resolver(host: str, port: int) -> Sequence[str]:
    """Every address of a name, as text."""
    return [str(entry[4][0]) for entry in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]


def is_public(address: Address) -> bool:
    """True when the address, and any IPv4 address hidden in it, is on the public internet."""
    if address.is_multicast or address.is_reserved or address.is_unspecified or not address.is_global:
        return False
    if isinstance(address, ipaddress.IPv4Address):
        return address not in _STILL_NOT_V4[0] and address not in _STILL_NOT_V4[1]
    if address.is_site_local or address in _NOT_V6:
        return False
    return all(is_public(inner) for inner in _embedded(address))


_STILL_NOT_V4 = (ipaddress.IPv4Network("192.88.99.0/24"), ipaddress.IPv4Network("192.0.0.0/24"))
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")
_COMPATIBLE = ipaddress.IPv6Network("::/96")
_NOT_V6 = ipaddress.IPv6Network("64:ff9b:1::/48")


def _embedded(address: ipaddress.IPv6Address) -> list[ipaddress.IPv4Address]:
    found = [address.ipv4_mapped, address.sixtofour, *(address.teredo or ())]
    if address in _NAT64 or address in _COMPATIBLE:
        found.append(ipaddress.IPv4Address(int(address) & 0xFFFFFFFF))
    return [inner for inner in found if inner is not None]


@dataclass(frozen=True)
class Target:
    """A checked URL: connect to `address`, speak as `host`."""

    url: str
    host: str
    port: int
    address: str


@dataclass(frozen=True)
class Fetched:
    """An answer: status, headers with lower-case names, at most the capped number of bytes."""

    status: int
    headers: Mapping[str, str]
    body: bytes


class Guard:
    """Checks URLs and opens them.

    Args:
        allow_loopback: for development and tests only: http and loopback addresses are allowed too, on any port.
    """

    def __init__(
        self, resolve: Resolver = system_resolver, *, allow_loopback: bool = False, total_s: float = TOTAL_S
    ) -> None:
        self._resolve = resolve
        self._allow_loopback = allow_loopback
        self._total_s = total_s

    def check(self, url: str) -> Target:
        """Raises: BadInputError (where = `url`) with a reason that gives nothing away about our network."""
        if any(ord(letter) <= 32 or ord(letter) == 127 for letter in url):
            raise BadInputError("url", "a space or control character", "an https URL")
        try:
            parts = urlsplit(url)
            port = parts.port
            host = (parts.hostname or "").encode("idna").decode()
        except (ValueError, UnicodeError):
            raise BadInputError("url", "something unreadable", "an https URL") from None
        if parts.scheme not in self._schemes() or not host:
            raise BadInputError("url", parts.scheme or "no scheme", "an https URL")
        if parts.username is not None or parts.password is not None:
            raise BadInputError("url", "a user name", "a URL without a user name")
        port = port or (443 if parts.scheme == "https" else 80)
        addresses = self._addresses(host, port)
        loopback = self._allow_loopback and all(address.is_loopback for address in addresses)
        if not loopback and (port not in PORTS or parts.scheme != "https"):
            raise BadInputError("url", f"port {port}", "port 443 or 8443 with https")
        if not loopback and not all(is_public(address) for address in addresses):
            raise BadInputError("url", "an address that is not public", "an address on the public internet")
        return Target(url, host, port, str(addresses[0]))

    def _schemes(self) -> tuple[str, ...]:
        return ("https", "http") if self._allow_loopback else ("https",)

    def _addresses(self, host: str, port: int) -> list[Address]:
        try:
            found = [ipaddress.ip_address(text.split("%")[0]) for text in self._resolve(host, port)]
        except (OSError, ValueError, UnicodeError):
            found = []
        if not found:
            raise BadInputError("url", "a name that leads nowhere", "a name with an address")
        return found

    def post(self, url: str, body: bytes, headers: Mapping[str, str]) -> Fetched:
        """POST and read the answer. Raises: BadInputError (not allowed), requests.RequestException (trouble)."""
        return self._send("POST", url, body, headers, MAX_ANSWER_BYTES)

    def options(self, url: str, headers: Mapping[str, str]) -> Fetched:
        """OPTIONS and read the answer. Raises as `post`."""
        return self._send("OPTIONS", url, None, headers, MAX_ANSWER_BYTES)

    def get(self, url: str, max_bytes: int) -> Fetched:
        """GET, at most `max_bytes`. Raises as `post`, and BadInputError when there are more bytes."""
        fetched = self._send("GET", url, None, {}, max_bytes + 1)
        if len(fetched.body) > max_bytes:
            raise BadInputError("url", "too many bytes", f"at most {max_bytes} bytes")
        return fetched

    def _send(
        self, method: str, url: str, body: bytes | None, headers: Mapping[str, str], max_bytes: int
    ) -> Fetched:
        target = self.check(url)
        adapter = _PinnedAdapter(target)
        watch = threading.Timer(self._total_s, adapter.abort)
        watch.daemon = True
        watch.start()
        try:
            with requests.Session() as session:
                session.trust_env = False
                session.mount("https://", adapter)
                session.mount("http://", adapter)
                response = session.request(
                    method,
                    url,
                    data=body,
                    headers=dict(headers),
                    timeout=(CONNECT_S, self._total_s),
                    allow_redirects=False,
                    stream=True,
                )
                content = _capped(response, max_bytes, time.monotonic() + self._total_s)
                found = {name.lower(): value for name, value in response.headers.items()}
                return Fetched(response.status_code, found, content)
        finally:
            watch.cancel()


def _capped(response: requests.Response, max_bytes: int, deadline: float) -> bytes:
    content = b""
    for chunk in response.iter_content(4096):
        content += chunk
        if len(content) >= max_bytes or time.monotonic() > deadline:
            break
    response.close()
    return content[:max_bytes]


class _PinnedAdapter(HTTPAdapter):
    """Connects to the checked address and keeps hold of the socket, so that a slow talker can be cut off."""

    def __init__(self, target: Target) -> None:
        self._target = target
        self._sockets: list[Any] = []
        self._aborted = False
        super().__init__(max_retries=0)

    def abort(self) -> None:
        """Cut the connection, whatever it is doing."""
        self._aborted = True
        for each in self._sockets:
            try:
                each.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        super().init_poolmanager(*args, **kwargs)
        adapter = self

        class Plain(HTTPConnection):
            def connect(self) -> None:
                super().connect()
                adapter._sockets.append(self.sock)

        class Secure(HTTPSConnection):
            def connect(self) -> None:
                super().connect()
                adapter._sockets.append(self.sock)

        class PlainPool(HTTPConnectionPool):
            ConnectionCls = Plain

        class SecurePool(HTTPSConnectionPool):
            ConnectionCls = Secure

        self.poolmanager.pool_classes_by_scheme = {"http": PlainPool, "https": SecurePool}

    def build_connection_pool_key_attributes(self, request: Any, verify: Any, cert: Any = None) -> Any:
        host_params, pool_kwargs = super().build_connection_pool_key_attributes(request, verify, cert)
        host_params["host"] = self._target.address
        if host_params["scheme"] == "https":
            pool_kwargs["server_hostname"] = self._target.host
            pool_kwargs["assert_hostname"] = self._target.host
        return host_params, pool_kwargs

    def send(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        request.headers["Host"] = urlsplit(request.url).netloc
        return super().send(request, *args, **kwargs)
