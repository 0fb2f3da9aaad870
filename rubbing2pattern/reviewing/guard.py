"""What stands before every request: who may ask, how much may be sent, what a browser may do.

Rules, in this order; the first that a request breaks answers it:

1. only HTTP, only the methods that the page uses, and a head within its limit;
2. `Host` is this server's own address, or a name could be bent to it (DNS rebinding);
3. a browser says the request comes from this page itself, or from the address line
   (`Sec-Fetch-Site`, Fetch Metadata Request Headers, W3C; `Origin`, RFC 6454);
4. the one-time token in the address is changed for a cookie, once;
5. anything else needs the cookie;
6. what changes something carries a header of ours, which no form of another page can send, and a
   body of JSON within the limit.
"""

from __future__ import annotations

import hmac
import os
from collections.abc import Iterable
from typing import Any
from urllib.parse import parse_qs

from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

FORGERY_HEADER = "x-review"
"""A request that changes something carries it; another page cannot set it unasked."""
LARGEST_BODY_BYTES = 1_000_000
"""Bytes of a body at most; an edit has some hundred, and a free line of 1,000 places 20,000."""
_LARGEST_HEAD_BYTES = 16_384
"""Bytes of the headers at most; a browser sends less than two thousand."""
_TOKEN_BYTES = 32
"""Bytes of chance in token and cookie: 256 bits cannot be guessed."""
_READING = ("GET", "HEAD")
_METHODS = (*_READING, "POST", "PUT")
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": _POLICY,
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-embedder-policy": "require-corp",
    "cache-control": "no-store",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}
"""Headers of every answer."""


class Keys:
    """The token that opens the page once, and the cookie that it is changed for."""

    def __init__(self, port: int) -> None:
        self.host = f"127.0.0.1:{port}"
        self.origin = f"http://{self.host}"
        self.cookie_name = f"review-{port}"
        self._token = os.urandom(_TOKEN_BYTES).hex()
        self._cookie = os.urandom(_TOKEN_BYTES).hex()
        self._used = False

    @property
    def address(self) -> str:
        """The address with the token, for the browser; it works once."""
        return f"{self.origin}/?token={self._token}"

    def take(self, token: str) -> str | None:
        """Change the token for the value of the cookie; None for a wrong or used one."""
        if self._used or not hmac.compare_digest(token.encode(), self._token.encode()):
            return None
        self._used = True
        return self._cookie

    def holds(self, cookies: str) -> bool:
        """Tell whether a `Cookie` header has the right cookie."""
        pairs = (part.strip().partition("=") for part in cookies.split(";"))
        given = [value for name, _, value in pairs if name == self.cookie_name]
        return len(given) == 1 and hmac.compare_digest(given[0].encode(), self._cookie.encode())


class Guard:
    """An ASGI application around another; see the rules of this module."""

    def __init__(self, app: ASGIApp, keys: Keys) -> None:
        self.app, self.keys = app, keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or let it through."""
        if scope["type"] != "http":  # rule 1
            return
        answer = self._refusal(scope)
        sender = _WithHeaders(send)
        if answer is None:
            await self.app(scope, _Limited(receive), sender)
        else:
            await answer(scope, receive, sender)

    def _refusal(self, scope: Scope) -> Response | None:
        headers = _Headers(scope["headers"])
        reading = scope["method"] in _READING
        if scope["method"] not in _METHODS:  # rule 1
            return _no(405, "this page does not use that method")
        if headers.length > _LARGEST_HEAD_BYTES:
            return _no(431, "the head of the request is too long")
        if headers.all("host") != [self.keys.host]:  # rule 2
            return _no(421, f"the address of this page is {self.keys.origin}")
        if any(o != self.keys.origin for o in headers.all("origin")):  # rule 3
            return _no(403, "the request comes from another page")
        allowed = ("same-origin", "none") if reading else ("same-origin",)
        if any(site not in allowed for site in headers.all("sec-fetch-site")):
            return _no(403, "the request comes from another page")
        token = parse_qs(scope["query_string"].decode("latin-1")).get("token")
        if token is not None:
            return self._opened(token)  # rule 4
        if not self.keys.holds("; ".join(headers.all("cookie"))):  # rule 5
            return _no(403, "open this page with the address that the command `review` printed")
        return None if reading else _unfit(headers)

    def _opened(self, token: list[str]) -> Response:
        cookie = self.keys.take(token[0]) if len(token) == 1 else None
        if cookie is None:
            return _no(403, "this address was used already; start the command `review` again")
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(self.keys.cookie_name, cookie, path="/", httponly=True, samesite="strict")
        return answer


def _unfit(headers: _Headers) -> Response | None:
    """Refuse a writing request that another page could have sent, or that is too long (rule 6)."""
    if headers.all(FORGERY_HEADER) != ["1"]:
        return _no(403, f"the header {FORGERY_HEADER} is missing")
    if [t.partition(";")[0].strip() for t in headers.all("content-type")] != ["application/json"]:
        return _no(415, "the body is not JSON")
    length = headers.all("content-length")
    if length and not (length[0].isdigit() and int(length[0]) <= LARGEST_BODY_BYTES):
        return _no(413, f"the body is longer than {LARGEST_BODY_BYTES} bytes")
    return None


class TooLong(Exception):
    """A body that goes on beyond the limit."""


class _Limited:
    """Receives a body and stops at the limit, whatever its length was said to be."""

    def __init__(self, receive: Receive) -> None:
        self.receive, self.taken = receive, 0

    async def __call__(self) -> Message:
        message = await self.receive()
        self.taken += len(message.get("body", b""))
        if self.taken > LARGEST_BODY_BYTES:
            raise TooLong
        return message


class _WithHeaders:
    """Sends an answer with the headers of all answers."""

    def __init__(self, send: Send) -> None:
        self.send = send

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            own = [(k.encode(), v.encode()) for k, v in HEADERS.items()]
            message = {**message, "headers": [*message.get("headers", ()), *own]}
        await self.send(message)


class _Headers:
    def __init__(self, pairs: Iterable[Any]) -> None:
        self.pairs = [(name.decode("latin-1"), value.decode("latin-1")) for name, value in pairs]

    @property
    def length(self) -> int:
        return sum(len(name) + len(value) for name, value in self.pairs)

    def all(self, name: str) -> list[str]:
        return [value for key, value in self.pairs if key == name]


def _no(status: int, why: str) -> Response:
    return PlainTextResponse(f"{why}\n", status_code=status)
