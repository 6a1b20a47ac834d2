"""Figure of a sizing: cost against output of every set, the frontier, the target and the choice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from simulator.report.palette import GAIN, INK, MARK, QUIET
from simulator.report.style import new_figure, put_beside, settle, styled, thousands
from simulator.report.writing import plain, wrap

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.size import Size

_LOOKS = {
    "good": (GAIN, "o", "reaches the target"),
    "misses": (MARK, "x", "misses it"),
    "undecided": ("#ee9a2e", "s", "not shown to reach it"),
    "dearer": ("#a9b4c6", "v", "dearer, not looked at further"),
}
_MOST_NAMED = 12
"""Points named beside their marks; of more, the frontier's alone."""


@styled
def size_figure(answer: Size) -> Figure:
    """Draw what a season costs against what is reached."""
    figure = new_figure(8.2, 4.6)
    axes = figure.add_subplot()
    per, aim = answer.target.scale(answer.unit)
    drawn = {
        id(one): (one.verdict.reached / per, one.cost.mean)
        for one in answer.candidates
        if one.cost is not None and one.verdict is not None
    }
    for status, (colour, marker, label) in _LOOKS.items():
        points = [drawn[id(one)] for one in answer.candidates if one.status == status and id(one) in drawn]
        if points:
            x, y = zip(*points, strict=True)
            axes.scatter(x, y, color=colour, marker=marker, s=26, label=label, zorder=3)
    front = [one for one in answer.frontier if id(one) in drawn]
    if front:
        line = zip(*(drawn[id(one)] for one in front), strict=True)
        axes.plot(*line, color=QUIET, linewidth=1.0, label="no other beats both", zorder=2)
    for one in answer.candidates if len(drawn) <= _MOST_NAMED else front:
        if id(one) in drawn:
            words = "\n".join(wrap(plain(one.label, 90), 30)[:3])
            put_beside(axes, words, drawn[id(one)], (6, 6), va="bottom")
    axes.axvline(aim, color=INK, linewidth=0.9, linestyle="--", label="target")
    if answer.best is not None and id(answer.best) in drawn:
        ring: dict[str, Any] = {"facecolor": "none", "edgecolor": INK, "s": 130, "linewidth": 1.5}
        axes.scatter(*drawn[id(answer.best)], label="the choice", zorder=4, **ring)
    cases = {"day": "days", "season": "seasons", "job": "runs"}[answer.target.kind]
    axes.set_xlabel(f"{answer.target.column(answer.unit)} in {100 * answer.target.share:.0f} % of {cases}")
    axes.set_ylabel(f"cost of doing the target, {plain(answer.costs.currency, 5)} {answer.target.cost_of}")
    axes.yaxis.set_major_formatter(thousands)
    axes.margins(0.12)
    axes.grid()
    axes.set_title(f"{plain(answer.set_name, 40)}: least-cost set to {answer.target.words(answer.unit)}")
    figure.legend(loc="outside lower center", ncols=3)
    return settle(figure)
