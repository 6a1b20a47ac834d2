"""One day's log as a table, one row an interval."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from simulator.analysis.day_rows import Interval
from simulator.report.numbers import clock_text

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    "start_s", "end_s", "clock_start", "clock_end", "entity", "kind", "activity", "reason", "field", "amount", "unit",
)  # fmt: skip


def day_frame(rows: Sequence[Interval], day_start_s: float) -> pd.DataFrame:
    """Return a day's log as a table, one row an interval in order of time.

    ``start_s`` and ``end_s`` are from the start of the day, which is given after midnight; ``field`` is, of a person's
    task or a charge, what it was done to; ``amount`` is in ``unit``: m2 sprayed, L or kg filled and mixed, Wh from the
    supply or into a pack, L of fuel, m driven; empty where an amount has no meaning.
    """
    import pandas as pd

    records = []
    for start_s, end_s, *texts, amount, unit in rows:
        clocks = [clock_text(day_start_s + time, with_seconds=True) for time in (start_s, end_s)]
        records.append((start_s, end_s, *clocks, *texts, amount, unit))
    return pd.DataFrame.from_records(records, columns=list(COLUMNS))
