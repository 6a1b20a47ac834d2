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
        """Return one column, shape (runs,), not to be written to.

        Its neighbours are read with it while they are few bytes, for they are mostly asked for next.
        """
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
        self._index = [_Index() for _ in range(plans)]
        self._ahead: dict[tuple[int, int], Rows] = {}

    def load(self) -> int:
        """Take in what the store holds of these plans and return how many runs that is."""
        for plan, numbers, rows in self.store.load():
            if plan < len(self._index):
                known = np.isfinite(rows[:, _ACRES])
                self._index[plan].set(numbers[known], rows[known, _ACRES])
        return sum(index.count for index in self._index)

    def reserve(self, plan: int, last: int) -> None:
        """Make room for replications up to ``last - 1`` in one go."""
        self._index[plan].reserve(last)

    def add(self, plan: int, first: int, rows: Rows) -> None:
        """Keep consecutive runs of a plan."""
        self.store.add(plan, first, rows)
        self._index[plan].set(first + np.arange(len(rows)), rows[:, _ACRES])

    def gaps(self, plan: int, first: int, last: int) -> tuple[tuple[int, int], ...]:
        """Return the stretches [from, to) of replications that a plan lacks between two of them."""
        lacking = np.flatnonzero(self._index[plan].missing(first, last))
        if len(lacking) == 0:
            return ()
        cuts = np.flatnonzero(np.diff(lacking) != 1)
        starts, ends = [lacking[0], *lacking[cuts + 1]], [*lacking[cuts], lacking[-1]]
        return tuple((first + int(start), first + int(end) + 1) for start, end in zip(starts, ends, strict=True))

    def known(self, plan: int, first: int, last: int) -> int:
        """Return how many runs a plan has between two replications."""
        return int((~self._index[plan].missing(first, last)).sum())

    def done(self, plan: int) -> int:
        """Return how many runs of a plan are finished."""
        return self._index[plan].count

    def whole(self, plans: Sequence[int] | None = None, before: int | None = None) -> int:
        """Return up to which replication the plans (all by default) have finished without a gap, at most ``before``."""
        chosen = self._index if plans is None else [self._index[plan] for plan in plans]
        whole = min(index.whole() for index in chosen)
        return whole if before is None else min(whole, before)

    def acres(self, plan: int, before: int | None = None) -> Rows:
        """Return acres per day in the order of replications, only those below ``before`` where it is given."""
        return self._index[plan].acres(before)

    def stored(self, plan: int, before: int | None = None) -> tuple[Numbers, StoredRows]:
        """Return the replication numbers, ascending, and their rows where they are; see :meth:`acres`."""
        numbers = self._index[plan].found(before)
        return numbers, StoredRows(self.store, plan, numbers, self._ahead)

    def table(self, plan: int) -> tuple[Numbers, Rows]:
        """Return the replication numbers, ascending, and their rows, shape (runs, len(columns()))."""
        numbers, stored = self.stored(plan)
        return numbers, stored.rows()


class _Index:
    """The acres of one plan's finished runs, by replication from 0; NaN where there is none."""

    __slots__ = ("_acres", "count")

    def __init__(self) -> None:
        self.count = 0
        self._acres = np.zeros(0)

    def reserve(self, last: int) -> None:
        """Hold replications up to ``last - 1``."""
        lacking = last - len(self._acres)
        if lacking > 0:
            self._acres = np.concatenate((self._acres, np.full(lacking, np.nan)))

    def set(self, numbers: Numbers, acres: Rows) -> None:
        """Note runs."""
        end = int(numbers.max(initial=-1)) + 1
        if end > len(self._acres):
            # half as much again, so that runs that come one by one are not copied each time
            self.reserve(end + len(self._acres) // 2)
        self.count += int(np.isnan(self._acres[numbers]).sum())
        self._acres[numbers] = acres

    def missing(self, first: int, last: int) -> NDArray[np.bool_]:
        """Tell for each replication between two whether it is missing."""
        lacking = np.ones(max(0, last - first), np.bool_)
        held = self._acres[first:last]
        lacking[: len(held)] = np.isnan(held)
        return lacking

    def whole(self) -> int:
        """Return up to which replication there is no gap from 0 on."""
        holes = np.flatnonzero(np.isnan(self._acres))
        return int(holes[0]) if len(holes) else len(self._acres)

    def found(self, before: int | None = None) -> Numbers:
        """Return replication numbers, ascending."""
        return np.flatnonzero(~np.isnan(self._acres[:before]))

    def acres(self, before: int | None = None) -> Rows:
        """Return acres in the order of replications."""
        values = self._acres[:before]
        known: Rows = values[~np.isnan(values)]
        return known
