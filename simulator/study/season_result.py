"""What a season study answers, for each equipment set, as sentences and tables."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.experiment.estimates import Interval
from simulator.scenario.schema_costs import Costs
from simulator.study.documents import clean, interval_json
from simulator.study.trial import AreaUnit
from simulator.study.words import money_range, share_words

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Goal:
    """An acreage to be done within the season."""

    acres: float
    chance: float
    half_done_by: str
    safe_by: str
    days_half: float
    days_safe: float


@dataclass(frozen=True)
class SizeCost:
    """What an acre costs in a season of a given size."""

    acres: float
    days: float
    fits: bool
    cost_per_acre: Interval


@dataclass(frozen=True)
class SetSeason:
    """The season of one equipment set."""

    name: str
    runs: int
    acres_per_day: Interval
    total: tuple[float, float, float]
    by_date: NDArray[np.float64] = field(repr=False)
    goals: tuple[Goal, ...]
    cycles_per_pack: tuple[float, float, float]
    life_used_share: float
    costs_by_size: tuple[SizeCost, ...]
    break_even_acres: float | None


@dataclass(frozen=True)
class Season:
    """How far equipment sets get in a season."""

    sets: tuple[SetSeason, ...]
    dates: tuple[str, ...]
    work_days: tuple[float, float, float]
    worlds: int
    notes: tuple[str, ...]
    costs: Costs | None
    unit: AreaUnit

    @property
    def sentence(self) -> str:
        """The answer, as one would tell it."""
        return " ".join(self.set_sentence(entry) for entry in self.sets)

    def set_sentence(self, entry: SetSeason) -> str:
        """Return the answer for one set."""
        unit = self.unit
        low, middle, _ = (_round(value / unit.acres) for value in entry.total)
        text = f"{entry.name}: expect {middle:,.0f} {unit.name} by {self.dates[-1]}"
        text += f", and at least {low:,.0f} in nine seasons of ten"
        for goal in entry.goals:
            size = f"{goal.acres / unit.acres:,.0f} {unit.name}"
            text += f"; the chance to finish {size} is {share_words(goal.chance)}"
            if goal.safe_by:
                text += f", nine in ten are done by {goal.safe_by} after {goal.days_safe:.0f} work days"
        return f"{text}; {entry.runs} runs simulated."

    @property
    def table(self) -> pd.DataFrame:
        """One row a set and goal."""
        import pandas as pd

        per, rows = self.unit.acres, []
        for entry in self.sets:
            for goal in entry.goals or (None,):
                rows.append(
                    {
                        "equipment_set": entry.name,
                        f"{self.unit.name}_per_day": entry.acres_per_day.mean / per,
                        "season_p10": entry.total[0] / per,
                        "season_p50": entry.total[1] / per,
                        "season_p90": entry.total[2] / per,
                        "goal": np.nan if goal is None else goal.acres / per,
                        "chance": np.nan if goal is None else goal.chance,
                        "half_done_by": "" if goal is None else goal.half_done_by,
                        "nine_in_ten_by": "" if goal is None else goal.safe_by,
                        "work_days_p50": np.nan if goal is None else goal.days_half,
                        "work_days_p90": np.nan if goal is None else goal.days_safe,
                        "cycles_per_pack": entry.cycles_per_pack[1],
                        "pack_life_used_share": entry.life_used_share,
                    }
                )
        return pd.DataFrame(rows)

    @property
    def by_date(self) -> pd.DataFrame:
        """Acres by date: one row a set and date."""
        import pandas as pd

        frames = []
        for entry in self.sets:
            frame = pd.DataFrame(entry.by_date / self.unit.acres, columns=["mean", "p10", "p50", "p90"])
            frame.insert(0, "date", list(self.dates))
            frame.insert(0, "equipment_set", entry.name)
            frames.append(frame)
        return pd.concat(frames, ignore_index=True)

    @property
    def cost_by_size(self) -> pd.DataFrame:
        """Cost per area by season size: one row a set and size."""
        import pandas as pd

        per, rows = self.unit.acres, []
        for entry in self.sets:
            for one in entry.costs_by_size:
                cost = one.cost_per_acre
                rows.append(
                    {
                        "equipment_set": entry.name,
                        f"season_{self.unit.name}": one.acres / per,
                        "work_days": one.days,
                        "fits_the_season": one.fits,
                        f"cost_per_{self.unit.one}": cost.mean * per,
                        "low": np.nan if cost.low is None else cost.low * per,
                        "high": np.nan if cost.high is None else cost.high * per,
                    }
                )
        names = [
            "equipment_set",
            f"season_{self.unit.name}",
            "work_days",
            "fits_the_season",
            f"cost_per_{self.unit.one}",
            "low",
            "high",
        ]
        return pd.DataFrame(rows, columns=names)

    def cost_sentence(self) -> str:
        """Return what an acre costs in a smaller season and in the largest that fits; empty without costs."""
        said = []
        for entry in self.sets:
            fitting = [one for one in entry.costs_by_size if one.fits]
            if self.costs is None or not fitting:
                continue
            parts = []
            for one in dict.fromkeys((fitting[max(0, len(fitting) - 3)], fitting[-1])):
                cost, per = one.cost_per_acre, self.unit.acres
                scaled = Interval(
                    cost.mean * per, _times(cost.low, per), _times(cost.high, per), cost.n, _times(cost.half_width, per)
                )
                parts.append(
                    f"{money_range(scaled, self.costs.currency)} at {one.acres / per:,.0f} {self.unit.name} a season"
                )
            area = "an acre" if self.unit.acres == 1 else "a hectare"
            text = f"{entry.name}: {area} costs {' and '.join(parts)}"
            if entry.break_even_acres is not None:
                turning = f"{_round(entry.break_even_acres / self.unit.acres):,.0f} {self.unit.name}"
                text += f"; the price of the work covers everything from {turning} on"
            said.append(text + ".")
        return " ".join(said)

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a document."""
        return clean(
            {
                "study": "season",
                "sentence": self.sentence,
                "cost_sentence": self.cost_sentence(),
                "notes": list(self.notes),
                "seasons_drawn": self.worlds,
                "dates": [self.dates[0], self.dates[-1]],
                "work_days": _three(self.work_days),
                "currency": None if self.costs is None else self.costs.currency,
                "equipment_sets": [
                    {
                        "name": entry.name,
                        "runs": entry.runs,
                        "acres_per_day": interval_json(entry.acres_per_day),
                        "season_acres": _three(entry.total),
                        "goals": [vars(goal) for goal in entry.goals],
                        "cycles_per_pack": _three(entry.cycles_per_pack),
                        "pack_life_used_share": entry.life_used_share,
                        "break_even_acres": entry.break_even_acres,
                        "cost_per_acre_by_size": [
                            {
                                "acres": one.acres,
                                "work_days": one.days,
                                "fits": one.fits,
                                **interval_json(one.cost_per_acre),
                            }
                            for one in entry.costs_by_size
                        ],
                        "acres_by_date": [
                            {"date": day, "mean": row[0], "p10": row[1], "p50": row[2], "p90": row[3]}
                            for day, row in zip(self.dates, entry.by_date.tolist(), strict=True)
                        ],
                    }
                    for entry in self.sets
                ],
            }
        )


def _three(values: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(("p10", "p50", "p90"), values, strict=True))


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _round(value: float) -> float:
    """Round to three significant digits at most: percentiles of drawn seasons support no more."""
    return value if value == 0 else round(value, min(0, 2 - math.floor(math.log10(abs(value)))))
