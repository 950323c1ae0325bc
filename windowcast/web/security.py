"""What stands between the network and the pages: pure ASGI layers, strict by default.

From outside in: headers on every answer, the host name asked for, the size of the body, the rate
of requests, the token. Forms carry a proof that they came from our own page (`csrf_proof`).
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import re
import secrets
import time
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from windowcast.core.errors import traces_asked

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # with none, browsers send "Origin: null" with our forms
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-cache",
}
LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
KEPT_S = 180 * 24 * 3600
TOKEN_COOKIE, SESSION_COOKIE = "windowcast_token", "windowcast_session"
_TOO_LARGE = "The request is too large."
BODY_LIMIT, UPLOAD_LIMIT = 256 * 1024, 30 * 1024 * 1024
OPEN_PATHS = frozenset({"/healthz"})  # what needs no token, since it tells nothing of anybody
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


@dataclass(frozen=True)
class Guard:
    """What the layers are told.

    Attributes
    ----------
    hosts
        Names the server may be asked by: a page elsewhere cannot reach it by a name of its own
        (DNS rebinding).
    any_ip
        Whether it also answers to every IP address; only names can be rebound.
    token
        Needed on every request when not empty.
    reads_per_s, writes_per_s
        Requests a second each client may make, with a burst of ten seconds' worth.
    """

    hosts: frozenset[str] = LOOPBACK
    token: str = ""
    reads_per_s: float = 2000.0
    writes_per_s: float = 3.0
    any_ip: bool = False
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))


def protected(app: ASGIApp, guard: Guard) -> ASGIApp:
    """`app` behind every layer."""
    app = TokenLayer(app, guard.token)
    app = RateLayer(app, guard.reads_per_s, guard.writes_per_s)
    app = BodyLayer(app)
    app = HostLayer(app, guard.hosts, any_ip=guard.any_ip)
    return QuietLayer(HeaderLayer(app))


def csrf_proof(guard: Guard, session: str) -> str:
    """The value a form must carry for a session."""
    return hmac.new(guard.secret, session.encode(), hashlib.sha256).hexdigest()


def from_own_page(request: Request, guard: Guard, proof: str) -> bool:
    """Whether a writing request came from a form we gave to this session."""
    session = request.cookies.get(SESSION_COOKIE, "")
    expected = csrf_proof(guard, session)
    return bool(session) and hmac.compare_digest(expected.encode(), proof.encode())


def same_origin(request: Request) -> bool:
    """Whether the browser says that the request comes from our own pages, or says nothing."""
    site = request.headers.get("sec-fetch-site", "same-origin")
    origin = request.headers.get("origin")
    return site in {"same-origin", "none"} and (
        origin is None or origin == f"{request.url.scheme}://{request.url.netloc}"
    )


class QuietLayer:
    """Ends a fault that was answered, or whose client is gone, without a trace on the terminal."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request."""
        begun = False

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive, watched)
        except ClientDisconnect:
            pass
        except Exception:
            if traces_asked():
                raise
            if not begun:
                await PlainTextResponse("Something went wrong.\n", 500)(scope, receive, send)


class HeaderLayer:
    """Puts the safety headers on every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, with_headers)


class HostLayer:
    """Refuses requests for host names that are not ours."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str], *, any_ip: bool = False) -> None:
        self.app, self.hosts, self.any_ip = app, frozenset(hosts), any_ip

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request."""
        if scope["type"] == "http" and not self._ours(host_name(Headers(scope=scope))):
            refuse = PlainTextResponse("Unknown host name.\n", 400)
            await refuse(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _ours(self, name: str) -> bool:
        return name in self.hosts or (self.any_ip and _is_ip(name))


def _is_ip(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


_HOST = re.compile(r"(?:\[([^\[\]]+)\]|([^\[\]:]+))(?::\d*)?")  # "[::1]:8765", "localhost"


def host_name(headers: Headers) -> str:
    """The host asked for, without its port; "" where it is not written as one."""
    host = headers.get("host", "").strip().lower()
    found = _HOST.fullmatch(host)
    return (found[1] or found[2]) if found else ""


class BodyLayer:
    """Bounds the size of a request's body, whatever its headers claim."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = UPLOAD_LIMIT if scope["path"].endswith("/upload") else BODY_LIMIT
        claimed = Headers(scope=scope).get("content-length", "0")
        if not claimed.isdigit() or int(claimed) > limit:
            await PlainTextResponse(f"{_TOO_LARGE}\n", 413)(scope, receive, send)
            return
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > limit:
                raise HTTPException(413, _TOO_LARGE)
            return message

        await self.app(scope, counted, send)


