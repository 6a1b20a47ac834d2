"""Reading a result folder back, with every file checked: a report never trusts what it is given."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.errors import InputError, Problem
from simulator.report.stored_schema import DayRecord, Manifest, ResultDocument, problems_of
from simulator.report.writing import file_stem, plain, plain_cell
from simulator.scenario.loading import EquipmentSet, load_scenario

if TYPE_CHECKING:
    import pandas as pd

LARGEST_JSON_BYTES = 100_000_000
LARGEST_DAY_BYTES = 20_000_000
LARGEST_TABLE_BYTES = 2_000_000_000
_RUNS = "runs.csv"
_TABLES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    # file: (columns of text, columns of numbers that must stand)
    _RUNS: (("equipment_set",), ("run", "acres", "hectares", "full_day_acres")),
    "time_use.csv": (("equipment_set", "state"), ("hours_per_day", "share")),
    "bottleneck.csv": (
        ("equipment_set", "resource", "one_more"),
        (
            "time_lost_share", "utilisation", "active_period_share",
            "one_more_acres_per_day", "one_more_ci95_low", "one_more_ci95_high",
        ),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class StoredResult:
    """A result folder's content."""

    folder: Path
    document: dict[str, Any]
    runs: pd.DataFrame
    time_use: pd.DataFrame
    bottleneck: pd.DataFrame
    manifest: dict[str, Any]
    day_records: dict[str, dict[str, Any]] = field(default_factory=dict)

    def equipment_set(self, name: str) -> dict[str, Any]:
        """Return one set of the document."""
        for entry in self.document["equipment_sets"]:
            if entry["name"] == name:
                found: dict[str, Any] = entry
                return found
        have = ", ".join(plain(entry["name"], 60) for entry in self.document["equipment_sets"][:20])
        raise InputError.single(
            f"got {plain(name, 60)!r}, which is no equipment set of this result; allowed is one of: {have}"
        )

    def scenario_of(self, name: str) -> EquipmentSet:
        """Return the scenario of one set, read from the manifest; the files that it names lie beside it.

        Raises
        ------
        InputError
            There is no such set, or its scenario is not valid.
        """
        self.equipment_set(name)
        table = self.manifest.get("resolved", {}).get(name)
        if table is None:
            where = f"resolved.{plain(name, 60)}"
            raise InputError.single("missing; allowed is the set's scenario", where, str(self.folder / "manifest.json"))
        return replace(load_scenario(table, folder=self.folder).sets[0], name=name)


def read_result(folder: Path) -> StoredResult:
    """Read a result folder."""
    name = str(folder)
    if not folder.is_dir():
        raise InputError.single("is no folder; allowed is a result folder written by acreday run or compare", file=name)
    if not (folder / "result.json").is_file():
        message = "is no result folder: it holds no result.json; allowed is a folder written by acreday run or compare"
        raise InputError.single(message, file=name)
    problems: list[Problem] = []
    document = read_json(folder / "result.json", ResultDocument, problems)
    manifest = read_json(folder / "manifest.json", Manifest, problems)
    if problems or document is None or manifest is None:
        raise InputError(problems)
    names = [entry["name"] for entry in document["equipment_sets"]]
    tables = {file: _read_table(folder / file, names, problems) for file in _TABLES}
    records: dict[str, dict[str, Any]] = {}
    for set_name in names:
        path = folder / f"day_{file_stem(set_name)}.json"
        if path.is_file():
            record = read_json(path, DayRecord, problems, LARGEST_DAY_BYTES)
            if record is not None:
                records[set_name] = record
    runs, time_use, bottleneck = tables.values()
    if problems or runs is None or time_use is None or bottleneck is None:
        raise InputError(problems)
    return StoredResult(folder, document, runs, time_use, bottleneck, manifest, records)


def _finite_number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"the number {text[:40]} is not finite")
    return value


def _no_constant(text: str) -> float:
    raise ValueError(f"the number {text} is not finite")


