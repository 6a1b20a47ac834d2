"""Reading a result folder back, with every file checked: a report never trusts what it is given."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.errors import InputError, Problem
from simulator.report.numbers import clock_seconds
from simulator.report.writing import file_stem, plain, plain_cell

if TYPE_CHECKING:
    import pandas as pd

LARGEST_JSON_BYTES = 100_000_000
LARGEST_TABLE_BYTES = 2_000_000_000
MOST_SETS = 1000
_LONGEST_NAME = 200
_DAYS = "days.csv"
_TABLES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    # file: (columns of text, columns of numbers that must stand)
    _DAYS: (("equipment_set",), ("replication", "acres", "hectares")),
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
    """A result folder's content.

    Parameters
    ----------
    folder : Path
        Where it was read from.
    document : dict
        ``result.json``.
    days : pandas.DataFrame
        What reports need of ``days.csv``: ``equipment_set`` (categorical), ``replication``, ``acres``, ``hectares``.
    time_use, bottleneck : pandas.DataFrame
        The tables of the same names.
    manifest : dict
        ``manifest.json``.
    day_records : dict
        Equipment set to its median day's record; sets without one are missing.
    """

    folder: Path
    document: dict[str, Any]
    days: pd.DataFrame
    time_use: pd.DataFrame
    bottleneck: pd.DataFrame
    manifest: dict[str, Any]
    day_records: dict[str, dict[str, Any]] = field(default_factory=dict)

    def equipment_set(self, name: str) -> dict[str, Any]:
        """Return one set of the document.

        Raises
        ------
        InputError
            There is no such set.
        """
        for entry in self.document["equipment_sets"]:
            if entry["name"] == name:
                found: dict[str, Any] = entry
                return found
        have = ", ".join(plain(entry["name"], 60) for entry in self.document["equipment_sets"][:20])
        raise InputError.single(
            f"got {plain(name, 60)!r}, which is no equipment set of this result; allowed is one of: {have}"
        )


def read_result(folder: Path) -> StoredResult:
    """Read a result folder.

    Parameters
    ----------
    folder : Path
        As written by ``acreday run`` or ``compare``.

    Raises
    ------
    InputError
        It is no result folder, a file is missing, broken or too large, or its content is not what a result holds; all
        problems at once.
    """
    name = str(folder)
    if not folder.is_dir():
        raise InputError.single("is no folder; allowed is a result folder written by acreday run or compare", file=name)
    if not (folder / "result.json").is_file():
        message = "is no result folder: it holds no result.json; allowed is a folder written by acreday run or compare"
        raise InputError.single(message, file=name)
    problems: list[Problem] = []
    document = _read_json(folder / "result.json", problems)
    manifest = _read_json(folder / "manifest.json", problems)
    if document is not None:
        problems += [Problem(where, message, "result.json") for where, message in _Checker().document(document)]
    if manifest is not None and not isinstance(manifest.get("resolved", {}), dict):
        problems.append(Problem("resolved", "got no table; allowed is a table by equipment set", "manifest.json"))
    if problems or document is None or manifest is None:
        raise InputError(problems)
    names = [entry["name"] for entry in document["equipment_sets"]]
    tables = {file: _read_table(folder / file, names, problems) for file in _TABLES}
    records: dict[str, dict[str, Any]] = {}
    for set_name in names:
        path = folder / f"day_{file_stem(set_name)}.json"
        if path.is_file():
            record = _read_json(path, problems)
            if record is not None:
                records[set_name] = record
    days, time_use, bottleneck = tables.values()
    if problems or days is None or time_use is None or bottleneck is None:
        raise InputError(problems)
    return StoredResult(folder, document, days, time_use, bottleneck, manifest, records)


def _finite_number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"the number {text[:40]} is not finite")
    return value


def _no_constant(text: str) -> float:
    raise ValueError(f"the number {text} is not finite")


def _read_json(path: Path, problems: list[Problem]) -> dict[str, Any] | None:
    """Return a JSON file's table, or None with a problem noted."""
    try:
        if not path.is_file():
            raise ValueError("is missing")
        if path.stat().st_size > LARGEST_JSON_BYTES:
            raise ValueError(f"is larger than {LARGEST_JSON_BYTES // 1_000_000} MB")
        content = json.loads(path.read_bytes().decode("utf-8"), parse_float=_finite_number, parse_constant=_no_constant)
        if not isinstance(content, dict):
            raise ValueError("holds no table at its top")
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
        return content
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
        # a day's row has many more numbers than a report shows
        wanted = {*texts, *numbers} if path.name == _DAYS else None
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


