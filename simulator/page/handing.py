"""What is handed over: report, quote and file, and the studies; made by the commands themselves."""

from __future__ import annotations

import re
import urllib.parse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.responses import JSONResponse, Response

from simulator.clean import plain
from simulator.errors import InputError
from simulator.page.asked import Asked, saved_as, whole_page
from simulator.page.commands import Command, Commands, refused
from simulator.page.desk import Desk, Opened
from simulator.page.live import Live
from simulator.page.safety import MOST_BYTES
from simulator.report.writing import write_atomically

LOGOS = (".png", ".jpg", ".jpeg", ".svg")
NOT_YET = "the answer is not decided yet; wait until the page says so"
_ASKED = ("customer", "dealer", "price", "valid_days", "notes", "paper")
_TARGETS = ("acres-per-day", "within", "season-acres")


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

    def report(self, asked: Asked) -> Response:
        """Answer with the report of the answer as it stands, to be looked at or kept."""
        from simulator.report.html import report_page
        from simulator.report.stored import read_result

        text = report_page(read_result(self._result(asked.key)))
        return whole_page(text, f"{asked.key.rpartition('/')[2]} report.html" if "save" in asked.query else "")

    def file(self, asked: Asked) -> Response:
        """Answer with the scenario's file."""
        content = self.desk.store.read(asked.key).content.encode()
        headers = saved_as(f"{asked.key.rpartition('/')[2]}.toml")
        return Response(content, media_type="application/toml", headers=headers)

    def quote(self, asked: Asked) -> Response:
        """Make a quote by the command, and answer with where it is."""
        given, folder, target = asked.table, self._result(asked.key), self._target("quote").with_suffix(".pdf")
        arguments = ["quote", str(folder), f"--out={target}", *(f"--equipment={one}" for one in given.get("sets", []))]
        arguments += [f"--{name.replace('_', '-')}={_line(given, name)}" for name in _ASKED if _line(given, name)]
        logo = self.desk.store.folder / str(self.desk.price_list()["dealer"].get("logo", ""))
        if logo.name.startswith("logo.") and logo.parent == self.desk.store.folder and logo.resolve() == logo:
            arguments += [f"--logo={logo}"] if logo.is_file() else []
        command = Command("quote", arguments, target)
        self.commands.run(command, self.live.folder)
        if command.code != 0 or not target.is_file():
            raise refused(command)
        if _line(given, "dealer"):
            self.desk.keep_dealer(name=_line(given, "dealer"))
        said = [line for line in command.lines if not line.startswith(("quote:", "waiting"))]
        address = f"/quote/{urllib.parse.quote(asked.key)}?file={target.name}"
        return JSONResponse({"address": address, "said": " ".join(said)})

    def quote_file(self, asked: Asked) -> Response:
        """Answer with a quote that was made."""
        name = asked.query.get("file", "")
        path = self.live.folder / name
        if re.fullmatch(r"quote-\d+\.pdf", name) is None or not path.is_file():
            raise InputError.single("that quote is not there any more; make it again")
        headers = saved_as(f"{asked.key.replace('/', ' - ')} quote.pdf")
        return Response(path.read_bytes(), media_type="application/pdf", headers=headers)

    def logo(self, asked: Asked) -> Response:
        """Keep the dealer's logo, once the quote's own reader has taken it."""
        from simulator.report.quote_logo import read_logo

        suffix = Path(asked.query.get("name", "")).suffix.lower()
        if suffix not in LOGOS or len(asked.content) > MOST_BYTES:
            raise InputError.single("allowed is a PNG, JPEG or SVG picture of at most 1 MB", "logo")
        trial = self._target("logo").with_suffix(suffix)
        write_atomically(trial, asked.content)
        read_logo(trial)
        write_atomically(self.desk.store.folder / f"logo{suffix}", asked.content)
        self.desk.keep_dealer(logo=f"logo{suffix}")
        return JSONResponse({"logo": f"logo{suffix}"})

    def studies(self, key: str) -> list[dict[str, Any]]:
        """Return the studies of a scenario as the page lists them, the latest first."""
        from simulator.report.html_study import study_sentences

        phases = {None: "running", 0: "done"}
        found = [
            {
                "place": place, "title": one.title, "words": one.words, "phase": phases.get(one.code, "failed"),
                "said": plain(" ".join(one.lines) if one.code else one.lines[-1], 1000),
                "sentences": study_sentences(one.target) if one.code == 0 else [],
            }
            for place, one in enumerate(self.commands.all.get(key, []))
        ]  # fmt: skip
        return found[::-1]

    def study(self, asked: Asked) -> Response:
        """Begin a study in the background."""
        opened, given, target = self.desk.open(asked.key), asked.table, self._target("study")
        title, options, places = _question(opened, given)
        if self.live.runs and given["study"] != "crossover":
            options.append(f"--runs={self.live.runs}")
        path = self.desk.store.path(asked.key)
        arguments = [given["study"], *options, f"--workers={self.live.workers}", f"--out={target}", "--", path.name]
        self.commands.begin(asked.key, Command(title, [*arguments, *places], target), path.parent)
        return JSONResponse({"begun": title})

    def study_page(self, asked: Asked) -> Response:
        """Answer with the page of a study that is done."""
        from simulator.report.html_study import study_page

        place, found = asked.query.get("place", ""), self.commands.all.get(asked.key, [])
        if not place.isdecimal() or int(place) >= len(found) or found[int(place)].code != 0:
            raise InputError.single("that study is not done, or not there any more; ask again")
        return whole_page(study_page(found[int(place)].target), "study.html" if "save" in asked.query else "")


