"""What many simulated runs say: tables, and the published ``result.json`` shape."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.analysis.bottleneck import lost_time
from simulator.analysis.resources import resource_names
from simulator.analysis.summary import MEASURES, place_of
from simulator.experiment.document import as_json
from simulator.experiment.estimates import PairedInterval, paired_interval
from simulator.experiment.set_result import FRAME_ROWS, SetResult

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Result:
    """A finished experiment."""

    scenario: str
    seed: int
    sets: tuple[SetResult, ...]
    """In the scenario's order."""
    stopped: str = ""
    """Why it ended before the runs asked for; empty when it did not."""
    skipped: tuple[str, ...] = ()
    """Parts of field files that were left out, with the reason."""
    notes: tuple[str, ...] = ()
    """What was mended or assumed in reading files."""
    resumed: str = ""
    """What was found of an unfinished result that this one went on from; no part of the answer (``result.json``)."""
    beyond: int = 0
    """Finished runs, those of one more among them, that the unfinished result holds and these tables have not."""

    def paired(self) -> list[tuple[str, str, PairedInterval]]:
        """Return every pair of sets: difference of acres per day over the runs both simulated."""
        pairs = []
        # copies, for a column keeps alive those that were read with it
        acres = [entry.column("acres").copy() for entry in self.sets] if len(self.sets) > 1 else []
        for place, first in enumerate(self.sets):
            for other, second in enumerate(self.sets[place + 1 :], place + 1):
                a, b = acres[place], acres[other]
                if not np.array_equal(first.replications, second.replications):
                    _, in_first, in_second = np.intersect1d(
                        first.replications, second.replications, assume_unique=True, return_indices=True
                    )
                    a, b = a[in_first], b[in_second]
                if len(a) >= 2:
                    pairs.append((first.name, second.name, paired_interval(a, b)))
        return pairs

    @property
    def runs(self) -> pd.DataFrame:
        """One row a replication and set, all measures (see :data:`simulator.analysis.summary.MEASURES`)."""
        import pandas as pd

        return pd.concat(self.run_frames(), ignore_index=True)

    def run_frames(self, measures: Sequence[str] = MEASURES, size: int = FRAME_ROWS) -> Iterator[pd.DataFrame]:
        """Yield :attr:`runs` part by part, so that a table of any number of runs takes little memory."""
        import pandas as pd

        places = [place_of(name) for name in measures]
        for entry in self.sets:
            for replications, rows in entry.parts(size):
                frame = pd.DataFrame(rows[:, places], columns=list(measures))
                frame.insert(0, "run", replications)
                frame.insert(0, "equipment_set", entry.name)
                yield frame

    @property
    def time_use(self) -> pd.DataFrame:
        """Aircraft time by set, state and reason: hours per aircraft-day's sum, and share."""
        import pandas as pd

        records = [
            {
                "equipment_set": entry.name,
                "state": label,
                "hours_per_day": entry.mean(f"time_s/{label}") / 3600.0,
                "share": share,
            }
            for entry in self.sets
            for label, share in entry.time_share().items()
        ]
        return pd.DataFrame.from_records(records, columns=["equipment_set", "state", "hours_per_day", "share"])

    @property
    def bottleneck(self) -> pd.DataFrame:
        """The four views by set and resource: time lost, utilisation, momentary bottleneck, and what one more adds."""
        import pandas as pd

        records: list[dict[str, Any]] = []
        for entry in self.sets:
            lost, used, active = lost_time(entry.time_share()), entry.utilisation(), entry.active_period_share()
            for name in resource_names():
                record: dict[str, Any] = {
                    "equipment_set": entry.name,
                    "resource": name,
                    "time_lost_share": lost.get(name, 0.0),
                    "utilisation": used[name],
                    "active_period_share": active[name],
                }
                changes = [change for change in entry.one_more if change.resource == name]
                best = max(changes, key=lambda change: change.acres_per_day, default=None)
                record |= {
                    "one_more": best.change if best else "",
                    "one_more_acres_per_day": best.acres_per_day if best else math.nan,
                    "one_more_ci95_low": best.low if best else math.nan,
                    "one_more_ci95_high": best.high if best else math.nan,
                }
                records.append(record)
        return pd.DataFrame.from_records(records)

    def to_json(self) -> dict[str, Any]:
        """Return the published shape of ``result.json``; NaN becomes null."""
        pairs = [
            {"a": a, "b": b, "difference": pair.mean, "ci95": (pair.low, pair.high),
             "a_wins_share": pair.a_wins_share, "runs": pair.n}
            for a, b, pair in self.paired()
        ]  # fmt: skip
        document: dict[str, Any] = as_json({
            "scenario": self.scenario, "seed": self.seed, "stopped": self.stopped, "skipped": self.skipped,
            "notes": self.notes, "equipment_sets": [entry.to_json() for entry in self.sets], "paired": pairs,
        })  # fmt: skip
        return document