class _Checker:
    """Walks a result document and notes everything that is not as published."""

    def __init__(self) -> None:
        self.found: list[tuple[str, str]] = []

    def document(self, document: Mapping[str, Any]) -> list[tuple[str, str]]:
        """Return the problems of a document as (place, message)."""
        self._text(document, "scenario", "")
        self._number(document, "seed", "", whole=True)
        if document.get("units", "us") not in ("us", "metric"):
            self._note("units", document["units"], "'us' or 'metric'")
        if document.get("day_start_s") is not None:
            self._number(document, "day_start_s", "")
        if document.get("day_start") is not None:
            try:
                clock_seconds(str(document["day_start"]))
            except ValueError:
                self._note("day_start", document["day_start"], "a clock time such as '07:00'")
        for key in ("stopped", "title"):
            if not isinstance(document.get(key, ""), str):
                self._note(key, document[key], "a text")
        skipped = document.get("skipped", [])
        if not (isinstance(skipped, list) and all(isinstance(text, str) for text in skipped)):
            self._note("skipped", skipped, "a list of texts")
        sets = document.get("equipment_sets")
        if not isinstance(sets, list) or not 1 <= len(sets) <= MOST_SETS or not all(isinstance(e, dict) for e in sets):
            self._note("equipment_sets", sets, f"a list of 1 to {MOST_SETS} tables")
            return self.found
        for place, entry in enumerate(sets):
            self._set(entry, f"equipment_sets.{place}")
        names = [str(entry.get("name")) for entry in sets]
        if len(set(names)) < len(names):
            self._note("equipment_sets", names, "a different name for each set")
        self._pairs(document.get("paired", []))
        return self.found

    def _note(self, where: str, got: object, allowed: str) -> None:
        if len(self.found) < 50:
            self.found.append((where, f"got {plain(repr(got), 60)}; allowed is {allowed}"))

    def _text(self, table: Mapping[str, Any], key: str, where: str) -> None:
        value = table.get(key)
        if not isinstance(value, str) or not value or len(value) > 20 * _LONGEST_NAME:
            self._note(f"{where}{key}", value, "a text")

    def _number(
        self,
        table: Mapping[str, Any],
        key: str,
        where: str,
        *,
        whole: bool = False,
        missing: bool = False,
        least: float = -1e15,
    ) -> None:
        value = table.get(key)
        if value is None and missing:
            return
        kinds = (int,) if whole else (int, float)
        if isinstance(value, bool) or not isinstance(value, kinds) or not least <= value <= (2**63 if whole else 1e15):
            self._note(f"{where}{key}", value, "a whole number" if whole else "a number")

    def _limits(self, table: Mapping[str, Any], key: str, where: str, *, missing: bool = False) -> None:
        pair = table.get(key)
        if pair is None and missing:
            return
        if not (isinstance(pair, list) and len(pair) == 2):
            self._note(f"{where}{key}", pair, "a pair of limits")
            return
        limits = dict(zip(("low", "high"), pair, strict=True))
        for end in limits:
            self._number(limits, end, f"{where}{key}.", missing=True)

    def _shares(self, table: Mapping[str, Any], key: str, where: str) -> None:
        shares = table.get(key)
        if not isinstance(shares, dict) or len(shares) > 1000:
            self._note(f"{where}{key}", shares, "a table of numbers")
            return
        for name in shares:
            self._number(shares, name, f"{where}{key}.", missing=True)

    def _table(self, table: Mapping[str, Any], key: str, where: str) -> Mapping[str, Any] | None:
        value = table.get(key)
        if not isinstance(value, dict):
            self._note(f"{where}{key}", value, "a table")
            return None
        return value

    def _set(self, entry: Mapping[str, Any], place: str) -> None:
        where = f"{place}."
        self._text(entry, "name", where)
        if len(str(entry.get("name", ""))) > _LONGEST_NAME:
            self._note(f"{where}name", entry["name"], f"at most {_LONGEST_NAME} letters")
        self._number(entry, "days", where, whole=True, least=1)
        for key in ("acres_per_day", "hectares_per_day"):
            spread = self._table(entry, key, where)
            if spread is not None:
                for name in ("mean", "p10", "p50", "p90"):
                    self._number(spread, name, f"{where}{key}.")
                self._limits(spread, "ci95", f"{where}{key}.")
                for name in ("p10", "p50", "p90"):
                    self._limits(spread, f"{name}_ci95", f"{where}{key}.", missing=True)
        if entry.get("acres_per_field_hour") is not None:
            rate = self._table(entry, "acres_per_field_hour", where)
            if rate is not None:
                self._number(rate, "mean", f"{where}acres_per_field_hour.")
                self._limits(rate, "ci95", f"{where}acres_per_field_hour.")
        for key in ("time_share", "utilisation", "per_day"):
            self._shares(entry, key, where)
        if entry.get("list_finished") is not None:
            self._shares(entry, "list_finished", where)
        hold = self._table(entry, "bottleneck", where)
        if hold is not None:
            self._hold(hold, f"{where}bottleneck.")

    def _hold(self, hold: Mapping[str, Any], where: str) -> None:
        self._text(hold, "resource", where)
        self._text(hold, "sentence", where)
        self._shares(hold, "active_period_share", where)
        changes = hold.get("one_more", [])
        if not isinstance(changes, list) or not all(isinstance(change, dict) for change in changes):
            self._note(f"{where}one_more", changes, "a list of tables")
            return
        for place, change in enumerate(changes):
            self._text(change, "change", f"{where}one_more.{place}.")
            self._number(change, "acres_per_day", f"{where}one_more.{place}.")
            self._limits(change, "ci95", f"{where}one_more.{place}.")

    def _pairs(self, pairs: object) -> None:
        if not isinstance(pairs, list) or not all(isinstance(pair, dict) for pair in pairs):
            self._note("paired", pairs, "a list of tables")
            return
        for place, pair in enumerate(pairs):
            where = f"paired.{place}."
            for key in ("a", "b"):
                self._text(pair, key, where)
            for key in ("difference", "a_wins_share"):
                self._number(pair, key, where)
            self._limits(pair, "ci95", where)
