"""What the simulated runs of one equipment set say: estimates with intervals, and what holds it back."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck, OneMore, judge
from simulator.analysis.resources import label as state_label
from simulator.analysis.resources import resource_names, time_labels
from simulator.analysis.summary import place_of
from simulator.experiment.document import as_json
from simulator.experiment.estimates import Interval, mean_interval, quantile_interval, ratio_interval
from simulator.experiment.tables import StoredRows
from simulator.operation.log import Reason, State
from simulator.scenario.power_balance import power_balances
from simulator.scenario.schema import Scenario
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE, area_unit

ACRES_PER_HECTARE = M2_PER_HECTARE / M2_PER_ACRE
PER_DAY = (
    "sorties", "loads", "pack_swaps", "charge_cycles", "generator_fuel_l", "energy_kwh", "paid_hours", "crew_hours",
    "field_hours", "applied", "mixed", "left_over", "overspray", "moves", "drive_km", "fields_finished",
    "water_fetched_l", "out_of_reach_acres",
)  # fmt: skip
_ABSENT = tuple(
    state_label(State.WAIT, reason) for reason in (Reason.WEATHER, Reason.BREAK, Reason.DAY_END, Reason.NOT_NEEDED)
)
_NOT_THERE = {one for one in time_labels() if one in _ABSENT or one.startswith(f"{State.MOVE}: ")}
FRAME_ROWS = 1024
"""Rows in each part of a table that is made part by part."""


@dataclass(frozen=True)
class SetResult:
    """The runs of one equipment set: replications in ascending order, and a row of numbers each."""

    name: str
    replications: NDArray[np.int64]
    stored: NDArray[np.float64] | StoredRows
    """Shape (runs, len(columns())); a `StoredRows` reads them from disk when asked."""
    scenario: Scenario
    one_more: tuple[OneMore, ...] = ()
    """Worth of one more of each; empty when not asked."""
    list_acres: float = math.nan
    unreached: tuple[str, ...] = ()
    """Fields of which some place is out of reach of every charge."""
    _known: dict[str, tuple[float, float]] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def runs(self) -> int:
        """Number of simulated runs."""
        return len(self.stored)

    @property
    def rows(self) -> NDArray[np.float64]:
        """All rows, shape (runs, len(columns())), made when asked: 0.6 kB a run."""
        return self.stored if isinstance(self.stored, np.ndarray) else self.stored.rows()

    def parts(self, size: int = FRAME_ROWS) -> Iterator[tuple[NDArray[np.int64], NDArray[np.float64]]]:
        """Yield replications and their rows in order, at most ``size`` at a time."""
        stored = self.stored
        rows = (
            (stored[start : start + size] for start in range(0, self.runs, size))
            if isinstance(stored, np.ndarray)
            else stored.chunks(size)
        )
        for start, part in zip(range(0, self.runs, size), rows, strict=True):
            yield self.replications[start : start + size], part

    def column(self, name: str) -> NDArray[np.float64]:
        """Return one measure, a value a run; not to be written to."""
        if isinstance(self.stored, np.ndarray):
            values: NDArray[np.float64] = self.stored[:, place_of(name)]
            return values
        return self.stored.column(place_of(name))

    def _figures(self, name: str) -> tuple[float, float]:
        """Return a column's sum, and its mean over the runs that have it; read once."""
        known = self._known.get(name)
        if known is None:
            values = self.column(name)
            there = values[np.isfinite(values)]
            known = self._known[name] = (float(values.sum()), float(there.mean()) if len(there) else math.nan)
        return known

    def mean(self, name: str) -> float:
        """Return a measure's mean over the runs that have it; NaN when none has."""
        return self._figures(name)[1]

    def acres(self) -> Interval:
        """Return mean acres per day with its interval."""
        return mean_interval(self.column("acres"))

    def acres_per_field_hour(self) -> Interval | None:
        """Return acres per hour at the fields (rigs set up); None when no run had any."""
        hours = self.column("field_hours")
        return ratio_interval(self.column("acres"), hours) if hours.sum() > 0 and self.runs > 2 else None

    def time_share(self) -> dict[str, float]:
        """Return the share of aircraft time by state and reason; sums to 1."""
        totals = np.array([self._figures(f"time_s/{label}")[0] for label in time_labels()])
        whole = totals.sum()
        return {label: float(total / whole) for label, total in zip(time_labels(), totals, strict=True) if total > 0}

    def utilisation(self) -> dict[str, float]:
        """Return each resource's busy share."""
        return {name: self.mean(f"utilisation/{name}") for name in resource_names()}

    def active_period_share(self) -> dict[str, float]:
        """Return each resource's share of the time as momentary bottleneck."""
        return {name: self.mean(f"active_share/{name}") for name in resource_names()}

    def alone(self) -> dict[str, float]:
        """Return the acres a day that each resource could do if it never waited for another, the least first.

        Operational bounds from the service demand per acre (Denning & Buzen 1978, *The Operational Analysis of Queueing
        Network Models*): acres over the busy share. Of the aircraft, driving, weather and breaks are left out.
        """
        acres, used, share = self.mean("acres"), self.utilisation(), self.time_share()
        there = {"aircraft": 1.0 - sum(part for name, part in share.items() if name in _NOT_THERE)}
        bounds = {name: acres * there.get(name, 1.0) / busy for name, busy in used.items() if busy > 0.0}
        bounds.pop("moves", None)
        return dict(sorted(bounds.items(), key=lambda one: one[1]))

    def bottleneck(self) -> Bottleneck:
        """Return what holds the set back, in one sentence."""
        unit, acres = area_unit(self.scenario.units), self.mean("acres")
        return judge(self.time_share(), self.active_period_share(), self.one_more, unit, acres)

    def full_days(self) -> NDArray[np.float64]:
        """Return acres of single full work days, one drawn from every run that has any."""
        acres = self.column("full_day_acres")
        return acres[np.isfinite(acres)]

    def finish(self, share: float) -> tuple[int, float] | None:
        """Return the work day, and the hour of it, by which a share of runs has done the list; None if never."""
        done = self.column("job_done") > 0.0
        place = math.ceil(share * self.runs) - 1
        if place >= int(done.sum()):
            return None
        days, hours = self.column("days_out")[done], self.column("finish_hour")[done]
        # a list that was done as the last day ended has no hour of its own
        hours = np.where(np.isfinite(hours), hours, self.column("last_landing_hour")[done])
        at = np.lexsort((hours, days))[place]
        return int(days[at]), float(hours[at])

    def done_by(self) -> list[float]:
        """Return the share of runs that have done the list by work day 1, 2 and so on, to the last that does."""
        days = self.column("days_out")[self.column("job_done") > 0.0]
        return [float((days <= day).sum() / self.runs) for day in range(1, int(days.max()) + 1)] if len(days) else []

    def to_json(self) -> dict[str, Any]:
        """Return the set's part of ``result.json``, for `as_json`."""
        hold, full, alone, scenario = self.bottleneck(), self.full_days(), self.alone(), self.scenario
        product = self.mean("applied")
        return {
            "name": self.name,
            "label": scenario.label,
            "runs": self.runs,
            "acres_per_day": _spread(self.column("acres")),
            "hectares_per_day": _spread(self.column("hectares")),
            "acres_per_field_hour": self.acres_per_field_hour(),
            "time_share": self.time_share(),
            "utilisation": self.utilisation(),
            "bottleneck": {
                "resource": hold.resource,
                "short": hold.short,
                "sentence": hold.sentence,
                "alone_acres_per_day": alone,
                "active_period_share": self.active_period_share(),
                "one_more": self.one_more,
            },
            "per_day": {name: self.mean(name) for name in PER_DAY},
            "product_unit": "L" if scenario.product.kind == "liquid" else "kg",
            "overspray_share": self.mean("overspray") / product if product > 0 else None,
            "loads_per_charge": self.mean("loads_per_charge"),
            "landing_charge_share": self.mean("landing_charge_share"),
            "full_work_day_acres": _spread(full) if len(full) > 1 else None,
            "full_work_day_hectares": _spread(full / ACRES_PER_HECTARE) if len(full) > 1 else None,
            "job": self._job(),
            "power": [one._asdict() for one in power_balances(scenario)],
        }

    def _job(self) -> dict[str, Any]:
        """Return the whole job: how long it takes and how sure that is; costs are put in by who knows prices."""
        days = self.column("work_days")
        sums = {
            name: float((self.column(name) * days).mean())
            for name in ("paid_hours", "crew_hours", "generator_fuel_l", "out_of_reach_acres")
        }
        halves = {name: quantile_interval(days, share).estimate for name, share in (("p50", 0.5), ("p90", 0.9))}
        finish = {name: self.finish(share) for name, share in (("p50", 0.5), ("p90", 0.9))}
        return {
            "work": self.scenario.work,
            "acres": self.mean("job_acres"),
            "list_acres": self.list_acres,
            "most_work_days": self.scenario.most_work_days,
            "unreached_fields": self.unreached,
            "work_days": {**as_json(mean_interval(days)), **halves},
            "done_share": float((self.column("job_done") > 0.0).mean()),
            "done_by_work_day": self.done_by(),
            "finish": {
                name: None if one is None else {"work_day": one[0], "hour_of_day": one[1]}
                for name, one in finish.items()
            },
            **sums,
            "cost_per_acre": None,
        }


def _spread(values: NDArray[np.float64]) -> dict[str, Any]:
    spread: dict[str, Any] = as_json(mean_interval(values))
    for name, share in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9)):
        quantile = quantile_interval(values, share)
        spread[name] = quantile.estimate
        spread[f"{name}_ci95"] = [quantile.low, quantile.high]
    return spread
