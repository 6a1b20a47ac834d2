"""Loading a scenario file: read, merge, validate, and report every problem at once."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from simulator.errors import InputError, Problem
from simulator.scenario.catalogue import catalogue
from simulator.scenario.field_list import FieldList, FieldSite, field_list, fields_given
from simulator.scenario.files import ScenarioFolder, decoded, read_ordinary_file
from simulator.scenario.layers import merge_set
from simulator.scenario.limits import check_size
from simulator.scenario.merge import apply_setting, nearest, parse_setting
from simulator.scenario.remarks import remarks
from simulator.scenario.schema import Scenario
from simulator.scenario.shown import shown
from simulator.scenario.validate import check_names, fill_defaults, validate
from simulator.scenario.weather_days import Windows, weather_days

LARGEST_FILE_BYTES = 5_000_000
"""A larger scenario file is refused before it is read."""
MOST_SETS = 1000
MOST_VALUES = 2_000_000
"""Values of a scenario times its equipment sets, each of which is a whole scenario: about a minute of reading."""
MOST_SHOWN = 200
"""Problems reported of one scenario; the rest is counted."""
_DEEPEST = 30
_QUOTES = str.maketrans(dict.fromkeys("\u201c\u201d\u201e", '"') | dict.fromkeys("\u2018\u2019\u201a", "'"))
_LONGEST_INTEGER = 2**63
_LONG_KEY = re.compile(
    r"""(?:(?<![\w-])[\w-]++|"[^"\n]*+"|'[^'\n]*+')(?:[ \t]*+\.[ \t]*+(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')){40}"""
)
"""A dotted key of more than 40 parts: the TOML reader takes the square of their number."""


_Files = dict[tuple[object, ...], Any]
"""What was made of the files of one scenario, by all that it depends on."""


@dataclass(frozen=True, eq=False)
class EquipmentSet:
    """One equipment set: a whole scenario with its overrides merged, and its fields."""

    name: str
    """Under ``equipment_set``, or the scenario's own when it declares none."""
    scenario: Scenario
    fields: FieldList
    resolved: dict[str, Any] = field(repr=False)
    """The merged table with every default written out: a scenario that reproduces this set."""
    weather_days: tuple[Windows, ...] | None = field(default=None, repr=False)
    """Workable stretches of each date of the weather file; None: no file."""
    notes: tuple[Problem, ...] = ()
    """What was assumed in reading its files, for the user to see."""


