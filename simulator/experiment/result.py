"""What many simulated runs say: tables, estimates with intervals, and the published ``result.json`` shape."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.bottleneck import Bottleneck, OneMore, alone_sentence, judge
from simulator.analysis.resources import label as state_label
from simulator.analysis.resources import resource_names, time_labels
from simulator.analysis.summary import MEASURES, place_of
from simulator.experiment.estimates import (
    Interval,
    PairedInterval,
    mean_interval,
    paired_interval,
    quantile_interval,
    ratio_interval,
)
from simulator.experiment.tables import StoredRows
from simulator.operation.log import Reason, State
from simulator.scenario.power_balance import PowerBalance
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

if TYPE_CHECKING:
    import pandas as pd

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
    """The runs of one equipment set.

    Parameters
    ----------
    name : str
        Equipment set.
    replications : numpy.ndarray of int, shape (runs,)
        Replication numbers, ascending.
    stored : numpy.ndarray or StoredRows, shape (runs, len(columns()))
        One row a run; a :class:`simulator.experiment.tables.StoredRows` reads them from disk when asked.
    one_more : tuple of OneMore
        Worth of one more of each; empty when not asked.
    liquid : bool
        Whether ``applied`` and its like are litres (else kilograms).
    unit : {"us", "metric"}
        Units of sentences.
    work : {"once", "repeat"}
        Whether a run ends with the list of fields.
    list_acres : float
        Acres of the list.
    most_work_days : int
        Work days after which a run was given up.
    unreached : tuple of str
        Fields of which some place is out of reach of every charge.
    power : tuple of PowerBalance
        What is asked of each power source and what it gives.
    label : str
        Name to show people; empty: its own.
    """

    name: str
    replications: NDArray[np.int64]
    stored: NDArray[np.float64] | StoredRows
    one_more: tuple[OneMore, ...] = ()
    liquid: bool = True
    unit: str = "us"
    work: str = "once"
    list_acres: float = math.nan
    most_work_days: int = 0
    unreached: tuple[str, ...] = ()
    power: tuple[PowerBalance, ...] = ()
    label: str = ""
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
        return judge(self.time_share(), self.active_period_share(), self.one_more, *self.shown_unit)

    @property
    def shown_unit(self) -> tuple[str, float]:
        """Area unit of sentences, and acres in one of it."""
        return ("ha", ACRES_PER_HECTARE) if self.unit == "metric" else ("acres", 1.0)

    def full_days(self) -> NDArray[np.float64]:
        """Return acres of single full work days, one drawn from every run that has any."""
        acres = self.column("full_day_acres")
        return acres[np.isfinite(acres)]

    def finish(self, share: float) -> tuple[int, float] | None:
        """Return the work day, and the hour after its start, by which a share of runs has done the list; None if never.

        A share of 0.5 is what half of the runs reach.
        """
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


@dataclass(frozen=True)
class Result:
    """A finished experiment.

    Parameters
    ----------
    scenario : str
        Short name.
    seed : int
        Seed of the streams.
    sets : tuple of SetResult
        In the scenario's order.
    stopped : str
        Why it ended before the runs asked for; empty when it did not.
    skipped : tuple of str
        Parts of field files that were left out, with the reason.
    notes : tuple of str
        What was mended or assumed in reading files.
    resumed : str
        What was found of an unfinished result that this one went on from; empty when there was none. No part of the
        answer, so it is not in ``result.json``.
    beyond : int
        Finished runs, those of one more among them, that the unfinished result holds and these tables have not.
    """

    scenario: str
    seed: int
    sets: tuple[SetResult, ...]
    stopped: str = ""
    skipped: tuple[str, ...] = field(default=())
    notes: tuple[str, ...] = field(default=())
    resumed: str = ""
    beyond: int = 0

    def paired(self) -> list[tuple[str, str, PairedInterval]]:
        """Return every pair of sets: difference of acres per day over the runs both simulated."""
        pairs = []
        # copies, for a column keeps alive those that were read with it
        acres = [entry.column("acres").copy() for entry in self.sets] if len(self.sets) > 1 else []
        for place, first in enumerate(self.sets):
            for other, second in enumerate(self.sets[place + 1 :], place + 1):
                a, b = acres[place], acres[other]
                if not np.array_equal(first.replications, second.replications):
                    _, in_first, in_second = np.intersect1d(
                        first.replications, second.replications, assume_unique=True, return_indices=True
                    )
                    a, b = a[in_first], b[in_second]
                if len(a) >= 2:
                    pairs.append((first.name, second.name, paired_interval(a, b)))
        return pairs

    @property
    def runs(self) -> pd.DataFrame:
        """One row a replication and set, all measures (see :data:`simulator.analysis.summary.MEASURES`)."""
        import pandas as pd

        return pd.concat(self.run_frames(), ignore_index=True)

    def run_frames(self, measures: Sequence[str] = MEASURES, size: int = FRAME_ROWS) -> Iterator[pd.DataFrame]:
        """Yield :attr:`runs` part by part, so that a table of any number of runs takes little memory."""
        import pandas as pd

        places = [place_of(name) for name in measures]
        for entry in self.sets:
            for replications, rows in entry.parts(size):
                frame = pd.DataFrame(rows[:, places], columns=list(measures))
                frame.insert(0, "run", replications)
                frame.insert(0, "equipment_set", entry.name)
                yield frame

    @property
    def time_use(self) -> pd.DataFrame:
        """Aircraft time by set, state and reason: hours per aircraft-day's sum, and share."""
        import pandas as pd

        records = [
            {
                "equipment_set": entry.name,
                "state": label,
                "hours_per_day": entry.mean(f"time_s/{label}") / 3600.0,
                "share": share,
            }
            for entry in self.sets
            for label, share in entry.time_share().items()
        ]
        return pd.DataFrame.from_records(records, columns=["equipment_set", "state", "hours_per_day", "share"])

    @property
    def bottleneck(self) -> pd.DataFrame:
        """The four views by set and resource: time lost, utilisation, momentary bottleneck, and what one more adds."""
        import pandas as pd

        from simulator.analysis.bottleneck import lost_time

        records: list[dict[str, Any]] = []
        for entry in self.sets:
            lost, used, active = lost_time(entry.time_share()), entry.utilisation(), entry.active_period_share()
            for name in resource_names():
                record: dict[str, Any] = {
                    "equipment_set": entry.name,
                    "resource": name,
                    "time_lost_share": lost.get(name, 0.0),
                    "utilisation": used[name],
                    "active_period_share": active[name],
                }
                changes = [change for change in entry.one_more if change.resource == name]
                best = max(changes, key=lambda change: change.acres_per_day, default=None)
                record |= {
                    "one_more": best.change if best else "",
                    "one_more_acres_per_day": best.acres_per_day if best else math.nan,
                    "one_more_ci95_low": best.low if best else math.nan,
                    "one_more_ci95_high": best.high if best else math.nan,
                }
                records.append(record)
        return pd.DataFrame.from_records(records)

    def to_json(self) -> dict[str, Any]:
        """Return the published shape of ``result.json``; NaN becomes null."""
        document = {
            "scenario": self.scenario,
            "seed": self.seed,
            "stopped": self.stopped,
            "skipped": list(self.skipped),
            "notes": list(self.notes),
            "equipment_sets": [_set_json(entry) for entry in self.sets],
            "paired": [
                {
                    "a": a,
                    "b": b,
                    "difference": pair.mean,
                    "ci95": [pair.low, pair.high],
                    "a_wins_share": pair.a_wins_share,
                    "runs": pair.n,
                }
                for a, b, pair in self.paired()
            ],
        }
        cleaned: dict[str, Any] = _finite(document)
        return cleaned


