"""One day's log as a table, one row an interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.analysis.day_rows import DayRows
from simulator.report.numbers import clock_text

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    "start_s", "end_s", "clock_start", "clock_end", "entity", "kind", "activity", "reason", "field", "amount", "unit",
)  # fmt: skip


def day_frame(rows: DayRows) -> pd.DataFrame:
    """Return a day's log as a table."""
    import pandas as pd

    records = []
    for start_s, end_s, *texts, amount, unit in rows:
        clocks: list[str | None] = [None, None]
        if rows.day_start_s is not None:
            clocks = [clock_text(rows.day_start_s + time, with_seconds=True) for time in (start_s, end_s)]
        records.append((start_s, end_s, *clocks, *texts, amount, unit))
    return pd.DataFrame.from_records(records, columns=list(COLUMNS))
