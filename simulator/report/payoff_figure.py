"""Figure of a payoff: cash added up season by season, and the worth in drawn futures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import GAIN, INK, MARK, PAPER, QUIET
from simulator.report.style import new_figure, put_beside, settle, styled, thousands
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.payoff_answer import Payoff


@styled
def payoff_figure(answer: Payoff) -> Figure:
    """Draw when the price is back, and how sure the worth is."""
    figure = new_figure(8.6, 3.6)
    left, right = figure.subplots(1, 2)
    cash, money = answer.cash, plain(answer.costs.currency, 5)
    left.set_title("Cash added up, without interest")
    seasons = cash["season"].to_numpy()
    left.fill_between(seasons, cash["p10"], cash["p90"], color=GAIN, alpha=0.25, linewidth=0, label="8 in 10 futures")
    left.plot(seasons, cash["p50"], color=GAIN, marker="o", markersize=3.5, label="middle future")
    left.axhline(0.0, color=QUIET, linewidth=0.8)
    left.set_xlabel("season")
    left.set_ylabel(f"{money}, purchase first")
    left.set_xticks(seasons if len(seasons) <= 12 else seasons[:: int(np.ceil(len(seasons) / 10))])
    left.yaxis.set_major_formatter(thousands)
    left.grid(axis="y")
    left.legend(loc="best")
    worth = answer.futures["net_present_value"].to_numpy()
    right.set_title(f"Worth over {answer.costs.horizon_years:g} years, {len(worth)} drawn futures")
    edges = np.histogram_bin_edges(worth, bins=30)
    if edges[0] < 0 < edges[-1]:
        # an edge at zero, so that no bar is both gain and loss
        edges = edges - edges[np.argmin(np.abs(edges))]
        edges = np.concatenate([[edges[0] - (edges[1] - edges[0])], edges, [edges[-1] + (edges[1] - edges[0])]])
    counts, edges = np.histogram(worth, bins=edges)
    colours = [GAIN if edge >= 0 else MARK for edge in edges[:-1]]
    right.bar(edges[:-1], counts, width=np.diff(edges), align="edge", color=colours, edgecolor=PAPER, linewidth=0.4)
    right.axvline(0.0, color=QUIET, linewidth=0.8)
    mean = answer.net_present_value.mean
    right.axvline(mean, color=INK, linewidth=1.2, linestyle="--")
    put_beside(right, "mean", (mean, right.get_ylim()[1]), (4, -10), fontsize=8)
    right.set_xlabel(f"worth, {money}, before tax: losses left of 0, gains right of it")
    right.set_ylabel("futures")
    right.locator_params(axis="x", nbins=5)
    right.xaxis.set_major_formatter(thousands)
    figure.suptitle(plain(f"{answer.set_name}: {answer.change}", 90), x=0.01, ha="left", fontsize=10)
    return settle(figure)
