"""What stands before every page: who may ask, how much may be sent, what a browser may do with answers."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from clearance.web.settings import Settings, is_loopback

__all__ = ["Guard", "TooLargeError", "cookie_name"]

#: Only what the server itself sends may run, be shown or be asked for (Content Security Policy Level 3).
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "font-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), interest-cohort=()",
}
_SAFE = frozenset({"GET", "HEAD"})
#: Paths that take files; everything else takes short texts.
UPLOADS = frozenset({"/inspect", "/screen", "/api/inspect", "/api/screen"})


class TooLargeError(Exception):
    """More was sent than the path takes."""


def cookie_name(settings: Settings) -> str:
    """The name of the token's cookie; cookies do not tell ports apart, the name does."""
    return f"clearance-{settings.port}"


class Guard:
    """Checks host, origin, token and size of each request, and sets the headers of each answer."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        """Stand before `app`."""
        self.app, self.settings = app, settings
        # The cookie holds a digest, so that whoever reads the cookie cannot write the link.
        self._digest = hashlib.sha256(f"cookie {settings.token}".encode()).hexdigest()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        if refused is not None:
            await refused(scope, receive, _dressed(send))
            return
        most = self.settings.limits.upload if scope["path"] in UPLOADS else self.settings.limits.text
        await self.app(scope, _bounded(receive, most), _dressed(send))

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        if not self._own_host(headers.get("host", "")):
            return _no(421, "this server does not answer to that name; use the address it printed")
        if not _own_origin(scope, headers):
            return _no(403, "this came from another site and was not carried out")
        most = self.settings.limits.upload if scope["path"] in UPLOADS else self.settings.limits.text
        told = headers.get("content-length", "0")
        if not told.isdecimal() or int(told) > most:
            return _no(413, f"this is more than the {most:,} bytes that can be sent here")
        return self._without_token(scope, headers) if self.settings.token else None

    def _own_host(self, host: str) -> bool:
        """Whether a Host header names this server, whatever a name server says of its numbers.

        A site that turns its own name to our address (DNS rebinding) still sends its name. Numbers
        cannot be turned, so off the loopback any number is good.
        """
        name, _, port = host.rpartition(":") if not host.endswith("]") else (host, "", "")
        if not name:
            name, port = host, ""
        if port and not port.isdecimal():
            return False
        bare = name.strip("[]").lower()
        if bare in {"localhost", *(n.lower() for n in self.settings.names)}:
            return True
        try:
            number = ipaddress.ip_address(bare)
        except ValueError:
            return False
        return number.is_loopback or not is_loopback(self.settings.host)

    def _without_token(self, scope: Scope, headers: Headers) -> Response | None:
        bearer = headers.get("authorization", "").removeprefix("Bearer ")
        if _same(bearer, self.settings.token) or _same(self._cookie(headers), self._digest):
            return None
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        given = dict(query).get("token", "")
        if scope["method"] == "GET" and _same(given, self.settings.token):
            # The token leaves the address bar, and with it what people copy and screens show.
            rest = urlencode([(k, v) for k, v in query if k != "token"])
            answer = RedirectResponse(_local(scope["path"]) + (f"?{rest}" if rest else ""), status_code=303)
            answer.set_cookie(
                cookie_name(self.settings), self._digest, httponly=True, samesite="strict", max_age=86400 * 30
            )
            return answer
        refusal = _no(401, "this server asks for a token: open the link with the token that it printed")
        refusal.headers["WWW-Authenticate"] = "Bearer"
        return refusal

    def _cookie(self, headers: Headers) -> str:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(cookie_name(self.settings))
        except CookieError:
            return ""
        return found.value if found is not None else ""


def _local(path: str) -> str:
    """A path that stays on this server: ``//host`` would not."""
    return "/" + path.lstrip("/\\")


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "surrogateescape"), wanted.encode())


def _own_origin(scope: Scope, headers: Headers) -> bool:
    """Whether a request comes from the server's own pages, or from no page at all.

    Browsers send Origin with everything that can change something (Fetch Standard, 3.2.1); a program that
    is no browser sends none and carries nobody's cookies. What other sites embed is refused as well; a
    link from elsewhere is followed.
    """
    site = headers.get("sec-fetch-site", "")
    if scope["method"] in _SAFE:
        return site not in {"cross-site", "same-site"} or headers.get("sec-fetch-mode") == "navigate"
    origin = headers.get("origin")
    if origin is not None:
        return origin == f"{scope['scheme']}://{headers.get('host', '')}"
    return site in {"", "same-origin", "none"}


def _no(status: int, message: str) -> Response:
    return PlainTextResponse(message + "\n", status_code=status)


def _bounded(receive: Receive, most: int) -> Receive:
    """The body, up to `most` bytes: a length that is not told, or told wrong, changes nothing."""
    got = 0

    async def bounded() -> Message:
        nonlocal got
        message = await receive()
        if message["type"] == "http.request":
            got += len(message.get("body", b""))
            if got > most:
                raise TooLargeError(f"this is more than the {most:,} bytes that can be sent here")
        return message

    return bounded


def _dressed(send: Send) -> Send:
    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return dressed
