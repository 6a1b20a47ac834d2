"""The web application: addresses, and what is answered at each."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from simulator.clean import plain
from simulator.errors import InputError
from simulator.page.asked import Asked, Handler, safely
from simulator.page.boxes import class_words
from simulator.page.commands import Commands
from simulator.page.desk import Desk, Opened
from simulator.page.handing import Handing
from simulator.page.live import Live
from simulator.page.render import STATIC, answer_html, charts_html, page, parts, static
from simulator.page.sheet import sheet_of
from simulator.page.store import WORK, Store
from simulator.scenario.catalogue import catalogue
from simulator.scenario.units import registry

LOOK_S = 0.15
"""How often an open page is told news of its answer,"""
FILE_LOOK_S = 1.0
"""and how often its file is looked at."""


class Server:
    """One folder served."""

    def __init__(self, folder: Path, workers: int | None = None, runs: int | None = None) -> None:
        registry()  # made once, before threads ask for it at the same time
        self.store = Store(folder)
        self.desk = Desk(self.store)
        self.live = Live(self.store.folder / WORK, workers, runs)
        self.commands = Commands()
        self.handing = Handing(self.desk, self.live, self.commands)
        self.ending: Callable[[], bool] = lambda: False
        """Tells whether the server is about to end, so that open streams end too."""

    def app(self) -> Starlette:
        """Return the application; see :mod:`simulator.page.safety` for what stands before it."""
        hand = self.handing
        get: dict[str, Handler] = {
            "/": self._list_page, "/scenarios": self._scenarios, "/job/{key:path}": self._job_page,
            "/parts/{key:path}": self._parts, "/charts/{key:path}": self._charts, "/report/{key:path}": hand.report,
            "/file/{key:path}": hand.file, "/quote/{key:path}": hand.quote_file, "/study/{key:path}": hand.study_page,
            "/static/{key}": self._static,
        }  # fmt: skip
        post: dict[str, Handler] = {
            "/new": self._new, "/edit/{key:path}": self._edit, "/do/{key:path}": self._do, "/logo": hand.logo,
            "/upload/{key:path}": self._upload, "/quote/{key:path}": hand.quote, "/study/{key:path}": hand.study,
        }  # fmt: skip
        routes = [Route("/events/{key:path}", self._events)]
        for method, handlers in (("GET", get), ("POST", post)):
            routes += [Route(path, safely(handler), methods=[method]) for path, handler in handlers.items()]
        return Starlette(routes=routes)

    def _static(self, asked: Asked) -> Response:
        if asked.key not in STATIC:
            raise InputError.single("there is no such file")
        return Response(static(asked.key), media_type=STATIC[asked.key])

    def _list_page(self, _: Asked) -> Response:
        classes = [(name, class_words(name)) for name in catalogue()["aircraft"]]
        name = self.store.folder.name
        return HTMLResponse(page("list.html.j2", entries=self.store.entries(), folder=name, classes=classes))

    def _scenarios(self, _: Asked) -> Response:
        return JSONResponse([entry.key for entry in self.store.entries()])

    def _job_page(self, asked: Asked) -> Response:
        return HTMLResponse(page("job.html.j2", **self._context(self.desk.open(asked.key))))

    def _context(self, opened: Opened) -> dict[str, Any]:
        self._simulate(opened)
        customer, _, name = opened.key.rpartition("/")
        price_list = self.desk.price_list()
        return {
            "key": opened.key, "customer": customer, "name": name, "version": opened.text.version,
            "sheet": sheet_of(opened.checked, price_list), "undoable": self.store.undoable(opened.key),
            "answer": answer_html(self.live.answer(opened.key)), "dealer": price_list["dealer"],
            "studies": self.handing.studies(opened.key), "inner": False,
        }  # fmt: skip

    def _simulate(self, opened: Opened, again: bool = False) -> None:
        self.live.begin(opened.key, opened.checked, opened.text.content, self.store.path(opened.key), again)

    def _renewed(self, opened: Opened) -> Response:
        """Answer with every part of the page anew."""
        found = parts("job.html.j2", **self._context(opened))
        return JSONResponse({"version": opened.text.version, "parts": found})

    def _parts(self, asked: Asked) -> Response:
        return self._renewed(self.desk.open(asked.key))

    def _new(self, asked: Asked) -> Response:
        given = asked.table
        customer, name, units, price = (str(given.get(one, "")) for one in ("customer", "name", "units", "price"))
        classes = [str(one) for one in given.get("classes", [])]
        return JSONResponse({"key": self.desk.new(customer, name, units, price, classes)})

    def _edit(self, asked: Asked) -> Response:
        given = asked.table
        version = str(given.get("version", ""))
        if given.get("as_copy"):
            return JSONResponse({"key": self.desk.keep_as_copy(asked.key, version, given)})
        return self._renewed(self.desk.edit(asked.key, version, given))

    def _upload(self, asked: Asked) -> Response:
        name, version = plain(asked.query.get("name", ""), 120), asked.query.get("version", "")
        return self._renewed(self.desk.upload(asked.key, version, name, asked.content))

    def _do(self, asked: Asked) -> Response:
        given, key = asked.table, asked.key
        action = given.get("action")
        if action in ("copy", "rename", "remove"):
            if action == "rename":
                new = self.store.rename(key, str(given.get("customer", "")), str(given.get("name", "")))
            else:
                new = self.store.copy(key) if action == "copy" else self.store.remove(key)
            if action != "copy":
                self.live.forget(key)
            return JSONResponse({"key": new})
        if action == "undo":
            self.store.undo(key, str(given.get("version", "")))
        elif action == "stop":
            self.live.stop(key)
        elif action == "again":
            self._simulate(self.desk.open(key), again=True)
        elif action == "keep prices":
            self.desk.keep_prices(key)
        elif action == "stop study":
            self.commands.stop(key, int(given.get("place", 0)))
        else:
            raise InputError.single("the page asked for something that is not known")
        return self._parts(asked)

    def _charts(self, asked: Asked) -> Response:
        folder = self.live.result_folder(asked.key)
        return HTMLResponse("" if folder is None else charts_html(folder))

    async def _events(self, request: Request) -> Response:
        version = request.query_params.get("version", "")
        return StreamingResponse(self._news(request.path_params["key"], version), media_type="text/event-stream")

    async def _news(self, key: str, version: str) -> AsyncIterator[str]:
        seen, looked_s = (-1, -1), 0.0
        while not self.ending():
            answer, now_s = self.live.answer(key), asyncio.get_running_loop().time()
            if (now := (answer.number, self.commands.number)) != seen:
                seen = now
                html = await run_in_threadpool(answer_html, answer)
                yield event("answer", {"html": html, "phase": answer.phase, "digest": answer.digest})
                asked = page("studies.html.j2", key=key, studies=self.handing.studies(key))
                yield event("studies", {"html": asked})
            if now_s - looked_s > FILE_LOOK_S:
                looked_s, present = now_s, await run_in_threadpool(self._version, key)
                yield event("version", {"version": present}) if present != version else ": still here\n\n"
                version = present
            await asyncio.sleep(LOOK_S)

    def _version(self, key: str) -> str:
        try:
            return self.store.read(key).version
        except (InputError, OSError):
            return ""

    def close(self) -> None:
        """End everything that runs."""
        self.commands.close()
        self.live.close()


def event(kind: str, content: Any) -> str:
    """Return one server-sent event."""
    return f"event: {kind}\ndata: {json.dumps(content)}\n\n"
