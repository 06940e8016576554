"""What every request passes before a page sees it, and every answer on its way out.

Names under which the page is reached are listed, so that no other site can lead a browser here
under a name of its own; a change must come from a page of ours; and whatever an answer holds, a
browser runs nothing of it but our own modules.
"""

from collections.abc import Callable, Collection, Mapping
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from scripts.page.door import Door

__all__ = ["SCHEME", "SMALL_BODY_BYTES", "Guard", "cookie_of", "is_local"]

SCHEME = "http"
"""Spoken on a home network, where no name has a certificate."""

SMALL_BODY_BYTES = 256 * 1024
"""Largest body of a request that brings no photos."""

_READING = frozenset({"GET", "HEAD"})
_ALLOWED = _READING | {"POST"}
_MOST_DIGITS = 15
_BEFORE_THE_DOOR = ("/enter", "/static/")
_HEADERS: Mapping[str, str] = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), microphone=(), payment=()",
}


class Guard:
    """Lets through what may come in.

    Parameters
    ----------
    app : ASGI application
        What is guarded.
    hosts : collection of str
        Names and ports under which the page is reached, such as ``127.0.0.1:8440``.
    cookie : str
        Name of the cookie that holds a device's token.
    door : Door, optional
        Asked about devices that are not this computer; without one, none may come in.
    body_limit : callable
        Largest body, in bytes, for a path.
    opened_by : callable
        Whether a path with its query opens by itself, as a calendar's address does.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        hosts: Collection[str],
        cookie: str,
        door: Door | None = None,
        body_limit: Callable[[str], int] = lambda path: SMALL_BODY_BYTES,
        opened_by: Callable[[str, str], bool] = lambda path, query: False,
    ) -> None:
        self._app, self._hosts, self._cookie = app, frozenset(hosts), cookie
        self._door, self._body_limit, self._opened_by = door, body_limit, opened_by

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        # Our own files are asked about each time, and are sent again only where they changed.
        own = scope["path"].startswith("/static/")
        guarded = _with_headers(send, "no-cache" if own else "no-store")
        answer = self._refusal(scope, headers) or self._at_the_door(scope, headers)
        if answer is not None:
            await answer(scope, receive, guarded)
            return
        limit = self._body_limit(scope["path"])
        if _length(headers.get("content-length", "0"), limit) is None:
            await _too_large(scope, receive, guarded)
            return
        await self._app(scope, _limited(receive, limit), guarded)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """Return why a request is not answered at all; None where it may be."""
        if scope["method"] not in _ALLOWED:
            return PlainTextResponse("This page is only read and sent forms.", 405)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return PlainTextResponse("The garden page is not known under this name.", 421)
        origin = headers.get("origin")
        foreign = origin is not None and not _is_same(origin, hosts[0])
        changing = scope["method"] not in _READING
        strange = headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")
        if foreign or (changing and strange):
            return PlainTextResponse("Another site may not use the garden page.", 403)
        return None

    def _at_the_door(self, scope: Scope, headers: Headers) -> Response | None:
        path = scope["path"]
        if is_local(scope, headers) or path.startswith(_BEFORE_THE_DOOR):
            return None
        if self._opened_by(path, scope["query_string"].decode("latin-1")):
            return None
        if self._door is not None and self._door.knows(cookie_of(headers, self._cookie)):
            return None
        return RedirectResponse("/enter", 303)


def cookie_of(headers: Headers, name: str) -> str:
    """Return a cookie's value; empty where there is none."""
    try:
        cookies: SimpleCookie = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return cookies[name].value if name in cookies else ""


def is_local(scope: Scope, headers: Headers) -> bool:
    """Whether a request comes from this computer, to this computer."""
    client = (scope.get("client") or ("", 0))[0]
    name = urlsplit(f"//{headers.get('host', '')}").hostname or ""
    return _is_loopback(client) and (name == "localhost" or _is_loopback(name))


def _is_loopback(name: str) -> bool:
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return False


def _is_same(origin: str, host: str) -> bool:
    return origin.lower() == f"{SCHEME}://{host.lower()}"


def _length(text: str, most: int) -> int | None:
    """Return a number up to a limit; None where the text is none, or more."""
    if not (text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS):
        return None
    return int(text) if int(text) <= most else None


_too_large = PlainTextResponse("That is more than this page takes at once.", 413)


def _limited(receive: Receive, limit: int) -> Receive:
    """Return what hands a body on up to a limit, and then tells that the other side has gone.

    Who says how long a body is was stopped before; this is for one that comes in pieces.
    """
    seen = 0

    async def limited() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        return message if seen <= limit else {"type": "http.disconnect"}

    return limited


def _with_headers(send: Send, keep: str) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", keep)
        await send(message)

    return sending
