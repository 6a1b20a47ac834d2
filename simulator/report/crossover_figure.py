"""Figure of a crossover: who wins over field size and application rate, with the undecided band hatched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import GAIN, INK, QUIET, text_on
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.crossover import MEASURE_WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from simulator.study.crossover import Crossover

_A, _B, _OPEN = (GAIN, "#8fcfc0"), ("#ee9a2e", "#f7dcae"), "#eceff1"


@styled
def crossover_figure(study: Crossover) -> Figure:
    """Draw one map a measure: colour says who wins, its depth by how much, hatching that it is too close to call."""
    from matplotlib.patches import Patch

    panels = len(study.measures)
    wide = 1.3 + 0.95 * len(study.areas_m2)
    figure = new_figure(max(5.0, panels * wide + 0.6), 1.9 + 0.5 * len(study.rates))
    axes = figure.subplots(1, panels, squeeze=False)[0]
    for place, measure in enumerate(study.measures):
        _panel(axes[place], study, measure, first=place == 0)
    handles = [
        Patch(facecolor=_A[0], edgecolor=INK, label=f"{plain(study.a, 40)} wins"),
        Patch(facecolor=_B[0], edgecolor=INK, label=f"{plain(study.b, 40)} wins"),
        Patch(facecolor=_OPEN, edgecolor=QUIET, hatch="////", label="too close to call"),
    ]
    figure.legend(handles=handles, loc="outside upper center", ncols=3)
    text = f"lead in per cent of the other (pale: under 10); each interval holds at {100 * study.level:.3g} %"
    figure.supxlabel(text, fontsize=8, color=QUIET)
    return settle(figure)


def _panel(axes: Axes, study: Crossover, measure: str, first: bool) -> None:
    from matplotlib.patches import Rectangle

    unit = study.unit
    cells = study.cells[study.cells["measure"] == measure]
    columns = {area: place for place, area in enumerate(sorted(study.areas_m2))}
    order = cells.drop_duplicates("rate").sort_values("rate_si")["rate"].tolist()
    rows = {rate: place for place, rate in enumerate(order)}
    for cell in cells.to_dict(orient="records"):
        x, y = columns[cell["field_area_m2"]], rows[cell["rate"]]
        lead = _lead(float(cell["difference"]), float(cell["a_value"]), float(cell["b_value"]), measure)
        pair = {study.a: _A, study.b: _B}.get(str(cell["winner"]))
        # two depths: a lead of a tenth and more, and less than that
        colour = _OPEN if pair is None else pair[0] if abs(lead) >= 0.1 else pair[1]
        hatch = "////" if pair is None else None
        axes.add_patch(Rectangle((x, y), 1, 1, facecolor=colour, edgecolor="#c3cacd", hatch=hatch, linewidth=0.8))
        if np.isfinite(lead):
            text = f"{100 * abs(lead):.0f} %"
            box = {"facecolor": colour, "edgecolor": "none", "pad": 1.0} if pair is None else None
            axes.text(
                x + 0.5,
                y + 0.5,
                f"{plain(cell['winner'], 12)}\n{text}" if pair else text,
                ha="center",
                va="center",
                fontsize=8,
                color=text_on(colour),
                bbox=box,
            )
    axes.set_xlim(0, len(columns))
    axes.set_ylim(0, max(1, len(rows)))
    axes.set_xticks(np.arange(len(columns)) + 0.5, [f"{a / M2_PER_ACRE / unit.acres:.3g}" for a in sorted(columns)])
    axes.set_yticks(np.arange(len(rows)) + 0.5, [plain(rate, 24) for rate in order] if first else [""] * len(rows))
    axes.tick_params(length=0)
    axes.set_xlabel(f"field size, {unit.name}")
    if first:
        axes.set_ylabel("application rate")
    axes.set_title(MEASURE_WORDS[measure] if measure != "cost" else "by cost an acre")


def _lead(difference: float, a: float, b: float, measure: str) -> float:
    """Return the lead as a share of the loser's value; for cost, of the dearer one's."""
    other = max(a, b) if measure == "cost" else min(a, b)
    return difference / other if other > 0 else float("nan")
