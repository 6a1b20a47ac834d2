"""The web application: addresses, and what is answered at each."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from simulator.clean import plain
from simulator.errors import InputError
from simulator.page.boxes import class_words
from simulator.page.commands import Commands
from simulator.page.desk import Desk, Opened, renamed
from simulator.page.handing import Handing, body_of
from simulator.page.live import Live
from simulator.page.render import STATIC, answer_html, as_markup, charts_html, page, parts, static
from simulator.page.safety import TooLargeError
from simulator.page.sheet import sheet_of
from simulator.page.store import WORK, ChangedError, Store
from simulator.scenario.catalogue import catalogue
from simulator.scenario.units import registry

LOOK_S = 0.15
FILE_LOOK_S = 1.0
"""How often an open page looks for news of its answer, and whether its file has changed."""
Handler = Callable[[Request], Awaitable[Response]]


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
        get: list[tuple[str, Handler]] = [
            ("/", self.list_page), ("/job/{key:path}", self.job_page), ("/events/{key:path}", self.events),
            ("/parts/{key:path}", self.parts), ("/charts/{key:path}", self.charts),
            ("/report/{key:path}", self.handing.report), ("/file/{key:path}", self.handing.file),
            ("/quote/{key:path}", self.handing.quote_file), ("/study/{key:path}", self.handing.study_page),
            ("/static/{name}", self.static), ("/scenarios", self.scenarios),
        ]  # fmt: skip
        post: list[tuple[str, Handler]] = [
            ("/new", self.new), ("/edit/{key:path}", self.edit), ("/do/{key:path}", self.do),
            ("/upload/{key:path}", self.upload), ("/quote/{key:path}", self.handing.quote),
            ("/study/{key:path}", self.handing.study), ("/logo", self.handing.logo),
        ]  # fmt: skip
        routes = [Route(path, self._safely(handler), methods=["GET"]) for path, handler in get]
        routes += [Route(path, self._safely(handler), methods=["POST"]) for path, handler in post]
        return Starlette(routes=routes)

    def _safely(self, handler: Handler) -> Handler:
        """Turn what can go wrong into an answer that says so."""

        async def handle(request: Request) -> Response:
            try:
                return await handler(request)
            except InputError as error:
                problems = [
                    {"where": one.where, "message": plain(one.message, 600), "file": plain(one.file, 80)}
                    for one in error.problems
                ]
                if request.method == "GET":
                    said = [plain(one, 600) for one in error.problems]
                    return HTMLResponse(page("message.html.j2", title="Not here", lines=said), 404)
                return JSONResponse({"problems": problems}, 422)
            except ChangedError:
                return JSONResponse({"changed": True}, 409)
            except TooLargeError:
                return JSONResponse({"problems": [{"where": "", "message": "that is too large", "file": ""}]}, 413)
            except OSError as error:
                failed = f"the folder cannot be read or written: {error.strerror or error}"
                return JSONResponse({"problems": [{"where": "", "message": failed, "file": ""}]}, 500)

        return handle

    async def static(self, request: Request) -> Response:
        """Answer with style or script."""
        name = request.path_params["name"]
        if name not in STATIC:
            return PlainTextResponse("There is no such file.", 404)
        return Response(static(name), media_type=STATIC[name])

    async def list_page(self, request: Request) -> Response:
        """Show the scenarios by customer, and what is asked for a new one."""
        classes = [(name, class_words(name)) for name in catalogue()["aircraft"]]
        entries = await run_in_threadpool(self.store.entries)
        return HTMLResponse(page("list.html.j2", entries=entries, folder=self.store.folder.name, classes=classes))

    async def scenarios(self, request: Request) -> Response:
        """Answer with the list alone, so that an open list can renew itself."""
        return JSONResponse([entry.key for entry in await run_in_threadpool(self.store.entries)])

    async def job_page(self, request: Request) -> Response:
        """Show one scenario."""
        key = request.path_params["key"]
        opened = await run_in_threadpool(self.desk.open, key)
        await run_in_threadpool(self._simulate, opened)
        return HTMLResponse(await run_in_threadpool(lambda: page("job.html.j2", **self._context(opened))))

    def _context(self, opened: Opened) -> dict[str, Any]:
        customer, _, name = opened.key.rpartition("/")
        price_list = self.desk.price_list()
        return {
            "key": opened.key,
            "customer": customer,
            "name": name,
            "version": opened.text.version,
            "sheet": sheet_of(opened.checked, price_list),
            "undoable": self.store.undoable(opened.key),
            "answer": as_markup(answer_html(self.live.answer(opened.key))),
            "dealer": price_list["dealer"],
            "studies": self.handing.studies(opened.key),
            "text": opened.text.content,
            "inner": False,
        }

    def _simulate(self, opened: Opened, again: bool = False) -> None:
        self.live.begin(opened.key, opened.checked, opened.text.content, self.store.path(opened.key), again)

    async def _renewed(self, opened: Opened, **more: Any) -> Response:
        """Begin to simulate what has changed, and answer with every part of the page anew."""

        def make() -> dict[str, Any]:
            self._simulate(opened)
            return parts("job.html.j2", **self._context(opened))

        found = await run_in_threadpool(make)
        return JSONResponse({"version": opened.text.version, "parts": found, **more})

    async def parts(self, request: Request) -> Response:
        """Answer with the page as the file is now."""
        return await self._renewed(await run_in_threadpool(self.desk.open, request.path_params["key"]))

    async def new(self, request: Request) -> Response:
        """Write a new scenario."""
        given = await body_of(request)
        make = partial(
            self.desk.new,
            str(given.get("customer", "")),
            str(given.get("name", "")),
            str(given.get("units", "us")),
            [str(one) for one in given.get("classes", [])],
            str(given.get("price", "")),
        )
        return JSONResponse({"key": await run_in_threadpool(make)})

    async def edit(self, request: Request) -> Response:
        """Carry out one wish."""
        given, key = await body_of(request), request.path_params["key"]
        version = str(given.get("version", ""))
        if given.get("as_copy"):
            return JSONResponse({"key": await run_in_threadpool(self.desk.keep_as_copy, key, version, given)})
        return await self._renewed(await run_in_threadpool(self.desk.edit, key, version, given))

    async def upload(self, request: Request) -> Response:
        """Take the fields from a file that was dropped."""
        key, content = request.path_params["key"], await request.body()
        name, version = plain(request.query_params.get("name", ""), 120), request.query_params.get("version", "")
        return await self._renewed(await run_in_threadpool(self.desk.upload, key, version, name, content))

    async def do(self, request: Request) -> Response:
        """Carry out what concerns the file or the simulation as a whole."""
        given, key = await body_of(request), request.path_params["key"]
        action = given.get("action")
        if action == "undo":
            await run_in_threadpool(self.store.undo, key, str(given.get("version", "")))
        elif action == "copy":
            return JSONResponse({"key": await run_in_threadpool(self.store.copy, key)})
        elif action == "rename":
            names = (str(given.get("customer", "")), str(given.get("name", "")))
            new = await run_in_threadpool(renamed, self.store, key, *names)
            self.live.move(key, new)
            return JSONResponse({"key": new})
        elif action == "remove":
            await run_in_threadpool(self.store.remove, key)
            self.live.move(key, "")
            return JSONResponse({"key": ""})
        elif action == "stop":
            self.live.stop(key)
        elif action == "again":
            opened = await run_in_threadpool(self.desk.open, key)
            await run_in_threadpool(self._simulate, opened, True)
        elif action == "keep prices":
            await run_in_threadpool(self.desk.keep_prices, key)
        elif action == "stop study":
            self.commands.stop(key, int(given.get("place", 0)))
        else:
            raise InputError.single("the page asked for something that is not known")
        return await self.parts(request)

    async def charts(self, request: Request) -> Response:
        """Answer with the answer chart of a finished result."""
        folder = self.live.result_folder(request.path_params["key"])
        text = "" if folder is None else await run_in_threadpool(charts_html, folder)
        return HTMLResponse(text)

    async def events(self, request: Request) -> Response:
        """Tell a page, as it happens, what is known of its answer, of its studies, and that its file has changed."""
        return StreamingResponse(self._news(request), media_type="text/event-stream")

    async def _news(self, request: Request) -> AsyncIterator[str]:
        key = request.path_params["key"]
        seen, version, looked = (-1, -1), request.query_params.get("version", ""), 0.0
        while not self.ending():
            answer, clock = self.live.answer(key), asyncio.get_running_loop().time()
            now = (answer.number, self.commands.number)
            if now != seen:
                seen = now
                html = await run_in_threadpool(answer_html, answer)
                yield event("answer", {"html": html, "phase": answer.phase, "digest": answer.digest})
                yield event("studies", {"html": page("studies.html.j2", key=key, studies=self.handing.studies(key))})
            if clock - looked > FILE_LOOK_S:
                looked, present = clock, await run_in_threadpool(self._version, key)
                if present != version:
                    version = present
                    yield event("version", {"version": present})
                yield ": still here\n\n"
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