class RateLayer:
    """Bounds how often a client may ask (token bucket), more tightly when it writes."""

    CLIENTS = 4096  # remembered at most

    def __init__(self, app: ASGIApp, reads_per_s: float, writes_per_s: float) -> None:
        self.app = app
        self.rates = {True: reads_per_s, False: writes_per_s}
        self.buckets: OrderedDict[tuple[str, bool], tuple[float, float]] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request."""
        if scope["type"] == "http" and not self._allowed(scope):
            refuse = PlainTextResponse(
                "Too many requests; wait a moment.\n", 429, headers={"retry-after": "5"}
            )
            await refuse(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _allowed(self, scope: Scope) -> bool:
        reading = scope["method"] in SAFE_METHODS
        rate = self.rates[reading]
        key = ((scope.get("client") or ("", 0))[0], reading)
        now = time.monotonic()
        left, then = self.buckets.pop(key, (10 * rate, now))
        left = min(10 * rate, left + (now - then) * rate)
        allowed = left >= 1
        self.buckets[key] = (left - 1 if allowed else left, now)
        if len(self.buckets) > self.CLIENTS:
            self.buckets.popitem(last=False)
        return allowed


class TokenLayer:
    """Asks for the token: a cookie, ``Authorization: Bearer``, or ``?token=`` in the address.

    A page asked for with the token in its address answers with the cookie and the address
    without it, so that the token does not stay in the history; calendars keep theirs.
    """

    def __init__(self, app: ASGIApp, token: str) -> None:
        self.app, self.token = app, token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request."""
        if scope["type"] != "http" or not self.token or scope["path"] in OPEN_PATHS:
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        asked = next((value for name, value in query if name == "token"), "")
        if self._right(asked):
            if scope["path"].endswith(".ics") or scope["path"].startswith("/api/"):
                await self.app(scope, receive, send)
            else:
                await self._settle(scope, query)(scope, receive, send)
        elif self._right(_bearer(headers)) or self._right(_cookie(headers, TOKEN_COOKIE)):
            await self.app(scope, receive, send)
        else:
            refuse = PlainTextResponse(
                "Open the address that windowcast serve printed: it holds the token.\n",
                401,
                headers={"www-authenticate": "Bearer"},
            )
            await refuse(scope, receive, send)

    def _right(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.token.encode())

    def _settle(self, scope: Scope, query: list[tuple[str, str]]) -> Response:
        rest = urlencode([pair for pair in query if pair[0] != "token"])
        path = "/" + scope["path"].lstrip("/\\")  # never "//elsewhere"
        response = RedirectResponse(path + (f"?{rest}" if rest else ""), 303)
        response.set_cookie(
            TOKEN_COOKIE,
            self.token,
            max_age=KEPT_S,  # a page on a phone's home screen finds it again
            httponly=True,
            samesite="strict",
            secure=scope["scheme"] == "https",
        )
        return response


def _bearer(headers: Headers) -> str:
    kind, _, value = headers.get("authorization", "").partition(" ")
    return value if kind.lower() == "bearer" else ""


def _cookie(headers: Headers, name: str) -> str:
    try:
        jar = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[name].value if name in jar else ""
