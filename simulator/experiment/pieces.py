"""Cutting runs into pieces for workers by what a run has cost so far; results do not depend on the cut."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from simulator.experiment.tables import Tables
from simulator.scenario.streams import BLOCK_RUNS

PIECE_S = 0.5
"""Work in a piece: long beside the few milliseconds of handing it over, short enough to stop or share out soon."""
LEAST_PIECE_S = 0.02
"""Towards the end pieces get smaller so that all workers finish together, but not smaller than this."""
TRIAL_RUNS = 4
"""Runs of the first pieces, from which the cost is learnt."""


class Piece(NamedTuple):
    """Replications ``first`` to ``last - 1`` of one plan, within one block of the random streams."""

    plan: int
    first: int
    last: int


def pieces(
    tables: Tables,
    plans: Sequence[int],
    first: int,
    last: int,
    workers: int,
    cost_s: Mapping[int, float],
    piece_s: float = PIECE_S,
) -> Iterator[Piece]:
    """Yield pieces of what is not known, in order, each plan in turn; costs may be learnt meanwhile."""
    at = first
    while at < last:
        runs = TRIAL_RUNS
        if all(plan in cost_s for plan in plans):
            costs = [max(cost_s[plan], 1e-9) for plan in plans]
            fair_s = sum(costs) * (last - at) / (3 * max(1, workers))
            runs = max(1, int(min(piece_s, max(fair_s, LEAST_PIECE_S)) / max(costs)))
        end = min(at + runs, last, (at // BLOCK_RUNS + 1) * BLOCK_RUNS)
        for plan in plans:
            for low, high in tables.gaps(plan, at, end):
                yield Piece(plan, low, high)
        at = end
