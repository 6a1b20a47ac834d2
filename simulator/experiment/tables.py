"""Tables of finished days: where each row stands in a record file, and rows and columns read when asked.

In memory are eight bytes a day and set for the place and eight for the acres, which sequential stopping looks at
again and again; everything else stays in the file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import MEASURES, columns
from simulator.experiment.record_file import CHUNK_ROWS, Places, RecordFile, Rows

AHEAD_BYTES = 2_000_000
"""Columns that are read together with one that is asked for may take this much memory."""
_ACRES = MEASURES.index("acres")


class StoredRows:
    """The finished days of one plan, read from their file when asked.

    Parameters
    ----------
    records : RecordFile
        Where they are.
    places : ndarray of int, shape (days,)
        Place of each row, in the order of replications.
    ahead : dict
        Columns last read, by plan and column; shared by all plans of a run, so that their sum is bounded.
    plan : int
        Plan number.
    """

    def __init__(
        self, records: RecordFile, places: Places, ahead: dict[tuple[int, int], Rows] | None = None, plan: int = 0
    ) -> None:
        self._records, self._places, self._plan = records, places, plan
        self._ahead: dict[tuple[int, int], Rows] = {} if ahead is None else ahead

    def __len__(self) -> int:
        return len(self._places)

    def chunks(self, size: int = CHUNK_ROWS) -> Iterator[Rows]:
        """Yield all rows in order, at most ``size`` at a time, each part of shape (n, len(columns()))."""
        for start in range(0, len(self._places), size):
            yield self._records.rows(self._places[start : start + size])

    def rows(self) -> Rows:
        """Return all rows, shape (days, len(columns())); as much memory as that takes."""
        rows = np.empty((len(self), len(columns())))
        at = 0
        for part in self.chunks():
            rows[at : at + len(part)] = part
            at += len(part)
        return rows

    def column(self, place: int) -> Rows:
        """Return one column, shape (days,), not to be written to.

        Its neighbours are read with it while they are few bytes, for they are mostly asked for next.

        Parameters
        ----------
        place : int
            Place of the column in :func:`simulator.analysis.summary.columns`.
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
    """Rows of finished days by plan.

    Parameters
    ----------
    plans : int
        Number of plans.
    records : RecordFile, optional
        Where rows go; by default one of its own, in memory while small and then in a temporary file.
    """

    def __init__(self, plans: int, records: RecordFile | None = None) -> None:
        self.records = RecordFile(len(columns())) if records is None else records
        self._index = [_Index() for _ in range(plans)]
        self._ahead: dict[tuple[int, int], Rows] = {}

    def load(self) -> int:
        """Take in what the record file holds and return how many rows that is; of a day twice there, the last."""
        for places, found in self.records.whole_records():
            for plan, index in enumerate(self._index):
                mine = found["plan"] == plan
                if mine.any():
                    index.set(found["replication"][mine], places[mine], found["row"][mine][:, _ACRES])
        return sum(index.count for index in self._index)

    def reserve(self, plan: int, first: int, last: int) -> None:
        """Make room for the places of replications ``first`` to ``last - 1`` in one go."""
        self._index[plan].reserve(first, last)

    def add(self, plan: int, first: int, rows: Rows) -> None:
        """Keep consecutive days of a plan.

        Raises
        ------
        InputError
            The disk is full; these days are not kept then.
        """
        place = self.records.append(plan, first, rows)
        days = np.arange(len(rows))
        self._index[plan].set(first + days, place + days, rows[:, _ACRES])

    def gaps(self, plan: int, first: int, last: int) -> tuple[tuple[int, int], ...]:
        """Return the stretches [from, to) of replications that a plan lacks between two of them."""
        lacking = np.flatnonzero(self._index[plan].missing(first, last))
        if len(lacking) == 0:
            return ()
        cuts = np.flatnonzero(np.diff(lacking) != 1)
        starts, ends = [lacking[0], *lacking[cuts + 1]], [*lacking[cuts], lacking[-1]]
        return tuple((first + int(start), first + int(end) + 1) for start, end in zip(starts, ends, strict=True))

    def known(self, plan: int, first: int, last: int) -> int:
        """Return how many days a plan has between two replications."""
        return int((~self._index[plan].missing(first, last)).sum())

    def done(self, plan: int) -> int:
        """Return how many days of a plan are finished."""
        return self._index[plan].count

    def whole(self, plans: Sequence[int] | None = None, before: int | None = None) -> int:
        """Return up to which replication the plans (all by default) have finished without a gap, at most ``before``."""
        chosen = self._index if plans is None else [self._index[plan] for plan in plans]
        whole = min(index.whole() for index in chosen)
        return whole if before is None else min(whole, before)

    def acres(self, plan: int, before: int | None = None) -> Rows:
        """Return acres per day in the order of replications, only those below ``before`` where it is given."""
        return self._index[plan].acres(before)

    def stored(self, plan: int, before: int | None = None) -> tuple[NDArray[np.int64], StoredRows]:
        """Return the replication numbers, ascending, and their rows where they are; see :meth:`acres`."""
        numbers, places = self._index[plan].found(before)
        return numbers, StoredRows(self.records, places, self._ahead, plan)

    def table(self, plan: int) -> tuple[NDArray[np.int64], Rows]:
        """Return the replication numbers, ascending, and their rows, shape (days, len(columns()))."""
        numbers, stored = self.stored(plan)
        return numbers, stored.rows()


