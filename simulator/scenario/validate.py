"""From a merged table to a :class:`Scenario`, or to every problem in it."""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from simulator.errors import Problem
from simulator.scenario.merge import nearest
from simulator.scenario.schema import Scenario

_SIMPLE = {
    "missing": "missing; it must be given",
    "string_type": "allowed is text in quotes",
    "bool_type": "allowed is true or false",
    "bool_parsing": "allowed is true or false",
    "int_type": "allowed is a whole number",
    "dict_type": "allowed is a table",
    "model_type": "allowed is a table",
    "list_type": "allowed is a list",
}


def validate(raw: Mapping[str, Any], folder: str) -> tuple[Scenario | None, list[Problem]]:
    """Validate one merged scenario.

    Parameters
    ----------
    raw : mapping
        Scenario with likes resolved and one equipment set merged.
    folder : str
        Folder of the scenario, for the files it names.

    Returns
    -------
    (Scenario or None, list of Problem)
        The scenario when there is no problem.
    """
    try:
        return Scenario.model_validate(dict(raw), context={"folder": folder}), []
    except ValidationError as error:
        return None, [_problem(entry) for entry in error.errors(include_url=False)]
    except RecursionError:
        return None, [Problem("", "is nested too deeply")]


def _problem(entry: Any) -> Problem:
    where = [str(part) for part in entry["loc"]]
    kind, got = entry["type"], entry.get("input")
    dotted = ".".join(where)
    if kind == "extra_forbidden":
        known = known_keys(where[:-1])
        return Problem(dotted, f"unknown key {where[-1]!r}{nearest(where[-1], known)}")
    if kind == "missing":
        return Problem(dotted, _missing_text(where))
    if kind == "acreday":
        return Problem(dotted, entry["msg"])
    if kind in _SIMPLE:
        return Problem(dotted, f"got {_short(got)}; {_SIMPLE[kind]}")
    if kind == "literal_error":
        allowed = entry["ctx"]["expected"]
        names = [name.strip().strip("'") for name in allowed.replace(" or ", ", ").split(",")]
        return Problem(dotted, f"got {_short(got)}; allowed is {allowed}{nearest(str(got), names)}")
    if kind == "string_pattern_mismatch":
        return Problem(
            dotted,
            f"got {_short(got)}; allowed is a short name of letters, digits, - and _, a letter or digit first",
        )
    message = entry["msg"][:1].lower() + entry["msg"][1:]
    return Problem(dotted, f"got {_short(got)}; {message}")


def _missing_text(where: list[str]) -> str:
    model = _model_at(where[:-1])
    field = model.model_fields.get(where[-1]) if model is not None else None
    note = f" ({field.description.rstrip('.')})" if field is not None and field.description else ""
    return f"missing; it must be given{note}"


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def known_keys(where: list[str]) -> list[str]:
    """Return the keys known to the table at a dotted place of a scenario; empty when any key goes."""
    model = _model_at(where)
    return list(model.model_fields) if model is not None else []


def _model_at(where: list[str]) -> type[BaseModel] | None:
    current: Any = Scenario
    for part in where:
        current = _strip(current)
        if isinstance(current, type) and issubclass(current, BaseModel):
            field = current.model_fields.get(part)
            if field is None:
                return None
            current = field.annotation
        else:
            arguments = typing.get_args(current)
            if not arguments:
                return None
            current = arguments[-1]
    current = _strip(current)
    return current if isinstance(current, type) and issubclass(current, BaseModel) else None


def _strip(annotation: Any) -> Any:
    """Take ``| None`` and ``Annotated`` off a type."""
    while True:
        origin = typing.get_origin(annotation)
        if origin is typing.Annotated:
            annotation = typing.get_args(annotation)[0]
        elif origin in (typing.Union, types.UnionType):
            annotation = next(item for item in typing.get_args(annotation) if item is not type(None))
        else:
            return annotation


def fill_defaults(raw: Mapping[str, Any], model: type[BaseModel] = Scenario) -> dict[str, Any]:
    """Return a scenario table with every default written out, itself a valid scenario.

    Parameters
    ----------
    raw : mapping
        A table that :func:`validate` accepts.
    model : type
        Its schema.

    Returns
    -------
    dict
        JSON-able: keys without a value (None) are left out.
    """
    filled: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        value = raw.get(name, field.default)
        inner = _strip(field.annotation)
        if value is None or (name not in raw and field.is_required()):
            continue
        filled[name] = _fill(value, inner)
    return filled


def _fill(value: Any, inner: Any) -> Any:
    if isinstance(value, Mapping) and isinstance(inner, type) and issubclass(inner, BaseModel):
        return fill_defaults(value, inner)
    arguments = typing.get_args(inner)
    if isinstance(value, Mapping) and arguments:
        return {key: _fill(item, _strip(arguments[-1])) for key, item in value.items()}
    if isinstance(value, list) and arguments:
        return [_fill(item, _strip(arguments[-1])) for item in value]
    return value


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a scenario file.

    ``like`` may stand for any key of equipment and rigs that must be given, so there nothing is required.
    """
    schema = Scenario.model_json_schema(mode="validation")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "acreday scenario"
    for name in ("Aircraft", "Pack", "Charger", "Generator", "Rig", "Hover"):
        schema.get("$defs", {}).get(name, {}).pop("required", None)
    schema["properties"]["equipment_set"]["additionalProperties"] = {
        "type": "object",
        "description": "Any keys of the scenario, laid over it.",
    }
    return schema
