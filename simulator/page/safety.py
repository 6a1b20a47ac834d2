"""Who may ask for anything: the browser that was given the secret, from the page's own address, in bounded requests."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from simulator.page.render import page

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "frame-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'self'",
    ]
)
"""What the page may load and run: its own files, nothing that stands in its text, nothing from elsewhere."""
HEADERS = {
    "content-security-policy": POLICY, "x-content-type-options": "nosniff", "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin", "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}  # fmt: skip
MOST_BYTES = 1_000_000
MOST_UPLOAD_BYTES = 20_000_000
UPLOADS = ("/upload/", "/logo")
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_STATIC = re.compile(r"/static/[a-z.]+")


def new_secret() -> str:
    """Return a secret that can be typed on a tablet: 16 letters in fours, 79 bits."""
    letters = [secrets.choice(_LETTERS) for _ in range(16)]
    return "-".join("".join(letters[at : at + 4]) for at in range(0, 16, 4))


class Guard:
    """Stands before the application and lets through what may come."""

    def __init__(self, app: ASGIApp, secret: str, hosts: Iterable[str]) -> None:
        self.app, self.secret = app, secret
        self.hosts = frozenset(hosts)
        self._session = secrets.token_urlsafe(32)
        ports = {host.rpartition(":")[2] for host in self.hosts}
        self.cookie = f"acreday-{min(ports, default='0')}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request that may not pass, and pass on what may."""
        if scope["type"] != "http":
            return
        request, path = Request(scope), scope["path"]
        most, length = (
            MOST_UPLOAD_BYTES if path.startswith(UPLOADS) else MOST_BYTES,
            request.headers.get("content-length", "0"),
        )
        if request.headers.get("host") not in self.hosts:
            answer: Response | None = PlainTextResponse("This address is not the page's own.", 421)
        elif not self._own_origin(request):
            answer = PlainTextResponse("Another site may not ask this page for anything.", 403)
        elif not length.isdecimal() or int(length) > most:
            answer = PlainTextResponse(f"That is larger than {most // 1_000_000} MB, which is the limit.", 413)
        else:
            answer = await self._entrance(request, receive)
        await (answer or self.app)(scope, _bounded(receive, most), _headed(send))

    def _own_origin(self, request: Request) -> bool:
        headers = request.headers
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        if origin not in (None, "null", f"http://{headers.get('host')}"):
            return False
        if request.method in ("GET", "HEAD"):
            # a link may lead here from elsewhere; a page elsewhere may not fetch anything
            return site in (None, "same-origin", "none") or headers.get("sec-fetch-mode") == "navigate"
        return origin not in (None, "null") or site == "same-origin"

    async def _entrance(self, request: Request, receive: Receive) -> Response | None:
        """Let in who brings the secret, in the address or typed; None for who is in already."""
        given = request.query_params.get("secret", "") if request.method == "GET" else ""
        if request.method == "POST" and request.url.path == "/enter" and "content-length" in request.headers:
            body = (await Request(request.scope, receive).body()).decode(errors="replace")
            given = re.sub(r"[^a-z0-9-]", "", body.partition("=")[2].lower())
        if given:
            if not secrets.compare_digest(given.encode(), self.secret.encode()):
                return _door(403, "That is not the secret.")
            # a page that leads on, not a redirect: the cookie is only sent from a page of this very site
            entered = _door(200, onward="/")
            entered.set_cookie(self.cookie, self._session, httponly=True, samesite="strict", path="/")
            return entered
        known = request.cookies.get(self.cookie, "")
        if secrets.compare_digest(known.encode(), self._session.encode()) or _STATIC.fullmatch(request.url.path):
            return None
        return _door(401)


def _door(code: int, said: str = "", onward: str = "") -> Response:
    return HTMLResponse(page("door.html.j2", said=said, onward=onward), code)


def _headed(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending


class TooLargeError(Exception):
    """More came than was announced or is allowed."""


def _bounded(receive: Receive, most: int) -> Receive:
    count = 0

    async def receiving() -> Message:
        nonlocal count
        message = await receive()
        count += len(message.get("body", b""))
        if count > most:
            raise TooLargeError
        return message

    return receiving