class _Index:
    """Where the rows of one plan stand, and their acres, by replication."""

    __slots__ = ("_acres", "_first", "_place", "count")

    def __init__(self) -> None:
        self.count = 0
        self._first = 0
        # one more than the place; 0 is a day that has not finished. Zeros cost no memory until they are written.
        self._place = np.zeros(0, np.int64)
        self._acres = np.zeros(0)

    def reserve(self, first: int, last: int) -> None:
        """Hold replications ``first`` to ``last - 1``."""
        end = self._first + len(self._place)
        if len(self._place) and self._first <= first and last <= end:
            return
        low, high = (min(first, self._first), max(last, end)) if len(self._place) else (first, last)
        place, acres = np.zeros(high - low, np.int64), np.zeros(high - low)
        here = slice(self._first - low, self._first - low + len(self._place))
        if len(self._place):
            place[here], acres[here] = self._place, self._acres
        self._first, self._place, self._acres = low, place, acres

    def set(self, numbers: NDArray[np.int64], places: Places, acres: Rows) -> None:
        """Note days; of equal numbers the last counts."""
        if len(numbers) == 0:
            return
        low, high = int(numbers.min()), int(numbers.max()) + 1
        end = self._first + len(self._place)
        if not (len(self._place) and self._first <= low and high <= end):
            # half as much again, so that days that come one by one are not copied each time
            self.reserve(low, high if high <= end else high + len(self._place) // 2)
        at = numbers - self._first
        fresh = np.unique(at[self._place[at] == 0])
        self._place[at], self._acres[at] = places + 1, acres
        self.count += len(fresh)

    def missing(self, first: int, last: int) -> NDArray[np.bool_]:
        """Tell for each replication between two whether it is missing."""
        lacking = np.ones(max(0, last - first), np.bool_)
        low, high = max(first, self._first), min(last, self._first + len(self._place))
        if low < high:
            lacking[low - first : high - first] = self._place[low - self._first : high - self._first] == 0
        return lacking

    def whole(self) -> int:
        """Return up to which replication there is no gap from 0 on."""
        if self._first > 0 or len(self._place) == 0:
            return 0
        holes = np.flatnonzero(self._place == 0)
        return int(holes[0]) if len(holes) else len(self._place)

    def found(self, before: int | None = None) -> tuple[NDArray[np.int64], Places]:
        """Return replication numbers, ascending, and places."""
        at = np.flatnonzero(self._place[: self._end(before)])
        return at + self._first, self._place[at] - 1

    def acres(self, before: int | None = None) -> Rows:
        """Return acres in the order of replications."""
        end = self._end(before)
        values: Rows = self._acres[:end][self._place[:end] != 0]
        return values

    def _end(self, before: int | None) -> int:
        return len(self._place) if before is None else max(0, min(len(self._place), before - self._first))
