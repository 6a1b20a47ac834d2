"""The rank of equipment sets, each compared with the next, and what changes to them would add."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from simulator.analysis.digits import fixed
from simulator.experiment.deciding import ALIKE
from simulator.report.day_output import finest_decimals
from simulator.report.numbers import NOTHING, range_text, share_text, shared_decimals, shown_name, units_of
from simulator.report.writing import plain

Document = Mapping[str, Any]
Limits = Sequence[float | None]
_NOT_TOLD = "not told apart from nothing"


@dataclass(frozen=True)
class Interval:
    """A named value with its interval, in the report's unit."""

    name: str
    value: float
    limits: Limits
    note: str = ""
    path: str = ""
    finest: int = 9

    @property
    def text(self) -> str:
        """The value with its sign and its interval."""
        return range_text(self.value, self.limits, sign=True, finest=self.finest)

    @property
    def amount(self) -> str:
        """The value without sign and interval."""
        decimals = shared_decimals([self.limits], self.finest)
        own = decimals if round(abs(self.value), decimals) else shared_decimals([self.limits])
        return fixed(abs(self.value), own)

    @property
    def verdict(self) -> str:
        """What can be said of it beyond doubt."""
        low, high = self.limits
        if low is not None and low > 0.0:
            return "adds"
        return "takes away" if high is not None and high < 0.0 else _NOT_TOLD


def best_first(document: Document) -> list[tuple[int, Mapping[str, Any]]]:
    """Return place and entry of each equipment set, what gets most done first; sets alike in that by their cost."""
    return [one for group in _alike(document) for one in group]


def called_sets(document: Document) -> dict[str, str]:
    """Return what people are shown for each set, by its name and best first; the names where labels are alike."""
    called = {entry["name"]: shown_name(entry) for _, entry in best_first(document)}
    return called if len(set(called.values())) == len(called) else {name: name for name in called}


def leaders(document: Document) -> list[Mapping[str, Any]]:
    """Return the sets that get most done, as far as can be told and matters."""
    return [entry for _, entry in _alike(document)[0]]


def _alike(document: Document) -> list[list[tuple[int, Mapping[str, Any]]]]:
    """Return groups of sets that cannot be told apart from the first of each, or do about the same."""
    groups: list[list[tuple[int, Mapping[str, Any]]]] = []
    for one in sorted(enumerate(document["equipment_sets"]), key=lambda one: -one[1]["acres_per_day"]["mean"]):
        first = groups[-1][0][1] if groups else None
        if first and _pair(document, first, one[1]) and not ahead(document, first, one[1]):
            groups[-1].append(one)
        else:
            groups.append([one])
    for group in groups:
        costs = [(entry.get("job") or {}).get("cost_per_acre") for _, entry in group]
        if all(costs):
            group.sort(key=lambda one: float(one[1]["job"]["cost_per_acre"]["mean"]))
    return groups


def ahead(document: Document, entry: Document, other: Document) -> Interval | None:
    """Return by how much a set is ahead of, or behind, another on the same draws; None when in doubt or too little."""
    pair = _pair(document, entry, other)
    if pair is None or pair.verdict == _NOT_TOLD:
        return None
    little = ALIKE * entry["acres_per_day"]["mean"] * units_of(document).per_acre
    return None if None in pair.limits or max(map(abs, pair.limits)) < little else pair  # type: ignore[arg-type]


def _pair(document: Document, entry: Document, other: Document) -> Interval | None:
    """Return by how much a set is ahead of another; None where they were not compared."""
    factor, shown = units_of(document).per_acre, units_of(document)
    for pair in document.get("paired") or []:
        if {pair["a"], pair["b"]} == {entry["name"], other["name"]}:
            sign, wins = (1.0, pair["a_wins_share"]) if pair["a"] == entry["name"] else (-1.0, 1 - pair["a_wins_share"])
            limits = scaled(pair["ci95"][:: int(sign)], sign * factor)
            finest = finest_decimals(all_sets(document), shown)
            name = f"{shown_name(entry)} over {shown_name(other)}"
            return Interval(name, sign * pair["difference"] * factor, limits, share_text(wins), finest=finest)
    return None


def scaled(limits: Limits, factor: float) -> list[float | None]:
    """Return the limits of an interval in another unit."""
    return [None if limit is None else limit * factor for limit in limits]


def all_sets(document: Document) -> Sequence[Mapping[str, Any]]:
    """Return the sets of the whole result, of which a document may show some."""
    found: Sequence[Mapping[str, Any]] = document.get("all_sets") or document["equipment_sets"]
    return found


def paired(document: Document) -> list[Interval]:
    """Return each set compared with the next in rank on the same draws."""
    ranked = [entry for _, entry in best_first(document)]
    return [found for pair in pairwise(ranked) if (found := _pair(document, *pair))]


def one_more(document: Document) -> list[tuple[str, list[Interval]]]:
    """Return what one more, or one larger, of each adds, by set, best sets first and what adds most first."""
    factor, groups = units_of(document).per_acre, []
    finest = finest_decimals(all_sets(document), units_of(document))
    for place, entry in best_first(document):
        changes = enumerate(entry["bottleneck"].get("one_more") or [])
        path = f"equipment_sets.{place}.bottleneck.one_more"
        found = [
            Interval(plain(one["change"]), one["acres_per_day"] * factor, scaled(one["ci95"], factor),
                     str(one.get("runs", NOTHING)), f"{path}.{number}.acres_per_day", finest)
            for number, one in changes
        ]  # fmt: skip
        if found:
            groups.append((shown_name(entry), sorted(found, key=lambda one: -one.value)))
    return groups
