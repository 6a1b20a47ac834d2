"""Who may ask for anything: the browser that was given the secret, from the page's own address, in bounded requests."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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
MOST_BYTES = 1_000_000
MOST_UPLOAD_BYTES = 20_000_000
UPLOADS = ("/upload/", "/logo")
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_ENTER = "/enter"
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
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        request = Request(scope)
        answer = self._refusal(request) or await self._entrance(request, receive)
        if answer is not None:
            await answer(scope, receive, _headed(send))
            return
        most = MOST_UPLOAD_BYTES if request.url.path.startswith(UPLOADS) else MOST_BYTES
        length = request.headers.get("content-length", "0")
        if not length.isdigit() or int(length) > most:
            said = f"That is larger than {most // 1_000_000} MB, which is the limit."
            await PlainTextResponse(said, 413)(scope, receive, _headed(send))
            return
        await self.app(scope, _bounded(receive, most), _headed(send))

    def _refusal(self, request: Request) -> Response | None:
        headers = request.headers
        if headers.get("host", "") not in self.hosts:
            return PlainTextResponse("This address is not the page's own.", 421)
        if not self._own_origin(headers, request.method):
            return PlainTextResponse("Another site may not ask this page for anything.", 403)
        return None

    def _own_origin(self, headers: Headers, method: str) -> bool:
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        if origin is not None and origin != "null":
            own = urlsplit(origin)
            if own.scheme != "http" or own.netloc != headers.get("host"):
                return False
        if method in ("GET", "HEAD"):
            # a link may lead here from elsewhere; a page elsewhere may not fetch anything
            return site in (None, "same-origin", "none") or headers.get("sec-fetch-mode") == "navigate"
        return (origin not in (None, "null")) or site == "same-origin"

    async def _entrance(self, request: Request, receive: Receive) -> Response | None:
        """Let in who brings the secret, in the address or typed; None for who is in already."""
        given = request.query_params.get("secret", "") if request.method == "GET" else ""
        if request.method == "POST" and request.url.path == _ENTER:
            body = (await Request(request.scope, _bounded(receive, 1000)).body()).decode(errors="replace")
            given = re.sub(r"[^a-z0-9-]", "", body.partition("=")[2].lower())
        if given:
            if not secrets.compare_digest(given.encode(), self.secret.encode()):
                return HTMLResponse(_door("That is not the secret."), 403)
            # a page that leads on, not a redirect: the cookie is only sent from a page of this very site
            entered = HTMLResponse(_door("", "/"))
            entered.set_cookie(self.cookie, self._session, httponly=True, samesite="strict", path="/")
            return entered
        known = request.cookies.get(self.cookie, "")
        if secrets.compare_digest(known.encode(), self._session.encode()) or _STATIC.fullmatch(request.url.path):
            return None
        return HTMLResponse(_door(""), 401)


def _door(message: str, onward: str = "") -> str:
    refresh = f'<meta http-equiv="refresh" content="0; url={onward}">' if onward else ""
    said = f'<p role="alert" class="warning">{message}</p>' if message else ""
    form = (
        '<p><a href="/">Go on</a></p>'
        if onward
        else f'{said}<form method="post" action="{_ENTER}"><p><label for="secret">The secret that acreday showed when '
        'it was started</label></p><p><input id="secret" name="secret" autocomplete="off" autocapitalize="none" '
        'autofocus required> <button>Open</button></p></form><p class="note">It opens the scenarios of one folder, to '
        "read, change and remove, to whoever has it.</p>"
    )
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>acreday: planning page</title>'
        f'{refresh}<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark"><link rel="stylesheet" href="/static/page.css"></head>'
        f'<body><div class="sheet"><main><h1>Planning page</h1>{form}</main></div></body></html>'
    )


def _headed(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.setdefault("content-security-policy", POLICY)
            headers["x-content-type-options"] = "nosniff"
            headers["referrer-policy"] = "same-origin"
            headers["cross-origin-opener-policy"] = "same-origin"
            headers["cross-origin-resource-policy"] = "same-origin"
            headers.setdefault("cache-control", "no-store")
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