def read_json(
    path: Path, model: Any, problems: list[Problem], most_bytes: int = LARGEST_JSON_BYTES
) -> dict[str, Any] | None:
    """Return a JSON file's table when it is what the model says, or None with its problems noted."""
    try:
        if not path.is_file():
            raise ValueError("is missing")
        if path.stat().st_size > most_bytes:
            raise ValueError(f"is larger than {most_bytes // 1_000_000} MB")
        content = json.loads(path.read_bytes().decode("utf-8"), parse_float=_finite_number, parse_constant=_no_constant)
        if not isinstance(content, dict):
            raise ValueError("holds no table at its top")
        found = [Problem(where, message, path.name) for where, message in problems_of(model, content)]
    except RecursionError:
        problems.append(Problem("", "is nested too deeply", path.name))
    except OSError as error:
        problems.append(Problem("", f"cannot be read: {error.strerror or error}", path.name))
    except UnicodeDecodeError:
        problems.append(Problem("", "is not UTF-8 text", path.name))
    except json.JSONDecodeError as error:
        problems.append(Problem("", f"is broken JSON (line {error.lineno}: {error.msg})", path.name))
    except ValueError as error:
        problems.append(Problem("", plain(error, 200), path.name))
    else:
        problems += found
        return None if found else content
    return None


def _read_table(path: Path, names: list[str], problems: list[Problem]) -> pd.DataFrame | None:
    """Return a CSV file, or None with a problem noted."""
    import pandas as pd

    texts, numbers = _TABLES[path.name]
    known = set(names)

    def set_name(cell: str) -> str:
        # a name may itself begin with the mark that disarms a formula
        return cell if cell in known else plain_cell(cell)

    try:
        if not path.is_file():
            raise ValueError("is missing")
        if path.stat().st_size > LARGEST_TABLE_BYTES:
            raise ValueError(f"is larger than {LARGEST_TABLE_BYTES // 1_000_000} MB")
        # a run's row has many more numbers than a report shows
        wanted = {*texts, *numbers} if path.name == _RUNS else None
        heads = list(pd.read_csv(path, nrows=0, encoding="utf-8").columns)
        # only numbers can be missing: a set may be named "NA"
        empty = {column: [""] for column in heads if column not in texts}
        kinds = dict.fromkeys(texts, "str") if wanted is None else dict.fromkeys(texts, "category")
        frame = pd.read_csv(
            path,
            usecols=None if wanted is None else wanted.__contains__,
            dtype=kinds,
            na_values=empty,
            keep_default_na=False,
            encoding="utf-8",
            low_memory=wanted is not None,
        )
        missing = [column for column in (*texts, *numbers) if column not in frame.columns]
        if missing:
            raise ValueError(f"lacks the columns {', '.join(missing)}")
        for column in texts:
            read = set_name if column == "equipment_set" else plain_cell
            cells = {cell: read(cell) for cell in frame[column].unique()}
            plainly = frame[column].map(cells)
            frame[column] = plainly if wanted is None else plainly.astype("category")
        for column in numbers:
            if frame[column].dtype.kind not in "biuf":
                raise ValueError(f"column {column} holds text; allowed are numbers")
            if not (frame[column].isna() | frame[column].abs().lt(math.inf)).all():
                raise ValueError(f"column {column} holds a number that is not finite")
        strangers = sorted(set(frame["equipment_set"].unique()) - known)
        if strangers:
            raise ValueError(f"names {plain(strangers[0], 60)!r}, which is no equipment set of result.json")
    except OSError as error:
        problems.append(Problem("", f"cannot be read: {error.strerror or error}", path.name))
    except UnicodeDecodeError:
        problems.append(Problem("", "is not UTF-8 text", path.name))
    except ValueError as error:  # pandas' parser errors are ValueErrors as well
        problems.append(Problem("", plain(error, 200), path.name))
    else:
        return frame
    return None
