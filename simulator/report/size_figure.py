"""Figure of a sizing: cost against output of every set, the frontier, the target and the choice."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from simulator.report.palette import INK, QUIET
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.size import Size

_LOOKS = {
    "good": ("#3f9a84", "o", "reaches the target"),
    "misses": ("#b8401c", "x", "misses it"),
    "undecided": ("#ee9a2e", "s", "not shown to reach it"),
    "dearer": ("#a9b4c6", "o", "dearer, not looked at further"),
}


@styled
def size_figure(answer: Size) -> Figure:
    """Draw what a season costs against what is reached.

    Parameters
    ----------
    answer : Size
        Result.
    """
    figure = new_figure(8.2, 4.6)
    axes = figure.add_subplot()
    per, aim = answer.target.scale(answer.unit)
    for status, (colour, marker, label) in _LOOKS.items():
        mine = [
            one
            for one in answer.candidates
            if one.status == status and one.cost is not None and one.verdict is not None
        ]
        if mine:
            x = [one.verdict.reached / per for one in mine if one.verdict is not None]
            y = [one.cost.mean for one in mine if one.cost is not None]
            axes.scatter(x, y, color=colour, marker=marker, s=26, label=label, zorder=3)
    front = [(one.verdict.reached / per, one.cost.mean) for one in answer.frontier if one.verdict and one.cost]
    axes.plot(
        [x for x, _ in front], [y for _, y in front], color=QUIET, linewidth=1.0, label="no other beats both", zorder=2
    )
    axes.axvline(aim, color=INK, linewidth=0.9, linestyle="--", label="target")
    if answer.best is not None and answer.best.cost is not None and answer.best.verdict is not None:
        point = (answer.best.verdict.reached / per, answer.best.cost.mean)
        axes.scatter(
            *point,
            facecolor="none",
            edgecolor=INK,
            s=130,
            linewidth=1.5,
            label=f"choice: {_label(answer.best.label)}",
            zorder=4,
        )
    cases = {"day": "days", "season": "seasons", "job": "runs"}[answer.target.kind]
    axes.set_xlabel(f"{answer.target.column(answer.unit)} in {100 * answer.target.share:.0f} % of {cases}")
    axes.set_ylabel(f"cost of doing the target, {plain(answer.costs.currency, 5)} {answer.target.cost_of}")
    axes.yaxis.set_major_formatter(_amount)
    axes.margins(0.06)
    axes.grid()
    axes.set_title(f"{plain(answer.set_name, 40)}: least-cost set to {answer.target.words(answer.unit)}")
    figure.legend(loc="outside lower center", ncols=3)
    return settle(figure)


def _label(text: str) -> str:
    return "\n".join(textwrap.wrap(plain(text, 120), 44))


def _amount(value: float, _: object) -> str:
    return f"{value:,.0f}"
