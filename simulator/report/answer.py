"""The answer in one plain sentence a set, best first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simulator.analysis.digits import fixed, supported_decimals
from simulator.report.day_output import day_spread
from simulator.report.job_text import cost_text, warning_text
from simulator.report.numbers import half_width, mean_text, quantile_text, range_text, shown_name, units_of
from simulator.report.tables import Interval, best_first, paired

Document = Mapping[str, Any]


def answer_lines(document: Document) -> list[tuple[str, str]]:
    """Return the name of each set and its answer: output, a bad day, the step to the next, the job.

    Best first, but before all those that cannot do the job, or not all of it.
    """
    ranked = [entry for _, entry in best_first(document)]
    found = [
        (warning_text(document, entry) == "", shown_name(entry), _answer(document, entry, other))
        for entry, other in zip(ranked, [*ranked[1:], None], strict=True)
    ]
    return [(name, text) for _, name, text in sorted(found, key=lambda one: one[0])]


def verdict_text(document: Document) -> str:
    """Return which set gets most done and which costs least; empty where there is nothing to choose, or no prices."""
    ranked = [entry for _, entry in best_first(document) if not warning_text(document, entry)]
    priced = [entry for entry in ranked if (entry.get("job") or {}).get("cost_per_acre")]
    if len(priced) < 2 or len(priced) < len(ranked):
        return ""
    cheapest, runner_up = sorted(priced, key=lambda entry: float(entry["job"]["cost_per_acre"]["mean"]))[:2]
    high, low = cheapest["job"]["cost_per_acre"]["ci95"][1], runner_up["job"]["cost_per_acre"]["ci95"][0]
    shown = units_of(document)
    most = [ranked[0]] if _pair(document, *ranked[:2]) else ranked[:2]
    least = [cheapest] if high is not None and low is not None and high < low else [cheapest, runner_up]
    most_text, least_text = (" or ".join(map(shown_name, one)) for one in (most, least))
    words = f"Most {shown.area} a day", f"least cost for each {shown.area_one}"
    if most_text == least_text:
        return f"{words[0]} and {words[1]}: {most_text}."
    return f"{words[0]}: {most_text}. {words[1].capitalize()}: {least_text}."


def _answer(document: Document, entry: Document, other: Document | None) -> str:
    shown, warning = units_of(document), warning_text(document, entry)
    if warning.startswith("CANNOT"):
        return warning
    spread = day_spread(entry, shown)
    bad = f" (a bad day {quantile_text(spread, 'p10')})" if spread["p10"] < spread["mean"] else ""
    text = f"{_whole(spread['mean'], spread['ci95'])} {shown.area} a day{bad}"
    if other is not None:
        pair = _pair(document, entry, other)
        name = shown_name(other)
        text += f", {_whole(pair.value, pair.limits)} more than {name}" if pair else f", hardly told apart from {name}"
    job = entry.get("job") or {}
    days = job.get("work_days")
    if job.get("work") == "once" and days:
        text += f". The job takes {mean_text(days['mean'], days['ci95'])} work days"
        text += f" and costs {cost_text(job, shown)} for each {shown.area_one}" if job.get("cost_per_acre") else ""
    return f"{text}. {warning}".rstrip()


def step_text(document: Document, entry: Document, other: Document) -> str:
    """Return how much more a set does than the next, or that this cannot be told."""
    pair, name = _pair(document, entry, other), shown_name(other, 40)
    return f"{range_text(pair.value, pair.limits)} more than {name}." if pair else f"Hardly told apart from {name}."


def _pair(document: Document, entry: Document, other: Document) -> Interval | None:
    """Return by how much a set is ahead of another on the same draws; None when that is in doubt."""
    name = f"{shown_name(entry)} over {shown_name(other)}"
    return next((one for one in paired(document) if one.name == name and one.verdict == "adds"), None)


def _whole(mean: float, limits: Any) -> str:
    """Return a number in whole units, or coarser where its interval supports no more."""
    half = half_width(limits)
    return mean_text(mean, None) if half is None else fixed(mean, min(0, supported_decimals(half)))
