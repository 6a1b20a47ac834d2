"""What a payoff says: its sentence, every quantity with its limits, and its tables."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Generic, NamedTuple, TypeVar

from simulator.analysis.digits import supported_decimals
from simulator.experiment.estimates import Interval, PairedInterval
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import AreaUnit
from simulator.study.answer import Answer, Spread, frame, shown
from simulator.study.change import BreakEven, JobChange
from simulator.study.payoff_pair import Pair
from simulator.study.words import interval_text, money_range, money_text, number_text

if TYPE_CHECKING:
    import pandas as pd


T = TypeVar("T")


@dataclass(frozen=True)
class BeforeAfter(Generic[T]):
    """Something of the set as it is, and of the changed set."""

    before: T
    after: T


class Quantity(NamedTuple):
    """One line of the answer: a value, its limits and what these are."""

    quantity: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    limits: str

    def texts(self) -> list[str]:
        """Return value and limits with the digits that they support."""
        if self.unit == "share":
            return [f"{100.0 * (self.value or 0.0):.0f} %", "–", "–"]
        value, half = self.value or 0.0, math.nan
        if self.low is not None and self.high is not None:
            half = 0.5 * (self.high - self.low)
        if math.isfinite(half) and half > 1e-9 * max(1.0, abs(value)):
            places = supported_decimals(half)
        else:
            places = 0 if abs(value) >= 100 else (2 if "$" in self.unit else 1)
        return [number_text(one, places) for one in (self.value, self.low, self.high)]


@dataclass(frozen=True)
class Payoff(Answer):
    """Whether a change pays."""

    study = "payoff"
    document = (
        "equipment_set=set_name", "change", "settings", "runs", "sentence", "notes", "pays", "acres_per_day",
        "extra_acres_per_day", "extra_acres_per_season", "saved_days_per_season", "extra_margin_per_season", "purchase",
        "currency", "net_present_value", "payback_seasons", "payback_days", "net_present_value_futures=value_spread",
        "chance_that_it_pays=chance", "break_even", "pair", "job", "bottleneck", "bottleneck_sentence",
        "variance_reduction_by_common_draws=noise_reduction",
    )  # fmt: skip

    set_name: str
    change: str
    settings: tuple[str, ...]
    runs: int
    acres_per_day: BeforeAfter[float]
    extra_acres_per_day: PairedInterval
    noise_reduction: float
    extra_acres_per_season: Interval
    saved_days_per_season: float
    extra_margin_per_season: Interval
    purchase: float
    net_present_value: Interval
    payback_seasons: Spread
    payback_days: Spread
    value_spread: Spread
    chance: float
    break_even: BreakEven
    bottleneck: BeforeAfter[str]
    bottleneck_sentence: BeforeAfter[str]
    notes: tuple[str, ...]
    pair: Pair | None
    job: JobChange | None
    costs: Costs = field(kw_only=True)
    unit: AreaUnit
    futures: pd.DataFrame = field(repr=False)
    cash: pd.DataFrame = field(repr=False)

    @property
    def pays(self) -> bool | None:
        """Whether it pays; None when the runs simulated cannot tell."""
        value = self.net_present_value
        if value.low is None or value.high is None:
            return value.mean > 0
        return True if value.low > 0 else (False if value.high <= 0 else None)

    @property
    def sentences(self) -> list[str]:
        """The answer, what the change does to the job, and what to add to it where something helps together with it."""
        job = None if self.job is None else self.job.sentence(self.unit, self.currency)
        pair = None if self.pair is None else self.pair.sentence(self.unit)
        return [" ".join(text for text in (self._output, self._worth, job, pair) if text)]

    @property
    def _output(self) -> str:
        extra = self.extra_acres_per_day
        gain = interval_text(extra, self.unit.acres, f"{self.unit.name} a day")
        runs = f"({self.runs} runs simulated)"
        if extra.mean >= 0:
            return f"With {self.change} this set does {gain} more {runs}."
        return f"With {self.change} the output of this set changes by {gain} {runs}."

    @property
    def _worth(self) -> str:
        years = f"over {self.costs.horizon_years:g} years, before tax"
        value = f"{money_range(self.net_present_value, self.currency)} {years}"
        if self.pays is None:
            return f"It may or may not pay: {value}; more runs may tell."
        if not self.pays:
            return f"It does not pay: {value}, so leave it."
        if self.purchase <= 0:
            return f"It pays without a purchase: {value}."
        if math.isinf(self.payback_seasons.p50):
            return f"It brings {value}, though it wears out before its price is back."
        days = max(1.0, round(self.payback_days.p50))
        price = money_text(self.purchase, self.currency)
        return f"Its {price} pays for itself in {days:.0f} work day{'s' if days > 1 else ''}: {value}."

    @property
    def quantities(self) -> list[Quantity]:
        """Every answer as a line."""
        area, money, even = self.unit, self.currency, self.break_even
        found: list[Quantity] = []

        def add(name: str, value: Interval | Spread | float | None, unit: str, scale: float = 1.0) -> None:
            if isinstance(value, Spread):
                found.append(Quantity(name, value.p50, value.p10, value.p90, unit, "8 in 10 futures"))
                return
            kind = "95 % interval" if isinstance(value, Interval) else ""
            parts = (value.low, value.mean, value.high) if isinstance(value, Interval) else (None, value, None)
            low, mean, high = (None if one is None else one / scale for one in parts)
            found.append(Quantity(name, mean, low, high, unit, kind))

        add("output before", self.acres_per_day.before, f"{area.name}/day", area.acres)
        add("output after", self.acres_per_day.after, f"{area.name}/day", area.acres)
        add("extra output", self.extra_acres_per_day, f"{area.name}/day", area.acres)
        add("extra output sold", self.extra_acres_per_season, f"{area.name}/season", area.acres)
        if self.job is not None:
            add("change of the job's work days", self.job.work_days, "work days")
            if self.job.cost_per_acre is not None:
                add("change of the cost of an acre", self.job.cost_per_acre, f"{money}/{area.one}", 1.0 / area.acres)
        add("work days saved", self.saved_days_per_season, "days/season")
        add("extra margin", self.extra_margin_per_season, f"{money}/season")
        add("purchase", self.purchase, money)
        add(f"worth over {self.costs.horizon_years:g} years, before tax", self.net_present_value, money)
        add("the same, as seasons may fall", self.value_spread, money)
        add("pays for itself in", self.payback_seasons, "seasons")
        add("pays for itself in", self.payback_days, "work days")
        add("chance that it pays", self.chance, "share")
        if even.purchase_price is not None:
            add("break-even purchase price", even.purchase_price, money)
        add("break-even price of the work", even.price_per_acre, f"{money}/{area.one}", 1.0 / area.acres)
        add("break-even season", even.season_days, "work days")
        add("break-even demand", even.season_demand_acres, f"{area.name}/season", area.acres)
        return found

    @property
    def rows(self) -> list[list[str]]:
        """Every answer with its limits."""
        lines = [(one, one.texts()) for one in self.quantities]
        return shown(lines, {
            "quantity": lambda line: line[0].quantity,
            "value": lambda line: line[1][0], "from": lambda line: line[1][1], "to": lambda line: line[1][2],
            "unit": lambda line: "" if line[0].unit == "share" else line[0].unit,
            "from and to are": lambda line: line[0].limits,
        })  # fmt: skip

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The answers, the drawn futures, and cash added up by season."""
        columns = {name: lambda one, place=place: one[place] for place, name in enumerate(Quantity._fields)}
        table = frame(self.quantities, columns).astype({"value": float, "low": float, "high": float})
        return {"payoff.csv": table, "futures.csv": self.futures, "cash.csv": self.cash}

    @property
    def remarks(self) -> list[str]:
        """What a buyer must know."""
        common = "Both sets saw the same random runs"
        if math.isfinite(self.noise_reduction):
            common += f", which makes the variance of the difference {self.noise_reduction:.1f} times smaller than with"
            common += " runs drawn apart"
        return [
            *self.notes,
            f"What holds it back before: {self.bottleneck_sentence.before}",
            f"And after: {self.bottleneck_sentence.after}",
            f"{common}.",
        ]

    @property
    def simulated(self) -> dict[str, int]:
        """Both sets."""
        return {"before": self.runs, "after": self.runs}
