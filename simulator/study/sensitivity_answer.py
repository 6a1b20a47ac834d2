"""What a sensitivity says: which input matters, whether a choice holds, what to measure."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from simulator.analysis.digits import format_estimate
from simulator.experiment.estimates import Interval
from simulator.study.answer import Answer, shown
from simulator.study.sobol import SobolIndices
from simulator.study.words import capital, number_text

if TYPE_CHECKING:
    import pandas as pd


Row = dict[Hashable, Any]


@dataclass(frozen=True)
class Sensitivity(Answer):
    """What the answer owes to each input, the widest first; NaN timings where an input has no spread."""

    study = "sensitivity"
    files = ("inputs.csv=inputs", "to_measure.csv=needs", "sobol.csv=sobol_table")
    document = (
        "sentence", "measure", "runs", "base", "target_share=target", "stopped", "inputs", "to_measure=needs", "sobol",
    )  # fmt: skip

    bars: pd.DataFrame = field(repr=False)
    needs: pd.DataFrame = field(repr=False)
    base: Interval
    indices: SobolIndices | None
    noise_share: float
    measure: str
    target: float
    sets: tuple[str, ...]
    runs: int
    sobol_runs: int

    @property
    def inputs(self) -> pd.DataFrame:
        """The bars without the place that each input was given at."""
        return self.bars.drop(columns="place")

    @property
    def sobol_table(self) -> pd.DataFrame | None:
        """One row an input with its indices and intervals, in the order of the bars; None without indices."""
        if self.indices is None:
            return None
        return self.bars[["place", "key", "words"]].join(self.indices.table, on="place").drop(columns="place")

    @property
    def sobol(self) -> dict[str, Any] | None:
        """The indices as a document."""
        found = self.indices
        return None if found is None else {
            "indices": self.sobol_table, "mean": found.mean, "sd": found.sd, "evaluations": found.evaluations,
            "chance_share_of_variance": self.noise_share,
        }  # fmt: skip

    def _sentences(self) -> list[str]:
        bars, first, of = self.bars, self.bars.iloc[0], self.sets[0]
        scale, name, answer = 1.0, self.measure.replace("_", " "), "the answer"
        if self.measure == "acres":
            scale, name, answer = 1.0 / self.unit.acres, self.per_day, "the output"
        if len(self.sets) == 2:
            of, answer = f"the lead of {self.sets[0]} over {self.sets[1]}", "the lead"
        if float(first["swing_ci_low"]) <= 0:
            return [f"None of the inputs changes {of} by more than chance over {self.runs} runs."]
        swing = format_estimate(*(scale * float(first[key]) for key in ("swing", "swing_ci_low", "swing_ci_high")))
        text = (
            f"{capital(first['words'])} matters most for {of}: from {first['low']} to {first['high']} {answer} changes "
            f"by {swing} {name}"
        )
        if len(bars) > 1:
            share = float(bars.iloc[1]["swing"]) / float(first["swing"])
            text += f"; next is {bars.iloc[1]['words']} with {100 * share:.0f} % of that"
        text += "."
        if len(self.sets) == 2:
            flips = ", ".join(map(str, bars.loc[bars["flips"], "words"]))
            turns = f"The choice turns round within the range of {flips}."
            text += f" {turns if flips else 'No single input turns the choice round.'}"
        wanted = self.needs[~self.needs["enough"]]
        if not len(wanted):
            return [f"{text} All inputs are known well enough for {100 * self.target:.2g} %."]
        said = []
        for row in wanted.head(3).to_dict(orient="records"):
            times = f" (about {row['timings']:.0f} timings)" if math.isfinite(row["timings"]) else ""
            said.append(f"{row['words']} to within {row['plus_minus']:.2g} {row['unit']}".rstrip() + times)
        return [f"{text} To be sure to {100 * self.target:.2g} %, measure {'; '.join(said)}."]

    def _rows(self) -> list[list[str]]:
        unit, acres = self.unit, self.measure == "acres"
        scale, word = (1.0 / unit.acres, f"{unit.name}/day") if acres else (1.0, self.measure)
        table = self.sobol_table
        lines = self.bars.merge(self.needs.drop(columns="words"), on="key")
        if table is not None:
            lines = lines.merge(table.drop(columns="words"), on="key")

        def estimate(name: str, ends: str = "{}_ci95", by: float = 1.0) -> Callable[[Row], str]:
            keys = (name, f"{ends.format(name)}_low", f"{ends.format(name)}_high")
            return lambda row: format_estimate(*(by * float(row[key]) for key in keys))

        def within(row: Row) -> str:
            if math.isnan(row["plus_minus"]):
                return "count it"
            return "range will do" if row["enough"] else f"{row['plus_minus']:.2g} {row['unit']}".strip()

        columns: dict[str, Callable[[Row], str | None]] = {
            "input": lambda row: row["words"],
            "range": lambda row: f"{row['low']} to {row['high']}",
            f"change at its low end, {word}": estimate("change_low", "{}_ci", scale),
            f"change at its high end, {word}": estimate("change_high", "{}_ci", scale),
            f"widest difference, {word}": lambda row: f"{scale * row['swing']:.3g}",
            "must be known to within": within,
            "timings for that": lambda row: None if row["enough"] else number_text(row["timings"]),
        }
        if table is not None:
            columns["share alone (first order)"] = estimate("first_order", "first_ci95")
            columns["share in all (total)"] = estimate("total")
        return shown(lines.to_dict(orient="records"), columns)

    def _remarks(self) -> list[str]:
        said = [
            f"{self.runs} runs of each point, the same random runs for all; changes are from the scenario's own "
            "values, with 95 % intervals; the widest difference is between any two of low end, own value and high end.",
            f"Must be known to within: so that the answer is sure to {100 * self.target:.2g} %, if it changes evenly "
            "through the range; timings for that: stopwatch times whose mean is so sure; range will do: the range "
            "given is narrow enough.",
            "A drawn time keeps its shape: its mean moves through the range.",
        ]
        if self.indices is not None:
            said.append(
                "Share alone: of the variance, what the input explains by itself; share in all: with all that it does "
                f"together with others (Sobol indices), from {self.indices.evaluations} points of {self.sobol_runs} "
                f"runs; {100 * self.noise_share:.0f} % of their variance is chance of the runs."
            )
        return said
