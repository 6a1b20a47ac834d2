"""What a quote says, before any layout: price and days, what they rest on, fields, equipment, assumptions, cautions."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from simulator.analysis.digits import fixed
from simulator.errors import InputError
from simulator.plan.day_plan import DayPlan
from simulator.report.answer import answer_lines
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.job_text import days_text, finish_text, warning_text
from simulator.report.numbers import (
    NOTHING,
    clock_text,
    count_text,
    hours_text,
    shown_name,
    units_of,
)
from simulator.report.practice import practitioner_lines
from simulator.report.quote_equipment import Offered, Pair, assumption_lines, equipment_table, money, weather_words
from simulator.report.quote_fields import field_tables, outlines
from simulator.report.quote_logo import Logo
from simulator.report.stored import StoredResult
from simulator.report.summary import report_title
from simulator.report.table import DataTable, text_row
from simulator.report.tables import amounts_table
from simulator.report.writing import plain

_MOST_LEFT_OUT = 40
_OF_LOADS = "Of one load, by mean times and without waiting."
_OTHERS = "All other numbers stand with the simulation's result and are given on request."
_LEAVE = "What is simulated is not thereby allowed: the product label, local codes and licensed practice decide."
Document = Mapping[str, Any]


@dataclass(frozen=True)
class Asked:
    """What a quote is asked to say besides the result; the price is of an acre, or of a hectare on a metric sheet."""

    customer: str
    dealer: str = ""
    price: float | None = None
    valid_days: int = 30
    notes: str = ""
    paper: str = ""
    today: datetime.date | None = None
    logo: Logo | None = None

    def __post_init__(self) -> None:
        if not plain(self.customer):
            raise InputError.single("got no name; allowed is the customer's name", "--customer")
        if self.price is not None and not 0.0 <= self.price <= 1e9:
            raise InputError.single(f"got {self.price}; allowed is a price from 0 to 1e9", "--price")


@dataclass(frozen=True)
class Section:
    """A part of a quote: paragraphs, points of a list, tables, and the map of the fields where it is asked for."""

    title: str
    lines: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    tables: tuple[DataTable, ...] = ()
    has_map: bool = False


@dataclass(frozen=True)
class QuoteContent:
    """A quote's text, each already one clean line or paragraph."""

    customer: str
    dealer: str
    subject: str
    dates: str
    price: tuple[str, ...]
    answers: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    outlines: Sequence[Mapping[str, Any]]
    map_words: str
    made_by: str
    made: datetime.date
    paper: str
    logo: Logo | None


def quote_content(stored: StoredResult, plans: Mapping[str, DayPlan], asked: Asked) -> QuoteContent:
    """Return what a quote says of some equipment sets of a result, given their plans."""
    document, first = _of_sets(stored.document, plans), next(iter(plans.values()))
    shown, tables = units_of(document), stored.manifest["resolved"]
    entries = {entry["name"]: entry for entry in document["equipment_sets"]}
    sets = [
        Offered(shown_name(entries[name], 200), plan, tables[name], entries[name], shown)
        for name, plan in plans.items()
    ]
    made = asked.today or datetime.date.today()
    rings, map_words = outlines(first)

    def of_each(words: Callable[[Offered], Sequence[Pair]]) -> tuple[DataTable]:
        return (_side_by_side({one.name: words(one) for one in sets}),)

    sections = [
        Section("", tables=of_each(lambda one: _pace(document, one))),
        Section("What these figures rest on", (_basis(document, sets), SIMULATION_NOTE)),
        Section("Fields", tuple(_left_out(document)), tables=tuple(field_tables(sets)), has_map=True),
        Section("Equipment", tables=tuple(map(equipment_table, sets))),
        Section("Notes", (plain(asked.notes, 4000),)),
        Section("What to check first", (_OF_LOADS,), tables=tuple(_checks(sets))),
        Section("What was assumed", (_OTHERS,), tables=of_each(assumption_lines)),
        Section("Cautions", (_LEAVE, *([INVENTED_NOTE] if first.scenario.invented else [])), CAUTIONS),
    ]
    return QuoteContent(
        customer=plain(asked.customer, 120),
        dealer=plain(asked.dealer, 120),
        subject=plain(report_title(document, stored.manifest), 200),
        dates=f"{made}, valid until {made + datetime.timedelta(days=asked.valid_days)}",
        price=tuple(_prices(document, sets, asked)),
        answers=tuple(answer_lines(document)),
        sections=tuple(one for one in sections if any((*one.lines, one.points, one.tables))),
        outlines=rings,
        map_words=map_words,
        made_by=_made_by(stored),
        made=made,
        paper=asked.paper or ("a4" if shown.name == "metric" else "letter"),
        logo=asked.logo,
    )


def _of_sets(document: Document, names: Iterable[str]) -> dict[str, Any]:
    """Return the document of some sets alone, without what the work costs who does it; digits stay those of all."""
    chosen = set(names)
    sets = [
        {**one, "job": one.get("job") and {**one["job"], "cost_per_acre": None}}
        for one in document["equipment_sets"]
        if one["name"] in chosen
    ]
    return {
        **document,
        "equipment_sets": sets,
        "all_sets": document["equipment_sets"],
        "paired": [one for one in document.get("paired") or [] if {one["a"], one["b"]} <= chosen],
    }


