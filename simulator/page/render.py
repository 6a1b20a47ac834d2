"""The page's own templates, filled beside those of the report, whose tables and figures they use."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader
from markupsafe import Markup

from simulator.page.live import Answer
from simulator.report.answer import answer_lines
from simulator.report.html_page import asset, clean, environment
from simulator.report.job_table import job_table
from simulator.report.job_text import hold_text
from simulator.report.numbers import shown_name, units_of
from simulator.report.quote_equipment import money
from simulator.report.ranking import best_first, one_more
from simulator.report.tables import answer_table

STATIC = {"page.css": "text/css", "page.js": "text/javascript"}


@cache
def _environment() -> Environment:
    own = PackageLoader("simulator.page", "templates")
    loader = environment().loader
    return environment().overlay(loader=ChoiceLoader([own, *([loader] if loader else [])]))


@cache
def static(name: str) -> str:
    """Return a file that pages load: the report's style with the page's own after it, or the script."""
    text = resources.files("simulator.page").joinpath("templates", name).read_text(encoding="utf-8")
    return asset("report.css") + text if name == "page.css" else text


@cache
def _macros() -> dict[str, Any]:
    """Return what templates are made of, for blocks that are filled alone see no imports."""
    found = [vars(_environment().get_template(name).module) for name in ("parts.html.j2", "frame.html.j2")]
    return {name: value for one in found for name, value in one.items() if not name.startswith("_")}


def page(template: str, **context: Any) -> str:
    """Return a page."""
    return _environment().get_template(template).render(**_macros(), **context)


def parts(template: str, **context: Any) -> dict[str, str]:
    """Return every block of a page by its name, to be put in the place of the old one."""
    found = _environment().get_template(template)
    inner = found.new_context({**_macros(), **context, "inner": True})
    return {name: "".join(block(inner)) for name, block in found.blocks.items()}


def answer_html(answer: Answer) -> Markup:
    """Return what is known of the answer, in the words of the report."""
    document = None if answer.document is None else clean(answer.document)
    sets: list[Mapping[str, Any]] = [] if document is None else [entry for _, entry in best_first(document)]
    filled = page(
        "answer.html.j2",
        answer=answer,
        lines=[] if document is None else answer_lines(document),
        costs=[] if document is None else [(shown_name(entry), text) for entry in sets if (text := job_cost(entry))],
        holds=[(shown_name(entry), hold_text(entry)) for entry in sets],
        days=None if document is None else answer_table(document),
        job=None if document is None else job_table(document, chances=False),
    )
    return Markup(filled)


def more_html(answer: Answer) -> Markup:
    """Return what one more of each would add, with buttons that make sets of it; nothing until it is known."""
    found = _more(clean(answer.document)) if answer.document is not None and answer.final and not answer.old else []
    return Markup(page("more.html.j2", more=found))


def job_cost(entry: Mapping[str, Any]) -> str:
    """Return what the whole job costs a set; empty without prices."""
    job = entry.get("job") or {}
    cost = job.get("cost_per_acre")
    if not cost or job.get("work") != "once":
        return ""
    return money(cost["mean"] * job["list_acres"], job.get("currency", "$"))


def _more(document: Mapping[str, Any]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return what one more of each adds, by set, with what a new set of it is made of."""
    area, found = units_of(document).area, []
    said = dict(one_more(document))
    for _, entry in best_first(document):
        settings = {one["change"]: one["setting"] for one in entry["bottleneck"].get("one_more") or []}
        buttons = [
            {"words": one.name, "adds": f"{one.text} {area} a day", "verdict": one.verdict, "set": entry["name"],
             "settings": settings.get(one.name, "").split(" ")}
            for one in said.get(shown_name(entry), [])
            if one.name in settings
        ]  # fmt: skip
        if buttons:
            found.append((shown_name(entry), buttons))
    return found


def charts_html(folder: Path) -> str:
    """Return the answer chart of a finished result, days and cost, as the report has them."""
    from simulator.report.html import answer_figures
    from simulator.report.stored import read_result

    return page("charts.html.j2", figures=answer_figures(read_result(folder)))