@dataclass(frozen=True)
class LoadedScenario:
    """A scenario file, ready to run."""

    name: str
    sets: tuple[EquipmentSet, ...]
    """At least one, in the file's order."""
    folder: ScenarioFolder
    """Folder that file names are relative to, and whether they may lead out of it."""
    file: str = ""
    """Where it was read from; empty when made in Python."""

    @property
    def base(self) -> Scenario:
        """The first set's scenario, for what all sets share (seed, runs, units, title)."""
        return self.sets[0].scenario

    def equipment_set(self, name: str) -> EquipmentSet:
        """Return one set by name."""
        for entry in self.sets:
            if entry.name == name:
                return entry
        raise InputError.single(f"got {name!r}, which is no equipment set{nearest(name, [s.name for s in self.sets])}")

    def digest(self) -> str:
        """Return the SHA-256 of all that the result depends on, apart from seed and runs."""
        content = {
            entry.name: {key: value for key, value in entry.resolved.items() if key not in ("seed", "runs")}
            for entry in self.sets
        }
        shapes = {
            entry.name: [[_outline(site) for site in entry.fields.sites], entry.weather_days, entry.fields.drive_m]
            for entry in self.sets
        }
        text = json.dumps([content, shapes], sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()


def _outline(site: FieldSite) -> tuple[object, ...]:
    shape = "" if site.polygon is None else hashlib.sha256(site.polygon.wkb).hexdigest()
    return site.name, site.area_m2, site.location_m, shape


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file; what is wrong with it is said with its place."""
    name, where = str(path), ""
    try:
        if not path.exists():
            siblings = [item.name for item in path.parent.glob("*.toml")] if path.parent.is_dir() else []
            hint = nearest(path.name, siblings) if siblings else ""
            raise InputError.single(f"there is no such file{hint}", file=name)
    except (OSError, ValueError) as error:
        raise InputError.single(f"is not a usable file name: {error}", file=name) from error
    content = read_ordinary_file(path, LARGEST_FILE_BYTES, "a scenario file (TOML)")
    try:
        text = decoded(content)
        long_key = _LONG_KEY.search(text)
        if long_key is None:
            return _parsed(text)
        message, where = "a dotted key has more than 40 parts", f"line {text.count(chr(10), 0, long_key.start()) + 1}"
    except tomllib.TOMLDecodeError as error:
        message = f"broken TOML: {error}"
    except RecursionError:
        message = "broken TOML: nested too deeply to be a scenario"
    except ValueError as error:
        message = f"cannot be read: {error}"
    raise InputError.single(message, where, name)


def _parsed(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        plain_quotes = text.translate(_QUOTES)
        if plain_quotes == text:
            raise
        # a word processor's quotes, where they do not stand within plain ones
        return tomllib.loads(plain_quotes)


def check_shape(raw: Mapping[str, Any], file: str) -> int:
    """Refuse what no scenario holds and later steps would stumble over; return the number of values and tables."""
    waiting: list[tuple[str, Any, int]] = [("", raw, 0)]
    count = 0
    while waiting:
        where, value, depth = waiting.pop()
        count += 1
        message = _misshapen(value, depth)
        if message:
            raise InputError.single(message, where, file)
        if isinstance(value, Mapping | list):
            for key, item in value.items() if isinstance(value, Mapping) else enumerate(value):
                name = shown(key).strip("'")
                waiting.append((f"{where}.{name}" if where else name, item, depth + 1))
    return count


def _misshapen(value: Any, depth: int) -> str:
    """Say what is wrong with a value's depth, keys, text or number."""
    if isinstance(value, Mapping | list):
        if depth > _DEEPEST:
            return f"is nested more than {_DEEPEST} deep"
        for key in value if isinstance(value, Mapping) else ():
            if not (isinstance(key, str) and key.isprintable()):
                return f"got the key {shown(key)}; allowed is text of printable characters"
    elif isinstance(value, str):
        # reports clean what they show, but no file and no drawing can hold these
        if "\0" in value:
            return "holds a NUL character"
        if not value.isascii() and any("\ud800" <= character <= "\udfff" for character in value):
            return "holds a character that is not Unicode text"
    elif isinstance(value, int) and not -_LONGEST_INTEGER <= value < _LONGEST_INTEGER:
        return "is a whole number beyond 64 bits"
    return ""


def load_scenario(
    source: str | Path | Mapping[str, Any],
    settings: Iterable[str] = (),
    folder: str | Path | None = None,
    fields: str | Path | None = None,
    allow_files_outside: bool = False,
) -> LoadedScenario:
    """Load a scenario with all its equipment sets.

    Parameters
    ----------
    source : str, Path or mapping
        A TOML file, or the same content as a table.
    settings : iterable of str
        ``KEY=VALUE`` overrides, laid over every equipment set.
    folder : str or Path, optional
        Folder that file names are relative to; the file's own by default.
    fields : str or Path, optional
        File to use as the field list instead of the scenario's; it may lie anywhere. Boundaries (GeoJSON, KML, KMZ,
        shapefile, GeoPackage), or a CSV table with the keys of ``[[field]]`` as columns.
    allow_files_outside : bool, optional
        Whether the scenario may name files out of its folder, which it would print parts of and copy into results.

    Returns
    -------
    LoadedScenario
        Valid throughout: equipment that cannot work together is refused here.

    Raises
    ------
    InputError
        With every problem found.
    """
    if isinstance(source, Mapping):
        raw, file = dict(source), ""
        home = Path(folder) if folder is not None else Path()
    else:
        path = Path(source)
        if path.suffix == ".json":
            return _load_manifest(path, list(settings), fields, allow_files_outside)
        raw, file = read_toml(path), str(path)
        home = Path(folder) if folder is not None else path.parent
    changes = [parse_setting(text) for text in settings]
    named = frozenset[Path]()
    if fields is not None:
        changes += fields_given(fields)
        with suppress(OSError, RuntimeError, ValueError):
            named = frozenset({Path(fields).resolve()})
    base = ScenarioFolder(home, allow_files_outside, named)
    check_shape(raw, file)
    for parts, value in changes:
        check_shape({"--set": {".".join(parts): value}}, file)
        # a change to one set goes into its overrides; any other is laid over every set after merging
        if parts[0] == "equipment_set":
            raw = apply_setting(raw, parts, value)
    changes = [change for change in changes if change[0][0] != "equipment_set"]
    overrides, problems = _overrides(raw, file)
    plain = {key: value for key, value in raw.items() if key != "equipment_set"}
    sets: list[EquipmentSet] = []
    files: _Files = {}
    for set_name, override in (overrides or {str(raw.get("name", "base")): {}}).items():
        found, set_problems = _load_set(plain, set_name, override, changes, base, files)
        problems += set_problems
        if len(problems) > MOST_SHOWN:
            break
        if found is not None:
            sets.append(found)
    if problems:
        unique = list(dict.fromkeys(Problem(p.where, p.message, p.file or file) for p in problems))
        if len(unique) > MOST_SHOWN:
            unique[MOST_SHOWN:] = [Problem("", "and more; mend these first", file)]
        raise InputError(unique)
    return LoadedScenario(sets[0].scenario.name, tuple(sets), base, file)


def _overrides(raw: Mapping[str, Any], file: str) -> tuple[dict[str, dict[str, Any]], list[Problem]]:
    """Return the equipment sets as written; none where they cannot be used."""
    key, overrides = "equipment_set", raw.get("equipment_set", {})
    if not isinstance(overrides, dict) or not all(isinstance(value, dict) for value in overrides.values()):
        return {}, [Problem(key, "allowed is a table of tables, such as [equipment_set.three_packs]")]
    if len(overrides) > MOST_SETS:
        return {}, [Problem(key, f"got {len(overrides)} sets; allowed is at most {MOST_SETS}")]
    plain = {name: value for name, value in raw.items() if name != key}
    if len(overrides) > 1 and check_shape(plain, file) * len(overrides) > MOST_VALUES:
        message = f"got {len(overrides)} sets of so many values each; allowed are {MOST_VALUES} values of all sets"
        return {}, [Problem(key, f"{message}: give fewer sets, fields or measured values")]
    return overrides, check_names(key, overrides, slash=True)


def _load_manifest(path: Path, settings: list[str], fields: str | Path | None, outside: bool = False) -> LoadedScenario:
    """Load the scenario of a finished run from its ``manifest.json``; its input files lie beside it."""
    name = str(path)
    content = read_ordinary_file(path, 10 * LARGEST_FILE_BYTES, "a manifest.json of a result")
    try:
        document = json.loads(decoded(content))
    except (ValueError, RecursionError) as error:
        raise InputError.single(f"cannot be read: {error}", file=name) from error
    tables = document.get("resolved") if isinstance(document, dict) else None
    if not isinstance(tables, dict) or not tables or not all(isinstance(table, dict) for table in tables.values()):
        message = "is no manifest of a result; allowed is a scenario (TOML) or a manifest.json"
        raise InputError.single(message, file=name)
    problems = check_names("resolved", tables, slash=True)[:MOST_SHOWN]
    if len(tables) > MOST_SETS:
        problems.append(Problem("resolved", f"got {len(tables)} sets; allowed is at most {MOST_SETS}"))
    if problems:
        raise InputError([replace(problem, file=name) for problem in problems])
    sets = []
    for set_name, table in tables.items():
        table = {**table, "seed": document.get("seed", table.get("seed", 1))}
        runs = document.get("runs")
        if isinstance(runs, dict) and isinstance(runs.get(set_name), int):
            table["runs"] = runs[set_name]
        loaded = load_scenario(table, settings, path.parent, fields, outside)
        sets.append(replace(loaded.sets[0], name=set_name))
    return LoadedScenario(sets[0].scenario.name, tuple(sets), loaded.folder, name)


def _load_set(
    plain: dict[str, Any],
    name: str,
    override: dict[str, Any],
    changes: list[tuple[list[str], Any]],
    folder: ScenarioFolder,
    files: _Files,
) -> tuple[EquipmentSet | None, list[Problem]]:
    problems: list[Problem] = []
    if "equipment_set" in override:
        problems.append(Problem(f"equipment_set.{name}.equipment_set", "an equipment set cannot hold others"))
        override = {key: value for key, value in override.items() if key != "equipment_set"}
    merged = merge_set(plain, override, changes, catalogue(), problems)
    scenario, found = validate(merged, folder)
    # an entry whose ``like`` or ``pack`` leads nowhere lacks keys only for that reason
    lost = tuple(f"{problem.where.rpartition('.')[0]}." for problem in problems)
    found = [
        problem
        for problem in found
        if not (lost and problem.where.startswith(lost) and problem.message.startswith("missing"))
        and f"{problem.where}." not in lost
    ]
    problems += [Problem(_place(problem.where, name, override), problem.message, problem.file) for problem in found]
    if problems or scenario is None:
        return None, problems
    try:
        fields = _fields_of(scenario, folder, files)
        found = check_size(scenario, fields)
        if found:
            raise InputError(found)
        # a weather file that a hundred sets share is read once, as are boundaries and distances
        weather = ("weather", repr(scenario.weather.file), scenario.day.start)
        days, notes = _once(files, weather, lambda: weather_days(scenario, folder))
    except InputError as error:
        return None, [replace(one, where=_place(one.where, name, override)) for one in error.problems]
    resolved = fill_defaults(merged)
    resolved.pop("equipment_set", None)
    return EquipmentSet(name, scenario, fields, resolved, days, (*fields.skipped, *notes, *remarks(scenario))), []


def _fields_of(scenario: Scenario, folder: ScenarioFolder, files: _Files) -> FieldList:
    route = scenario.route
    if scenario.field_file is None and route.distance_table is None:
        return field_list(scenario, folder)
    tables = (scenario.field, scenario.field_file, scenario.yard)
    key = ("fields", repr(tables), route.order, route.distance_table, route.distance_unit)
    fields: FieldList = _once(files, key, lambda: field_list(scenario, folder))
    return fields


def _once(files: _Files, key: tuple[object, ...], make: Callable[[], Any]) -> Any:
    """Return what was made for the key before, or make it; a refusal is kept and raised again."""
    if key not in files:
        try:
            files[key] = make()
        except InputError as error:
            files[key] = error
    if isinstance(files[key], InputError):
        raise files[key]
    return files[key]


def _place(where: str, set_name: str, override: Mapping[str, Any]) -> str:
    """Return the dotted key as the user wrote it: under the equipment set when it stands there."""
    place: Any = override
    for part in where.split("."):
        if not isinstance(place, Mapping) or part not in place:
            return where
        place = place[part]
    return f"equipment_set.{set_name}.{where}"


def vary(
    equipment: EquipmentSet, settings: Iterable[str], folder: ScenarioFolder, name: str | None = None
) -> EquipmentSet:
    """Return an equipment set with values changed; its fields are kept as they are."""
    changes = [parse_setting(text) for text in settings]
    for parts, _ in changes:
        if parts[-1] == "like":
            # the set holds every value of its present class, and own values win
            message = "a class cannot be changed here; give it in an equipment set of the scenario, or by --set"
            raise InputError.single(message, ".".join(parts))
    problems: list[Problem] = []
    merged = merge_set(equipment.resolved, {}, changes, catalogue(), problems)
    scenario, found = validate(merged, folder)
    if scenario is not None:
        found = check_size(scenario, equipment.fields)
    if problems or found or scenario is None:
        raise InputError(problems + found)
    return replace(equipment, name=name or equipment.name, scenario=scenario, resolved=fill_defaults(merged))
