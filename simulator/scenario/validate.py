"""From a merged table to a :class:`Scenario`, or to every problem in it."""

from __future__ import annotations

import re
import typing
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from simulator.errors import Problem, Problems
from simulator.scenario.catalogue import catalogue
from simulator.scenario.files import ScenarioFolder
from simulator.scenario.layers import LIKE_TABLES
from simulator.scenario.merge import nearest
from simulator.scenario.references import check_references
from simulator.scenario.schema import Scenario
from simulator.scenario.shown import shown
from simulator.scenario.types import item_of, table_of

MOST_PROBLEMS = 200
"""Problems of one scenario that are worked out; more help nobody."""
LONGEST_NAME = 80

_SIMPLE = {
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "int_type": "a whole number",
    "dict_type": "a table",
    "model_type": "a table",
    "list_type": "a list",
    "string_pattern_mismatch": "a short name of letters, digits, - and _, a letter or digit first",
}
"""What is allowed, by the kinds of pydantic's errors."""


def validate(raw: Mapping[str, Any], folder: ScenarioFolder) -> tuple[Scenario | None, list[Problem]]:
    """Validate one merged scenario."""
    try:
        scenario = Scenario.model_validate(dict(raw), context={"folder": folder})
    except ValidationError as error:
        return None, [_problem(entry) for entry in error.errors(include_url=False)[:MOST_PROBLEMS]]
    except RecursionError:
        return None, [Problem("", "is nested too deeply")]
    problems = _check_all_names(scenario) or check_references(scenario)
    return (None, problems) if problems else (scenario, [])


def _problem(entry: Any) -> Problem:
    where = [str(part) for part in entry["loc"]]
    kind, got = entry["type"], shown(entry.get("input"))
    model = table_of(annotation_of(where[:-1]))
    if kind == "extra_forbidden":
        message = f"unknown key {where[-1]!r}{nearest(where[-1], model.model_fields if model is not None else ())}"
    elif kind == "missing":
        field = model.model_fields.get(where[-1]) if model is not None else None
        note = f" ({field.description.rstrip('.')})" if field is not None and field.description else ""
        message = f"missing; it must be given{note}"
    elif kind == "acreday":
        message = entry["msg"]
    elif kind == "literal_error":
        allowed = entry["ctx"]["expected"]
        names = re.findall(r"'([^']*)'", allowed)
        message = f"got {got}; allowed is {allowed}{nearest(got.strip(chr(39)), names)}"
    elif kind in _SIMPLE:
        message = f"got {got}; allowed is {_SIMPLE[kind]}"
    else:
        message = f"got {got}; {entry['msg'][:1].lower()}{entry['msg'][1:]}"
    return Problem(".".join(where), message)


def check_names(where: str, names: typing.Iterable[str], *, slash: bool = False) -> list[Problem]:
    """Return a problem for every name that a log, a table or a terminal could not show as it is."""
    allowed = f"1 to {LONGEST_NAME} printable characters" + ("" if slash else " without a slash")
    return [
        Problem(f"{where}.{shown(name).strip(chr(39))}", f"got the name {shown(name)}; allowed is {allowed}")
        for name in names
        if not (0 < len(name) <= LONGEST_NAME and name.isprintable() and name.strip() and (slash or "/" not in name))
    ]


def _check_all_names(scenario: Scenario) -> list[Problem]:
    problems = Problems(most=MOST_PROBLEMS)
    for table in ("aircraft", "pack", "charger", "generator", "rig"):
        problems.found += check_names(table, getattr(scenario, table))
    for name, rig in scenario.rig.items():
        where = f"rig.{name}"
        problems.found += check_names(f"{where}.power", rig.power)
        if name == "weather":
            problems.add("rig.weather", "got a rig named 'weather', as the weather is called in the log")
        # what is on a rig stands in one log by its name, and packs and aircraft by name and number
        people = ("pilot", "helper")
        for person in people:
            if person in rig.aircraft:
                problems.add(f"{where}.aircraft.{person}", "is what a person is called in the log")
        for pack in rig.packs:
            if pack in people or pack in rig.aircraft:
                what = "an aircraft" if pack in rig.aircraft else "a person"
                message = f"the name {pack!r} is that of {what} too; allowed is a name of its own"
                problems.add(f"{where}.packs.{pack}", message)
        for point in rig.power:
            found = re.fullmatch(r"(.+) [0-9]+", point)
            if point == "supply" or (found is not None and found[1] in {*people, *rig.aircraft, *rig.packs}):
                problems.add(f"{where}.power.{point}", "is what something else on the rig is called")
    return problems.found[:MOST_PROBLEMS]


def annotation_of(place: Sequence[str | int]) -> Any:
    """Return the type that the schema gives a place of a scenario; None where there is no such key."""
    current: Any = Scenario
    for part in place:
        table = table_of(current)
        if table is None:
            current = item_of(current)
        elif field := table.model_fields.get(str(part)):
            current = typing.Annotated[(field.annotation, *field.metadata)] if field.metadata else field.annotation
        else:
            return None
    return current


def fill_defaults(raw: Mapping[str, Any], model: type[BaseModel] = Scenario) -> dict[str, Any]:
    """Return a scenario table with every default written out, itself a valid scenario; None is left out."""
    filled: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        value = raw.get(name, field.default)
        if value is not None and (name in raw or not field.is_required()):
            filled[name] = _fill(value, field.annotation)
    return filled


def _fill(value: Any, annotation: Any) -> Any:
    table, item = table_of(annotation), item_of(annotation)
    if isinstance(value, Mapping) and table is not None:
        return fill_defaults(value, table)
    if isinstance(value, Mapping) and item is not None:
        return {key: _fill(one, item) for key, one in value.items()}
    return [_fill(one, item) for one in value] if isinstance(value, list) and item is not None else value


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a scenario file."""
    schema = Scenario.model_json_schema(mode="validation")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "acreday scenario"
    tables = {"Hover": "", "LoadLog": "", "PowerPoint": "power", **{name.title(): name for name in LIKE_TABLES}}
    for name, table in tables.items():
        # ``like`` may stand for any key that must be given, and name an entry of the scenario too
        schema["$defs"][name].pop("required", None)
        if table:
            schema["$defs"][name]["properties"]["like"]["anyOf"].insert(0, {"enum": list(catalogue()[table])})
    schema["properties"]["equipment_set"]["additionalProperties"] = {
        "type": "object",
        "description": "Any keys of the scenario, laid over it.",
    }
    return schema
