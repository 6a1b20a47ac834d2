"""The answer in one plain sentence a set, best first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simulator.report.day_output import bad_text
from simulator.report.job_text import cost_text, days_text, warning_text
from simulator.report.numbers import shown_name, units_of
from simulator.report.ranking import Interval, ahead, all_sets, best_first, leaders
from simulator.report.tables import area_texts

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
    most = [entry for entry in leaders(document) if entry in ranked] or ranked[:1]
    least = [cheapest] if high is not None and low is not None and high < low else [cheapest, runner_up]
    most_text, least_text = (" or ".join(map(shown_name, one)) for one in (most, least))
    words = f"Most {shown.area} a day", f"least cost for each {shown.area_one}"
    if most_text == least_text:
        return f"{words[0]} and {words[1]}: {most_text}."
    return f"{words[0]}: {most_text}. {words[1].capitalize()}: {least_text}."


def _answer(document: Document, entry: Document, other: Document | None) -> str:
    shown, warning, texts = units_of(document), warning_text(document, entry), area_texts(document, entry)
    if warning.startswith("CANNOT"):
        return warning
    text = f"{texts['mean']} {shown.area} a day ({bad_text(all_sets(document), texts)})"
    text += f", {step_text(document, entry, other)}" if other is not None else ""
    job = entry.get("job") or {}
    if job.get("work") == "once" and job.get("work_days"):
        text += f". The job takes {days_text(document, entry, interval=False)} work days"
        text += (
            f" and costs {cost_text(document, entry, interval=False)} for each {shown.area_one}"
            if job.get("cost_per_acre")
            else ""
        )
    return f"{text}. {warning}".rstrip()


def step_text(document: Document, entry: Document, other: Document) -> str:
    """Return how much more a set does than the next, or that this cannot be told, and what speaks for it then."""
    difference = ahead(document, entry, other)
    return lead_text(difference, shown_name(other)) + (
        ", and costs less" if difference is None and costs_less(entry, other) else ""
    )


def lead_text(difference: Interval | None, other: str) -> str:
    """Return a difference from another set in words; None is one that cannot be told or does not matter."""
    if difference is None:
        return f"hardly told apart from {other}"
    return f"{difference.amount} {'more' if difference.value > 0.0 else 'fewer'} than {other}"


def costs_less(entry: Document, other: Document) -> bool:
    """Tell whether both sets have a cost per acre, and the first one's is less."""
    mine, others = ((one.get("job") or {}).get("cost_per_acre") for one in (entry, other))
    return bool(mine and others and mine["mean"] < others["mean"])