def _set_json(entry: SetResult) -> dict[str, Any]:
    hold, full = entry.bottleneck(), entry.full_days()
    hourly, alone = entry.acres_per_field_hour(), entry.alone()
    return {
        "name": entry.name,
        "label": entry.label,
        "runs": entry.runs,
        "acres_per_day": _spread(entry.column("acres")),
        "hectares_per_day": _spread(entry.column("hectares")),
        "acres_per_field_hour": None if hourly is None else {"mean": hourly.mean, "ci95": [hourly.low, hourly.high]},
        "time_share": entry.time_share(),
        "utilisation": entry.utilisation(),
        "bottleneck": {
            "resource": hold.resource,
            "sentence": hold.sentence,
            "alone_acres_per_day": alone,
            "alone_sentence": alone_sentence(entry.mean("acres"), alone, *entry.shown_unit),
            "active_period_share": entry.active_period_share(),
            "one_more": [
                {
                    "change": change.change,
                    "acres_per_day": change.acres_per_day,
                    "ci95": [change.low, change.high],
                    "resource": change.resource,
                    "setting": change.setting,
                    "runs": change.runs,
                }
                for change in entry.one_more
            ],
        },
        "per_day": {name: entry.mean(name) for name in PER_DAY},
        "product_unit": "L" if entry.liquid else "kg",
        "overspray_share": entry.mean("overspray") / entry.mean("applied") if entry.mean("applied") > 0 else None,
        "loads_per_charge": entry.mean("loads_per_charge"),
        "landing_charge_share": entry.mean("landing_charge_share"),
        "full_work_day_acres": _spread(full) if len(full) > 1 else None,
        "full_work_day_hectares": _spread(full / ACRES_PER_HECTARE) if len(full) > 1 else None,
        "job": job_json(entry),
        "power": [one._asdict() for one in entry.power],
    }


def job_json(entry: SetResult) -> dict[str, Any]:
    """Return the whole job of a set: how long it takes and how sure that is; costs are put in by who knows prices."""
    days = entry.column("work_days")
    spread = mean_interval(days)
    done = float((entry.column("job_done") > 0.0).mean())
    return {
        "work": entry.work,
        "acres": entry.mean("job_acres"),
        "list_acres": entry.list_acres,
        "most_work_days": entry.most_work_days,
        "unreached_fields": list(entry.unreached),
        "work_days": {
            "mean": spread.mean,
            "ci95": [spread.low, spread.high],
            "p50": quantile_interval(days, 0.5).estimate,
            "p90": quantile_interval(days, 0.9).estimate,
        },
        "done_share": done,
        "done_by_work_day": entry.done_by(),
        "finish": {name: _finish_json(entry.finish(share)) for name, share in (("p50", 0.5), ("p90", 0.9))},
        "paid_hours": float((entry.column("paid_hours") * days).mean()),
        "crew_hours": float((entry.column("crew_hours") * days).mean()),
        "generator_fuel_l": float((entry.column("generator_fuel_l") * days).mean()),
        "out_of_reach_acres": float((entry.column("out_of_reach_acres") * days).mean()),
        "cost_per_acre": None,
    }


def _finish_json(finish: tuple[int, float] | None) -> dict[str, float] | None:
    return None if finish is None else {"work_day": finish[0], "hour_of_day": finish[1]}


def _spread(values: NDArray[np.float64]) -> dict[str, Any]:
    interval = mean_interval(values)
    spread: dict[str, Any] = {"mean": interval.mean, "ci95": [interval.low, interval.high]}
    for name, share in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9)):
        quantile = quantile_interval(values, share)
        spread[name] = quantile.estimate
        spread[f"{name}_ci95"] = [quantile.low, quantile.high]
    return spread


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value
