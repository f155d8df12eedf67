"""Where the service is, and who asks: both checked before anything is sent."""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

from requests import PreparedRequest
from requests.auth import AuthBase

from accord_client.exceptions import UnsafeAddress


class Bearer(AuthBase):
    """Sends the token. Given to the session as its auth, or an entry of ~/.netrc would be sent in its place."""

    def __init__(self, token: str) -> None:
        self._header = f"Bearer {token}"

    def __call__(self, request: PreparedRequest) -> PreparedRequest:
        request.headers["Authorization"] = self._header
        return request


def bearer(token: str) -> Bearer:
    """Raises ValueError for a token that no header can carry; the message does not repeat it."""
    if not token or not token.isascii() or not token.isprintable() or " " in token:
        raise ValueError("the token must be one word of printable ASCII characters")
    return Bearer(token)


def base_address(url: str, *, allow_insecure: bool) -> str:
    """The service's address without a slash at the end. Raises ValueError, or UnsafeAddress for plain http abroad."""
    parts = urlsplit(url.strip())
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise ValueError(f"{url!r} is no address of a service: write it as https://host or http://127.0.0.1:8080")
    if parts.username is not None or parts.query or parts.fragment:
        raise ValueError("the address must have no user name, query or fragment")
    if parts.scheme == "http" and not allow_insecure and not _is_this_machine(parts.hostname):
        raise UnsafeAddress(f"{parts.hostname} is another machine: the token may only go there over https")
    return f"{parts.scheme}://{parts.netloc}{parts.path.rstrip('/')}"


def _is_this_machine(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:  # a name; whatever it points to now may change
        return False
