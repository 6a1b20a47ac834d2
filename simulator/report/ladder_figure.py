"""Figure of a ladder: output rung by rung, and what each change tried on a rung is worth."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from simulator.report.palette import INK, QUIET
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.ladder import Ladder
    from simulator.study.ladder_climb import Step

_TAKEN, _LEFT = "#12503f", "#a9b4c6"
_MOST_ROWS = 40


@styled
def ladder_figure(answer: Ladder) -> Figure:
    """Draw the changes tried on each rung with their intervals; the one taken stands out.

    Parameters
    ----------
    answer : Ladder
        Result.
    """
    rows = sum(min(len(rung.steps), _MOST_ROWS) + 2 for rung in answer.rungs)
    figure = new_figure(8.6, 1.2 + 0.22 * rows)
    axes = figure.add_subplot()
    labels: list[str] = []
    places: list[float] = []
    y = 0.0
    for rung in answer.rungs:
        output = f"{rung.acres_per_day / answer.unit.acres:.0f} {answer.unit.name} a day"
        text = f"rung {rung.number}: {output}, held back by {' or '.join(rung.bottleneck.resources)}"
        axes.annotate(text, (0.0, y), xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points",
                      fontsize=8.5, fontweight="bold", va="center")  # fmt: skip
        y += 1.0
        for step in rung.steps[:_MOST_ROWS]:
            found = _interval(step, answer)
            colour = _TAKEN if step is rung.taken else _LEFT
            if found is None:
                axes.annotate(
                    "no price", (0.0, y), xycoords=("data", "data"), va="center", ha="center", fontsize=8, color=QUIET
                )
            else:
                mean, low, high = found
                axes.plot([low, high], [y, y], color=colour, linewidth=2.0, solid_capstyle="butt")
                axes.plot([mean], [y], marker="D" if step is rung.taken else "o", markersize=5, color=colour)
            labels.append(
                ("\N{BLACK RIGHT-POINTING SMALL TRIANGLE} " if step is rung.taken else "") + _label(step.change)
            )
            places.append(y)
            y += 1.0
        y += 1.0
    axes.axvline(0.0, color=QUIET, linewidth=0.8)
    axes.set_yticks(places, labels, fontsize=8)
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(y - 0.5, -0.8)
    axes.grid(axis="x")
    axes.spines["left"].set_visible(False)
    if answer.costs is None:
        axes.set_xlabel(f"added {answer.unit.name} a day, interval that holds for all changes of a rung together")
    else:
        money, years = plain(answer.costs.currency, 5), answer.costs.horizon_years
        axes.set_xlabel(
            f"worth over {years:g} years, {money}, before tax; interval that holds for all changes of a rung together"
        )
        axes.xaxis.set_major_formatter(_amount)
    axes.set_title(f"{plain(answer.set_name, 40)}: what to buy next, {answer.runs} runs for each change", color=INK)
    return settle(figure)


def _label(text: str) -> str:
    return textwrap.shorten(plain(text), 52, placeholder="…")


def _amount(value: float, _: object) -> str:
    return f"{value:,.0f}".replace("-", "\N{MINUS SIGN}")


def _interval(step: Step, answer: Ladder) -> tuple[float, float, float] | None:
    found = step.extra_acres_per_day if answer.costs is None else step.net_present_value
    if found is None:
        return None
    low = found.mean if found.low is None else found.low
    high = found.mean if found.high is None else found.high
    scale = answer.unit.acres if answer.costs is None else 1.0
    return found.mean / scale, low / scale, high / scale
