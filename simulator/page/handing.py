"""What is handed over: the report, the quote, the scenario's file, and the studies; made by the commands themselves."""

from __future__ import annotations

import html
import json
import re
import urllib.parse
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from simulator.clean import plain
from simulator.errors import InputError
from simulator.page.commands import Command, Commands, refused
from simulator.page.desk import Desk, Opened
from simulator.page.live import Live
from simulator.page.safety import MOST_BYTES, TooLargeError
from simulator.report.writing import write_atomically

_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')
_LOGOS = {".png", ".jpg", ".jpeg", ".svg"}
NOT_YET = "the answer is not decided yet; wait until the page says so"
_FIELDS = ("dealer", "price", "valid_days", "notes", "paper")


@dataclass(frozen=True)
class Study:
    """A study as the page lists it."""

    place: int
    title: str
    said: str
    words: str
    phase: str
    sentences: tuple[str, ...] = ()


class Handing:
    """Answers with what leaves the page."""

    def __init__(self, desk: Desk, live: Live, commands: Commands) -> None:
        self.desk, self.live, self.commands = desk, live, commands
        self._number = 0

    def _target(self, name: str) -> Path:
        self._number += 1
        return self.live.folder / f"{name}-{self._number}"

    def _result(self, key: str) -> Path:
        folder = self.live.result_folder(key)
        if folder is None:
            raise InputError.single(NOT_YET)
        return folder

    async def report(self, request: Request) -> Response:
        """Answer with the report of the answer as it stands, to be looked at or kept."""
        from simulator.report.html import report_page
        from simulator.report.stored import read_result

        key = request.path_params["key"]
        folder = self._result(key)
        text = await run_in_threadpool(lambda: report_page(read_result(folder)))
        name = f"{key.rpartition('/')[2]} report.html" if "save" in request.query_params else ""
        return whole_page(text, name)

    async def file(self, request: Request) -> Response:
        """Answer with the scenario's file."""
        key = request.path_params["key"]
        text = await run_in_threadpool(self.desk.store.read, key)
        name = f"{key.rpartition('/')[2]}.toml"
        return Response(text.content.encode(), media_type="application/toml", headers=saved_as(name))

    async def quote(self, request: Request) -> Response:
        """Make a quote by the command, and answer with where it is."""
        given, key = await body_of(request), request.path_params["key"]
        folder, target = self._result(key), self._target("quote").with_suffix(".pdf")
        sets = [str(one) for one in given.get("sets", [])]
        arguments = ["quote", str(folder), f"--customer={_line(given, 'customer')}", f"--out={target}"]
        arguments += [f"--equipment={one}" for one in sets]
        arguments += [f"--{name.replace('_', '-')}={_line(given, name)}" for name in _FIELDS if _line(given, name)]
        logo = await run_in_threadpool(self._logo)
        if logo is not None:
            arguments.append(f"--logo={logo}")
        command = Command("quote", arguments, target)
        await self.commands.run(command, self.live.folder)
        if command.code != 0 or not target.is_file():
            raise refused(command)
        if _line(given, "dealer"):
            await run_in_threadpool(lambda: self.desk.keep_dealer(name=_line(given, "dealer")))
        address = f"/quote/{urllib.parse.quote(key)}?file={target.name}"
        said = [line for line in command.lines if not line.startswith("quote:")]
        return JSONResponse({"address": address, "said": " ".join(said)})

    def _logo(self) -> Path | None:
        name = str(self.desk.price_list()["dealer"].get("logo", ""))
        path = self.desk.store.folder / name
        ours = bool(name) and "/" not in name and path.suffix in _LOGOS and path.is_file() and not path.is_symlink()
        return path if ours else None

    async def quote_file(self, request: Request) -> Response:
        """Answer with a quote that was made."""
        name = request.query_params.get("file", "")
        path = self.live.folder / name
        if re.fullmatch(r"quote-\d+\.pdf", name) is None or not path.is_file():
            raise InputError.single("that quote is not there any more; make it again")
        saved = f"{request.path_params['key'].replace('/', ' - ')} quote.pdf"
        return Response(await run_in_threadpool(path.read_bytes), media_type="application/pdf", headers=saved_as(saved))

    async def logo(self, request: Request) -> Response:
        """Keep the dealer's logo."""
        from simulator.report.quote_logo import read_logo

        suffix = Path(request.query_params.get("name", "")).suffix.lower()
        content = await request.body()
        if suffix not in _LOGOS or len(content) > MOST_BYTES:
            raise InputError.single("allowed is a PNG, JPEG or SVG picture of at most 1 MB", "logo")

        def keep() -> None:
            trial = self._target("logo").with_suffix(suffix)
            write_atomically(trial, content)
            read_logo(trial)
            write_atomically(self.desk.store.folder / f"logo{suffix}", content)
            self.desk.keep_dealer(logo=f"logo{suffix}")

        await run_in_threadpool(keep)
        return JSONResponse({"logo": f"logo{suffix}"})

    def studies(self, key: str) -> list[Study]:
        """Return the studies of a scenario, the latest first."""
        from simulator.report.html_study import study_sentences

        found = []
        for place, one in enumerate(self.commands.all.get(key, [])):
            phase = "running" if one.code is None else "done" if one.code == 0 else "failed"
            sentences = tuple(study_sentences(one.target)) if phase == "done" else ()
            said = " ".join(one.lines) if phase == "failed" and one.code != -1 else one.said
            found.append(Study(place, one.title, plain(said, 1000), one.words, phase, sentences))
        return found[::-1]

    async def study(self, request: Request) -> Response:
        """Begin a study in the background."""
        given, key = await body_of(request), request.path_params["key"]
        opened = await run_in_threadpool(self.desk.open, key)
        target = self._target("study")
        title, options, places = _question(opened, given)
        name = self.desk.store.path(key).name
        workers = f"--workers={self.live.workers}"
        if self.live.runs and given.get("study") != "crossover":
            options.append(f"--runs={self.live.runs}")
        arguments = [str(given["study"]), *options, workers, f"--out={target}", "--", name, *places]
        self.commands.begin(key, Command(title, arguments, target), self.desk.store.path(key).parent)
        return JSONResponse({"begun": title})

    async def study_page(self, request: Request) -> Response:
        """Answer with the page of a study that is done."""
        from simulator.report.html_study import study_page

        place = request.query_params.get("place", "")
        found = self.commands.all.get(request.path_params["key"], [])
        if not place.isdigit() or int(place) >= len(found) or found[int(place)].code != 0:
            raise InputError.single("that study is not done, or not there any more; ask again")
        target = found[int(place)].target
        text = await run_in_threadpool(study_page, target)
        return whole_page(text, "study.html" if "save" in request.query_params else "")


