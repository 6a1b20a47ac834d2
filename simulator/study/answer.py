"""What every study gives: an answer whose parts are named once and become its document, its tables and its text."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from simulator.experiment.document import as_json
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import AreaUnit

if TYPE_CHECKING:
    import pandas as pd

Columns = Mapping[str, Callable[[Any], Any]]
"""Heads of a table, and what stands under each for a row."""


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The answer of a study; what it is made of stands in its fields."""

    study: ClassVar[str]
    document: ClassVar[tuple[str, ...]] = ()
    """Names of what goes into the JSON document, in order; ``key=attribute`` where the two differ."""
    files: ClassVar[tuple[str, ...]] = ()
    """Files and the attributes that hold their tables, as ``file=attribute``; None: no such table."""

    unit: AreaUnit
    simulated: dict[str, int] = field(default_factory=dict)
    """Runs simulated, by equipment set."""
    stopped: str = ""
    """Why the study ended early; empty when it did not."""
    costs: Costs | None = None

    @property
    def sentences(self) -> list[str]:
        """The answer as one would tell it, the first sentence alone being enough."""
        return self._sentences()

    def _sentences(self) -> list[str]:
        raise NotImplementedError

    @property
    def sentence(self) -> str:
        """The first sentence."""
        return self.sentences[0]

    @property
    def rows(self) -> list[list[str]]:
        """The table for people, its head first."""
        return self._rows()

    def _rows(self) -> list[list[str]]:
        raise NotImplementedError

    @property
    def remarks(self) -> list[str]:
        """What to know beside it."""
        return self._remarks()

    def _remarks(self) -> list[str]:
        raise NotImplementedError

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables with all digits, by file name."""
        found = ((name, getattr(self, place)) for name, _, place in (one.partition("=") for one in self.files))
        return {name: table for name, table in found if table is not None}

    @property
    def currency(self) -> str:
        """Currency of the scenario; empty without costs."""
        return "" if self.costs is None else self.costs.currency

    @property
    def money(self) -> str | None:
        """Currency of the scenario; None without costs."""
        return self.currency or None

    @property
    def per_day(self) -> str:
        """The unit of output."""
        return f"{self.unit.name} a day"

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a JSON-able document; infinity (never) and what is missing are null."""
        return {"study": self.study, **as_json(self)}


def frame(rows: Iterable[Any], columns: Columns) -> pd.DataFrame:
    """Return a table of data, NaN where a number is missing."""
    import pandas as pd

    found = [[math.nan if (value := get(row)) is None else value for get in columns.values()] for row in rows]
    return pd.DataFrame(found, columns=list(columns))


def shown(rows: Iterable[Any], columns: Columns) -> list[list[str]]:
    """Return a table for people, its head first, a dash where something is missing."""
    return [list(columns), *(["–" if (text := get(row)) is None else text for get in columns.values()] for row in rows)]


def attributes(*names: str, per: float = 1.0) -> Columns:
    """Return columns of attributes, each ``head=attribute``; a ``/`` behind divides, and of None all is None."""

    def reader(path: str) -> Callable[[Any], Any]:
        def read(row: Any) -> Any:
            for part in path.removesuffix("/").split("."):
                row = None if row is None else getattr(row, part)
            return float(row) / per if path.endswith("/") and row is not None else row

        return read

    split = (name.partition("=") for name in names)
    return {head: reader(path or head) for head, _, path in split}


@dataclass(frozen=True)
class Spread:
    """The 10th, 50th and 90th percentile over drawn futures; infinity is never."""

    p10: float
    p50: float
    p90: float


def spread_of(values: NDArray[Any], method: Literal["linear", "inverted_cdf"] = "linear") -> Spread:
    """Return three percentiles; by "inverted_cdf" values that occur, so that infinity does not turn into NaN."""
    return Spread(*(float(value) for value in np.quantile(values, [0.1, 0.5, 0.9], method=method)))
