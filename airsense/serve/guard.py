"""Who may come in: this computer, by our own address, from our own pages, with this start's key."""

from __future__ import annotations

import secrets
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

KEY = "key"
POLICY = (
    "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # With no referrer at all a browser would send its own forms with a foreign origin.
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Guard:
    """Refuses a foreign host, a foreign origin and a missing key; hardens every answer."""

    def __init__(self, app: ASGIApp, *, port: int, key: str) -> None:
        self._app = app
        self._hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
        self._key = key
        # A cookie is shared by all ports of a computer: another start must not overwrite it.
        self._cookie = f"airsense_{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, refuse or pass on one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # no such door
            return
        answer = self._refusal(Headers(scope=scope), scope["method"]) or self._door(
            Request(scope, receive)
        )
        await (answer or self._app)(scope, receive, _hardened(send))

    def _refusal(self, headers: Headers, method: str) -> Response | None:
        host = headers.get("host", "")
        if host not in self._hosts:
            return _refused(f"This is {host!r}, not the address that airsense printed.")
        origin = headers.get("origin")
        if (origin is None and method not in {"GET", "HEAD"}) or (
            origin is not None and origin != f"http://{host}"
        ):
            return _refused("The request came from a page that is not airsense's own.")
        return None

    def _door(self, request: Request) -> Response | None:
        """Let in who has the cookie, and give it to who brings the key."""
        if request.url.path == "/" and self._is_key(request.query_params.get(KEY)):
            answer = RedirectResponse("/", status_code=303)
            answer.set_cookie(self._cookie, self._key, httponly=True, samesite="strict")
            return answer
        foreign = request.headers.get("sec-fetch-site") in {"cross-site", "same-site"}
        if foreign or not self._is_key(_cookie(request.headers, self._cookie)):
            return _refused("Open the whole address that airsense printed when it started.")
        return None

    def _is_key(self, text: str | None) -> bool:
        return text is not None and secrets.compare_digest(text.encode(), self._key.encode())


def _cookie(headers: Headers, name: str) -> str | None:
    for header in headers.getlist("cookie"):
        try:
            found = SimpleCookie(header).get(name)
        except CookieError:
            continue
        if found is not None:
            return found.value
    return None


def _refused(why: str) -> Response:
    return PlainTextResponse(f"Refused. {why}\n", status_code=403)


def _hardened(send: Send) -> Send:
    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return with_headers
