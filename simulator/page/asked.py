"""One request as its handler knows it, and how what it answers, or refuses, goes back."""

from __future__ import annotations

import html
import json
import re
import urllib.parse
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from simulator.clean import plain
from simulator.errors import InputError, Problem
from simulator.page.render import page
from simulator.page.safety import TooLargeError
from simulator.page.store import ChangedError

_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')


@dataclass(frozen=True)
class Asked:
    """What is asked: of which scenario, with what in the address and in the body."""

    key: str
    query: Mapping[str, str]
    content: bytes

    @property
    def table(self) -> dict[str, Any]:
        """The JSON table in the body."""
        try:
            found = json.loads(self.content)
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            raise InputError.single("the page sent something that is not known")
        return found


Handler = Callable[[Asked], Response]


def safely(handler: Handler) -> Callable[[Request], Awaitable[Response]]:
    """Give a handler a thread, and turn what can go wrong into an answer that says so."""

    async def handle(request: Request) -> Response:
        try:
            content = await request.body()
            asked = Asked(request.path_params.get("key", ""), request.query_params, content)
            return await run_in_threadpool(handler, asked)
        except InputError as error:
            problems, code = error.problems, 422
        except ChangedError:
            problems, code = [Problem("", "it was changed elsewhere meanwhile")], 409
        except TooLargeError:
            problems, code = [Problem("", "that is too large")], 413
        except OSError as error:
            problems, code = [Problem("", f"the folder cannot be read or written: {error.strerror or error}")], 500
        if request.method == "GET":
            lines = [plain(one, 600) for one in problems]
            return HTMLResponse(page("message.html.j2", title="Not here", lines=lines), 404)
        keys = ("file", "where", "message")
        said = [{key: plain(getattr(one, key), 600) for key in keys} for one in problems]
        return JSONResponse({"problems": said}, code)

    return handle


def whole_page(text: str, name: str = "") -> Response:
    """Answer with a page that brings its own policy, or have it saved under a name."""
    found = _POLICY.search(text)
    policy = html.unescape(found[1]) if found else "default-src 'none'"
    headers = {"content-security-policy": f"{policy}; frame-ancestors 'self'", **(saved_as(name) if name else {})}
    return HTMLResponse(text, headers=headers)


def saved_as(name: str) -> dict[str, str]:
    """Return the header by which a browser saves a file under a name."""
    ascii_name, coded = re.sub(r"[^A-Za-z0-9 ._-]", "_", name), urllib.parse.quote(name, safe="")
    return {"content-disposition": f"attachment; filename=\"{ascii_name}\"; filename*=UTF-8''{coded}"}