def _line(given: Mapping[str, Any], name: str) -> str:
    return plain(given.get(name, ""), 500).strip()


def _question(opened: Opened, given: Mapping[str, Any]) -> tuple[str, list[str], list[str]]:
    """Return a study's title, options and arguments from what was asked on the page."""
    kind, names = given.get("study"), {name: opened.checked.called(name) for name in opened.checked.merged}
    first, other = str(given.get("from", "")), str(given.get("to", given.get("from", "")))
    for which, name in (("from", first), ("to", other)):
        if name not in names:
            raise InputError.single("got no equipment set; allowed is one of this scenario", which)
    if kind in ("payoff", "crossover") and first == other:
        raise InputError.single("got the same set twice; allowed are two that differ", "to")
    if kind == "payoff":
        return f"Does {names[other]} pay, instead of {names[first]}?", [f"--from={first}", f"--to={other}"], []
    if kind == "crossover":
        options = [f"--{name}={_line(given, name)}" for name in ("sizes", "rates") if _line(given, name)]
        title = f"Where does {names[first]} win, where {names[other]}?"
        return title, [*options, "--runs=8", "--most-runs=32"], [first, other]
    target = _line(given, "target")
    if kind == "size" and given.get("kind") in _TARGETS:
        options = [f"--{given['kind']}={target}", *([f"--from={first}"] if first else [])]
        options += [f"--choose={one}" for one in _choices(opened.checked.merged[first], given)]
        return f"Which set like {names[first]} reaches {target}?", options, []
    raise InputError.single("the page asked a question that is not known")


def _choices(merged: Mapping[str, Any], given: Mapping[str, Any]) -> list[str]:
    """Return what a sizing may choose among: packs and chargers of every rig, within the numbers given."""
    ranges = {}
    for name in ("packs", "chargers"):
        low, high = _line(given, f"{name}_from"), _line(given, f"{name}_to")
        if not (low.isdecimal() and high.isdecimal() and 1 <= int(low) <= int(high) <= 20):
            raise InputError.single("allowed are whole numbers from 1 to 20, the lower one first", f"{name}_from")
        ranges[name] = f"{low}..{high}" if low != high else low
    found = []
    for rig in merged.get("rigs_used") or merged["rig"]:
        table, place = merged["rig"][rig], f"rig.{rig}"
        counted = {f"{place}.packs.{one}={ranges['packs']}": count for one, count in table["packs"].items()}
        for name, point in table["power"].items():
            at = f"{place}.power.{name}.chargers"
            counted |= {f"{at}.{one}={ranges['chargers']}": count for one, count in point["chargers"].items()}
        found += [key for key, count in counted.items() if count]
    return found
