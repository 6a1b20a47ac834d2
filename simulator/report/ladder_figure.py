"""Figure of a ladder: output rung by rung, and what each change tried on a rung is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.report.figures import interval_figure
from simulator.report.ranking import Interval, scaled
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.ladder import Ladder

_MOST_ROWS = 40


def ladder_figure(answer: Ladder) -> Figure:
    """Draw the changes tried on each rung with intervals, the one taken marked; those without price are left out."""
    groups, priced = [], answer.costs is not None
    per = 1.0 if priced else 1.0 / answer.unit.acres
    for rung in answer.rungs:
        found = []
        for step in rung.steps[:_MOST_ROWS]:
            worth = step.net_present_value if priced else step.extra_acres_per_day
            if worth is not None:
                name = f"{'TAKEN: ' if step is rung.taken else ''}{plain(step.change)}"
                found.append(Interval(name, worth.mean * per, scaled((worth.low, worth.high), per)))
        output = f"{rung.acres_per_day / answer.unit.acres:.0f} {answer.unit.name} a day"
        groups.append((f"{rung.number}: {output}, {' or '.join(rung.bottleneck.resources)} hold back", found))
    if answer.costs is None:
        axis = f"{answer.unit.name} a day added"
    else:
        axis = f"worth over {answer.costs.horizon_years:g} years, {plain(answer.costs.currency, 5)}, before tax"
    return interval_figure(groups, f"{axis}; intervals hold for all changes of a rung together")