def whole_page(text: str, name: str = "") -> Response:
    """Answer with a page that brings its own policy, or have it saved under a name."""
    found = _POLICY.search(text)
    policy = html.unescape(found[1]) if found else "default-src 'none'"
    headers = {"content-security-policy": f"{policy}; frame-ancestors 'self'", **(saved_as(name) if name else {})}
    return HTMLResponse(text, headers=headers)


def saved_as(name: str) -> dict[str, str]:
    """Return the header by which a browser saves a file under a name."""
    ascii_name = re.sub(r"[^A-Za-z0-9 ._-]", "_", name)
    coded = urllib.parse.quote(name, safe="")
    return {"content-disposition": f"attachment; filename=\"{ascii_name}\"; filename*=UTF-8''{coded}"}


def _line(given: Mapping[str, Any], name: str) -> str:
    return plain(given.get(name, ""), 500).strip()


def _question(opened: Opened, given: Mapping[str, Any]) -> tuple[str, list[str], list[str]]:
    """Return a study's title, options and arguments from what was asked on the page."""
    kind, merged = str(given.get("study", "")), opened.checked.merged
    names = {name: opened.checked.called(name) for name in merged}

    def chosen(which: str) -> str:
        name = str(given.get(which, ""))
        if name not in names:
            raise InputError.single("got no equipment set; allowed is one of this scenario", which)
        return name

    if kind == "payoff":
        first, other = chosen("from"), chosen("to")
        if first == other:
            raise InputError.single("got the same set twice; allowed are two that differ", "to")
        return f"Does {names[other]} pay, instead of {names[first]}?", [f"--from={first}", f"--to={other}"], []
    if kind == "size":
        name, target, kinds = chosen("from"), _line(given, "target"), ("acres-per-day", "within", "season-acres")
        if given.get("kind") not in kinds:
            raise InputError.single("got another kind of target; allowed is one of the list", "kind")
        options = [f"--{given['kind']}={target}", *([f"--from={name}"] if name else [])]
        options += [f"--choose={one}" for one in _choices(merged[name], given)]
        return f"Which set like {names[name]} reaches {target}?", options, []
    if kind == "crossover":
        first, other = chosen("from"), chosen("to")
        sizes, rates = _line(given, "sizes"), _line(given, "rates")
        options = [*([f"--sizes={sizes}"] if sizes else []), *([f"--rates={rates}"] if rates else [])]
        options += ["--runs=8", "--most-runs=32"]
        return f"Where does {names[first]} win, where {names[other]}?", options, [first, other]
    raise InputError.single("the page asked a question that is not known")


def _choices(merged: Mapping[str, Any], given: Mapping[str, Any]) -> list[str]:
    """Return what a sizing may choose among: packs and chargers of every rig, within the numbers given."""
    ranges = {}
    for name in ("packs", "chargers"):
        low, high = _line(given, f"{name}_from"), _line(given, f"{name}_to")
        if not (low.isdigit() and high.isdigit() and 1 <= int(low) <= int(high) <= 20):
            raise InputError.single("allowed are whole numbers from 1 to 20, the lower one first", f"{name}_from")
        ranges[name] = f"{low}..{high}" if low != high else low
    used = merged.get("rigs_used") or list(merged["rig"])
    found = []
    for rig in used:
        table = merged["rig"][rig]
        found += [f"rig.{rig}.packs.{one}={ranges['packs']}" for one, count in table["packs"].items() if count]
        for point_name, point in table["power"].items():
            place = f"rig.{rig}.power.{point_name}.chargers"
            found += [f"{place}.{one}={ranges['chargers']}" for one, count in point["chargers"].items() if count]
    return found


async def body_of(request: Request) -> dict[str, Any]:
    """Return the JSON table that a request brings."""
    content = await request.body()
    if len(content) > MOST_BYTES:
        raise TooLargeError
    try:
        found = json.loads(content)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise InputError.single("the page sent something that is not known")
    return found
