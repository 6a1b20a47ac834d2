"""Tables of finished runs: which there are, and rows and columns read from their store when asked.

In memory are eight bytes a run and set for the acres, which sequential stopping looks at again and again; everything
else stays in the store.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import MEASURES, columns
from simulator.experiment.run_store import CHUNK_ROWS, Numbers, Rows, RunStore

AHEAD_BYTES = 2_000_000
"""Columns that are read together with one that is asked for may take this much memory."""
_ACRES = MEASURES.index("acres")


class StoredRows:
    """The finished runs of one plan, read from their store when asked."""

    def __init__(
        self, store: RunStore, plan: int, numbers: Numbers, ahead: dict[tuple[int, int], Rows] | None = None
    ) -> None:
        self._store, self._plan, self._numbers = store, plan, numbers
        self._ahead: dict[tuple[int, int], Rows] = {} if ahead is None else ahead

    def __len__(self) -> int:
        return len(self._numbers)

    def chunks(self, size: int = CHUNK_ROWS) -> Iterator[Rows]:
        """Yield all rows in order, at most ``size`` at a time, each part of shape (n, len(columns()))."""
        for start in range(0, len(self._numbers), size):
            yield self._store.rows(self._plan, self._numbers[start : start + size])

    def rows(self) -> Rows:
        """Return all rows, shape (runs, len(columns())); as much memory as that takes."""
        rows = np.empty((len(self), len(columns())))
        at = 0
        for part in self.chunks():
            rows[at : at + len(part)] = part
            at += len(part)
        return rows

    def column(self, place: int) -> Rows:
        """Return one column, shape (runs,), read-only; neighbours, mostly asked for next, are read with it."""
        found = self._ahead.get((self._plan, place))
        if found is not None and len(found) == len(self):
            return found
        count = max(1, AHEAD_BYTES // (8 * max(1, len(self))))
        near = slice(place, min(len(columns()), place + count))
        self._ahead.clear()
        read = np.empty((near.stop - near.start, len(self)))
        at = 0
        for part in self.chunks():
            read[:, at : at + len(part)] = part[:, near].T
            at += len(part)
        read.flags.writeable = False
        self._ahead.update({(self._plan, place + number): one for number, one in enumerate(read)})
        return self._ahead[self._plan, place]

    def __reduce__(self) -> tuple[Any, tuple[Any, ...]]:
        """Pickle as a plain array: the file stays here."""
        return np.asarray, (self.rows(),)


class Tables:
    """Rows of finished runs by plan."""

    def __init__(self, plans: int, store: RunStore | None = None) -> None:
        self.store = RunStore(len(columns())) if store is None else store
        self._acres: list[Rows] = [np.zeros(0) for _ in range(plans)]
        """By plan and replication; NaN where there is no run."""
        self._ahead: dict[tuple[int, int], Rows] = {}

    def load(self) -> int:
        """Take in what the store holds of these plans and return how many runs that is."""
        for plan, numbers, rows in self.store.load():
            if plan < len(self._acres):
                known = np.isfinite(rows[:, _ACRES])
                self._note(plan, numbers[known], rows[known, _ACRES])
        return sum(map(self.done, range(len(self._acres))))

    def reserve(self, plan: int, last: int) -> None:
        """Make room for replications up to ``last - 1`` in one go."""
        lacking = max(0, last - len(self._acres[plan]))
        self._acres[plan] = np.concatenate((self._acres[plan], np.full(lacking, np.nan)))

    def add(self, plan: int, first: int, rows: Rows) -> None:
        """Keep consecutive runs of a plan."""
        self.store.add(plan, first, rows)
        self._note(plan, first + np.arange(len(rows)), rows[:, _ACRES])

    def _note(self, plan: int, numbers: Numbers, acres: Rows) -> None:
        end, room = int(numbers.max(initial=-1)) + 1, len(self._acres[plan])
        if end > room:
            # half as much again, so that runs that come one by one are not copied each time
            self.reserve(plan, end + room // 2)
        self._acres[plan][numbers] = acres

    def _missing(self, plan: int, first: int, last: int) -> NDArray[np.bool_]:
        """Tell for each replication between two whether a plan lacks it."""
        missing = np.ones(max(0, last - first), np.bool_)
        held = self._acres[plan][first:last]
        missing[: len(held)] = np.isnan(held)
        return missing

    def gaps(self, plan: int, first: int, last: int) -> tuple[tuple[int, int], ...]:
        """Return the stretches [from, to) of replications that a plan lacks between two of them."""
        edges = np.flatnonzero(np.diff(self._missing(plan, first, last), prepend=False, append=False)) + first
        return tuple(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))

    def known(self, plan: int, first: int, last: int) -> int:
        """Return how many runs a plan has between two replications."""
        return int((~self._missing(plan, first, last)).sum())

    def done(self, plan: int) -> int:
        """Return how many runs of a plan are finished."""
        return len(self.acres(plan))

    def whole(self, plans: Sequence[int] | None = None, before: int | None = None) -> int:
        """Return up to which replication the plans (all by default) have finished without a gap, at most ``before``."""
        chosen = range(len(self._acres)) if plans is None else plans
        ends = [np.argmax(self._missing(plan, 0, len(self._acres[plan]) + 1)) for plan in chosen]
        whole = int(min(ends))
        return whole if before is None else min(whole, before)

    def acres(self, plan: int, before: int | None = None) -> Rows:
        """Return acres per day in the order of replications, only those below ``before`` where it is given."""
        values = self._acres[plan][:before]
        known: Rows = values[~np.isnan(values)]
        return known

    def stored(self, plan: int, before: int | None = None) -> tuple[Numbers, StoredRows]:
        """Return the replication numbers, ascending, and their rows where they are; see :meth:`acres`."""
        numbers = np.flatnonzero(~np.isnan(self._acres[plan][:before]))
        return numbers, StoredRows(self.store, plan, numbers, self._ahead)

    def table(self, plan: int) -> tuple[Numbers, Rows]:
        """Return the replication numbers, ascending, and their rows, shape (runs, len(columns()))."""
        numbers, stored = self.stored(plan)
        return numbers, stored.rows()
