"""Cutting runs into pieces for workers by what a run has cost so far; results do not depend on the cut."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from simulator.experiment.tables import Tables
from simulator.scenario.streams import BLOCK_RUNS

PIECE_S = 0.5
"""Work in a piece: long beside the few milliseconds of handing it over, short enough to stop or share out soon."""
LEAST_PIECE_S = 0.02
"""Towards the end pieces get smaller so that all workers finish together, but not smaller than this."""
MOST_BLOCKS = 16
"""Blocks of replications in a piece, at most, so that its rows stay small."""
TRIAL_RUNS = 4
"""Runs of the first pieces, from which the cost is learnt."""


@dataclass(frozen=True)
class Piece:
    """Replications ``first`` to ``last - 1`` of some plans, side by side, within one block or of whole blocks."""

    plans: tuple[int, ...]
    first: int
    last: int

    @property
    def runs(self) -> int:
        """Runs of all plans together."""
        return len(self.plans) * (self.last - self.first)


class Pieces:
    """What is left to simulate, cut when it is asked for, by the cost known then."""

    def __init__(
        self,
        tables: Tables,
        plans: Sequence[int],
        first: int,
        last: int,
        workers: int,
        cost_s: dict[int, float],
        target_s: float = PIECE_S,
    ) -> None:
        self._tables, self._plans, self._first, self._last = tables, tuple(plans), first, last
        self._workers, self._cost_s, self._target_s = max(1, workers), cost_s, target_s

    def __iter__(self) -> Iterator[Piece]:
        """Yield pieces in the order of replications; none holds a run that is known."""
        start = self._first
        while start < self._last:
            end = self._span_end(start)
            together: dict[tuple[tuple[int, int], ...], list[int]] = {}
            for plan in self._plans:
                if gaps := self._tables.gaps(plan, start, end):
                    together.setdefault(gaps, []).append(plan)
            for gaps, plans in together.items():
                for low, high in gaps:
                    yield from self._cut(plans, low, high)
            start = end

    def _span_end(self, start: int) -> int:
        """Return where the stretch of whole blocks that one piece may hold ends; one block when runs are dear."""
        block_end = (start // BLOCK_RUNS + 1) * BLOCK_RUNS
        cost = self._cost_of(self._plans)
        if cost is None or start % BLOCK_RUNS:
            return min(self._last, block_end)
        blocks = int(min(self._target_s / cost, self._share(start)) // BLOCK_RUNS)
        return min(self._last, start + max(1, min(blocks, MOST_BLOCKS)) * BLOCK_RUNS)

    def _share(self, start: int) -> float:
        """Return the runs that leave every worker several pieces of what is left."""
        return (self._last - start) / (3 * self._workers)

    def _cost_of(self, plans: Sequence[int]) -> float | None:
        """Return the seconds of one run of all plans; None when one is not known yet."""
        costs = [self._cost_s.get(plan) for plan in plans]
        known = [cost for cost in costs if cost is not None]
        return max(sum(known), 1e-9) if len(known) == len(costs) else None

    def _cut(self, plans: Sequence[int], low: int, high: int) -> Iterator[Piece]:
        while low < high:
            # groups and cost are asked for anew each time, for the cost is learnt while pieces are being yielded
            groups = self._groups(plans)
            costs = [self._cost_of(group) for group in groups]
            dearest = max(cost or 0.0 for cost in costs)
            if None in costs:
                runs = TRIAL_RUNS
            else:
                runs = int(min(self._target_s, max(self._share(low) * dearest, LEAST_PIECE_S)) / dearest)
            end = self._end(low, high, max(1, runs))
            for group in groups:
                yield Piece(tuple(group), low, end)
            low = end

    def _groups(self, plans: Sequence[int]) -> list[Sequence[int]]:
        """Split plans where one run of all of them is already more than a piece."""
        cost = self._cost_of(plans)
        known = [self._cost_s[plan] for plan in plans if plan in self._cost_s]
        if cost is None:
            guess = sum(known) / len(known) if known else 0.0
            size = max(1, int(self._target_s / guess)) if guess > 0 else TRIAL_RUNS * 2
        else:
            size = math.ceil(len(plans) * min(1.0, self._target_s / cost))
        return [plans[start : start + size] for start in range(0, len(plans), size)]

    @staticmethod
    def _end(low: int, high: int, runs: int) -> int:
        """Return the end of a piece: within the block of its first run, or where a block ends."""
        if low % BLOCK_RUNS == 0 and runs >= BLOCK_RUNS:
            return min(high, low + runs // BLOCK_RUNS * BLOCK_RUNS)
        return min(high, low + runs, (low // BLOCK_RUNS + 1) * BLOCK_RUNS)

    def learn(self, piece: Piece, seconds: Sequence[float]) -> None:
        """Take in what a piece took, by plan; the newest counts half, for a machine's load changes."""
        for plan, taken_s in zip(piece.plans, seconds, strict=True):
            fresh = taken_s / (piece.last - piece.first)
            old = self._cost_s.get(plan)
            self._cost_s[plan] = fresh if old is None else 0.5 * (old + fresh)