def _side_by_side(by_set: Mapping[str, Sequence[Pair]]) -> DataTable:
    """Return what is said of each set as a table: a row for each thing that is said of any, a column a set."""
    said = {name: dict(pairs) for name, pairs in by_set.items()}
    labels = dict.fromkeys(label for pairs in by_set.values() for label, _ in pairs)
    rows = tuple(text_row(label, *(pairs.get(label, NOTHING) for pairs in said.values())) for label in labels)
    return DataTable("", ("", *said), rows, words=1 + len(said))


def _by_set(sets: Sequence[Offered], words: Callable[[Offered], str]) -> Iterable[str]:
    """Yield what is said of each set, with its name where they differ in it."""
    said = {one.name: plain(words(one), 4000) for one in sets}
    if len(set(said.values())) == 1:
        return {*said.values()}
    return [f"{name}: {text}" for name, text in said.items()]


def _days(one: Offered) -> float | None:
    """Return the work days of the whole list: simulated, or at the pace of a set that goes through it again."""
    if one.plan.scenario.work == "once":
        return one.entry["job"]["work_days"]["mean"] if one.entry.get("job") else None
    pace = one.entry[one.shown.spread_key]["mean"]
    return one.area / pace if pace > 0.0 else None


def _prices(document: Document, sets: Sequence[Offered], asked: Asked) -> Iterable[str]:
    """Yield the price of the work on all fields."""

    def price(one: Offered) -> str:
        costs, area = one.plan.scenario.costs, f"{count_text(one.area)} {one.shown.area}"
        job, currency = f"{area} in {len(one.plan.fields)} fields", costs.currency if costs else "$"
        each = asked.price
        if each is None and costs is not None and costs.price_per_acre is not None:
            each = costs.price_per_acre / one.shown.per_acre
        if warning_text(document, one.entry).startswith("CANNOT"):
            return f"{job}: no price, as the set cannot do the job."
        if each is not None:
            total, per_area = money(each * one.area, currency), money(each, currency, 2)
            return (
                f"{job}: {total}, at {per_area} for each {one.shown.area_one}, for the work, without product and taxes."
            )
        days, hours = _days(one), one.entry["per_day"].get("paid_hours")
        if costs is None or costs.price_per_hour is None or days is None or hours is None:
            return f"{job}: price to be agreed."
        total, hourly = money(costs.price_per_hour * days * hours, currency), money(costs.price_per_hour, currency, 2)
        return f"{job}: about {total}, at {hourly} for each paid hour, for the work, without product and taxes."

    return _by_set(sets, price)


def _pace(document: Document, one: Offered) -> list[Pair]:
    """Return work days and when the job is done."""
    job, days = one.entry.get("job") or {}, _days(one)
    if one.plan.scenario.work == "once" and job.get("work") == "once":
        rows = [("work days for the job", days_text(document, one.entry, interval=False))]
        for name, words in (("p50", "done in half of the runs by"), ("p90", "done in nine runs of ten by")):
            finish = job["finish"][name]
            rows.append((words, finish_text(document, finish, "{time} on work day {day}") if finish else "not done"))
    else:
        rows = [("work days for the job", "unknown" if days is None else f"about {fixed(days, 1)}, at this pace")]
    return [
        *rows,
        ("hours of a day, from leaving the yard to being back", hours_text(one.entry["per_day"].get("paid_hours"))),
    ]


def _checks(sets: Sequence[Offered]) -> Iterable[DataTable]:
    """Yield what a practitioner checks first of every set."""
    found = amounts_table([(one.name, practitioner_lines(one.plan)) for one in sets])
    return [replace(found, title="")] if found else []


def _left_out(document: Document) -> Iterable[str]:
    for text in (document.get("skipped") or [])[:_MOST_LEFT_OUT]:
        yield f"Left out: {plain(text, 400)}"


def _basis(document: Document, sets: Sequence[Offered]) -> str:
    """Return what every figure rests on."""
    plan, runs = sets[0].plan, " and ".join(map(str, sorted({one.entry["runs"] for one in sets})))
    start_s, stopped = plan.scenario.day.start, document.get("stopped")
    return (
        f"{runs} simulated runs of the work on the fields listed below, at their rates; work days from"
        f" {clock_text(start_s)}, last landing {clock_text(start_s + plan.last_landing_s)}; weather stops:"
        f" {weather_words(plan)}.{f' Stopped early: {plain(stopped, 400)}.' if stopped else ''}"
    )


def _made_by(stored: StoredResult) -> str:
    manifest = stored.manifest
    words = [f"acreday {plain(manifest.get('acreday_version', '?'), 20)}", f"seed {stored.document['seed']}"]
    words += [f"scenario {plain(manifest['scenario_sha256'], 13)}"] if manifest.get("scenario_sha256") else []
    words += [f"simulated {plain(manifest['created'][:10])}"] if manifest.get("created") else []
    return "; ".join(words)
