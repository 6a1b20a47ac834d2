"""Pydantic types for quantities, stochastic quantities and clock times, and the base of every scenario table."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from simulator.scenario import units
from simulator.scenario.distributions import (
    Constant,
    Distribution,
    Empirical,
    Exponential,
    Gamma,
    Lognormal,
    Triangular,
    TruncatedNormal,
    Uniform,
    Weibull,
)
from simulator.scenario.units import Dimension, UnitError

LARGEST = 1e12
"""No inner value may pass this: keeps a mistyped exponent from becoming an endless run."""

_DISTRIBUTIONS: dict[str, tuple[Callable[..., Distribution], tuple[str, ...], tuple[str, ...]]] = {
    # name: (class, keys that must stand, keys that may stand); keys carry the unit unless they are plain numbers
    "constant": (Constant, ("value",), ()),
    "uniform": (Uniform, ("low", "high"), ()),
    "triangular": (Triangular, ("low", "mode", "high"), ()),
    "normal": (TruncatedNormal, ("mean", "sd"), ("low", "high")),
    "lognormal": (Lognormal, ("mean", "cv"), ()),
    "gamma": (Gamma, ("mean", "cv"), ()),
    "exponential": (Exponential, ("mean",), ()),
    "weibull": (Weibull, ("mean", "shape"), ()),
}
_PLAIN_KEYS = {"cv": units.SHARE, "shape": units.NUMBER}


class Table(BaseModel):
    """Base of every table of a scenario: frozen, unknown keys refused, defaults read like input."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", validate_default=True, arbitrary_types_allowed=True, protected_namespaces=()
    )


def must(why: str, **limits: Any) -> Any:
    """Declare a key that the user must give; ``why`` documents it."""
    return Field(description=why, **limits)


def may(default: Any, why: str, **limits: Any) -> Any:
    """Declare a key with a default; ``why`` says its source or the word "assumption"."""
    return Field(default, description=why, **limits)


def fail(message: str) -> PydanticCustomError:
    """Make the error that a validator raises: shown to the user as it stands."""
    return PydanticCustomError("acreday", "{message}", {"message": message})


def _limits_text(above: float | None, least: float | None, most: float | None) -> str:
    parts = []
    if above is not None:
        parts.append(f"more than {above:g}")
    if least is not None:
        parts.append(f"at least {least:g}")
    if most is not None:
        parts.append(f"at most {most:g}")
    return " and ".join(parts)


def _check(
    value: float, got: Any, dimension: Dimension, above: float | None, least: float | None, most: float | None
) -> float:
    wrong = (above is not None and value <= above) or (least is not None and value < least)
    if wrong or (most is not None and value > most):
        unit = f" {dimension.unit.replace('**', '^')}" if dimension.unit else ""
        limits = f"{_limits_text(above, least, most)}{unit}"
        message = f"got {got!r}; allowed is {dimension.name} {limits}, such as {dimension.example!r}"
        raise fail(message)
    if abs(value) > LARGEST:
        raise fail(
            f"got {got!r}, which is beyond all reason; allowed is {dimension.name} such as {dimension.example!r}"
        )
    return value


def _read(value: Any, dimension: Dimension) -> float:
    if isinstance(value, str):
        try:
            return units.parse(value, dimension)
        except UnitError as error:
            raise fail(str(error)) from error
    plain = dimension is units.SHARE or dimension is units.NUMBER
    if plain and isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    if isinstance(value, int | float) and not isinstance(value, bool) and not plain:
        raise fail(
            f"got the bare number {value!r}; write {dimension.name} with its unit, such as {dimension.example!r}"
        )
    raise fail(f"got {value!r}; allowed is {dimension.name} such as {dimension.example!r}")


@dataclass(frozen=True)
class Quantity:
    """Mark of a fixed quantity: ``Annotated[float, Quantity(units.TIME)]``.

    Parameters
    ----------
    dimension : Dimension
        Kind of quantity; the value becomes a float in its inner unit.
    above, least, most : float, optional
        Limits in the inner unit.
    """

    dimension: Dimension
    above: float | None = None
    least: float | None = None
    most: float | None = None

    def read(self, value: Any) -> float:
        """Validate one value of a scenario."""
        number = _read(value, self.dimension)
        return _check(number, value, self.dimension, self.above, self.least, self.most)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Tell pydantic how to read it."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe it for the published schema."""
        return _quantity_schema(self.dimension)


@dataclass(frozen=True)
class Drawn:
    """Mark of a quantity that may be fixed or drawn: ``Annotated[Distribution, Drawn(units.TIME)]``.

    Parameters
    ----------
    dimension : Dimension
        Kind of quantity.
    above, least : float, optional
        Limits in the inner unit for the mean (``above``) and for every bound (``least``).
    """

    dimension: Dimension
    above: float | None = None
    least: float | None = 0.0

    def read(self, value: Any, info: ValidationInfo) -> Distribution:
        """Validate one value of a scenario."""
        if isinstance(value, dict):
            return _distribution(value, self.dimension, self.above, self.least, info)
        number = _read(value, self.dimension)
        return Constant(_check(number, value, self.dimension, self.above, self.least, None))

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Tell pydantic how to read it."""
        return core_schema.with_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe it for the published schema."""
        names = sorted([*_DISTRIBUTIONS, "empirical"])
        drawn = {"type": "object", "required": ["dist"], "properties": {"dist": {"enum": names}}}
        return {"anyOf": [_quantity_schema(self.dimension), drawn]}


def _quantity_schema(dimension: Dimension) -> dict[str, Any]:
    kinds: str | list[str] = "string" if dimension.unit else ["string", "number"]
    return {"type": kinds, "description": f"{dimension.name} with its unit", "examples": [dimension.example]}


def _distribution(
    table: dict[str, Any], dimension: Dimension, above: float | None, least: float | None, info: ValidationInfo
) -> Distribution:
    import difflib

    kind = table.get("dist")
    known = [*_DISTRIBUTIONS, "empirical"]
    if kind not in known:
        near = difflib.get_close_matches(str(kind), known, n=1)
        hint = f"; nearest is {near[0]!r}" if near else ""
        raise fail(f"got dist = {kind!r}; allowed is one of {', '.join(known)}{hint}")
    if kind == "empirical":
        return _empirical(table, dimension, least, info)
    maker, needed, optional = _DISTRIBUTIONS[kind]
    given = {key: value for key, value in table.items() if key != "dist"}
    unknown = sorted(set(given) - set(needed) - set(optional))
    missing = [key for key in needed if key not in given]
    if unknown or missing:
        said = [f"unknown {', '.join(unknown)}"] * bool(unknown) + [f"missing {', '.join(missing)}"] * bool(missing)
        takes = ", ".join([*needed, *(f"{key} (optional)" for key in optional)])
        raise fail(f"dist = {kind!r}: {'; '.join(said)}; it takes {takes}")
    values: dict[str, float] = {}
    for key, value in given.items():
        if key in _PLAIN_KEYS:
            values[key] = _check(_read(value, _PLAIN_KEYS[key]), value, _PLAIN_KEYS[key], None, 0.0, 100.0)
        elif key == "sd":
            values[key] = _check(_read(value, dimension), value, dimension, None, 0.0, None)
        else:
            values[key] = _check(
                _read(value, dimension), value, dimension, above if key == "mean" else None, least, None
            )
    try:
        return maker(**values)
    except ValueError as error:
        raise fail(f"dist = {kind!r}: {error}") from error


def _empirical(table: dict[str, Any], dimension: Dimension, least: float | None, info: ValidationInfo) -> Distribution:
    if "values" in table and set(table) <= {"dist", "values"}:
        given = table["values"]
        if not isinstance(given, list) or not given:
            raise fail(f"got values = {given!r}; allowed is a list such as ['62 s', '71 s']")
        numbers = [_check(_read(value, dimension), value, dimension, None, least, None) for value in given]
    elif set(table) == {"dist", "file", "column", "unit"}:
        numbers = _csv_column(table, dimension, least, info)
    else:
        raise fail("dist = 'empirical' takes either values = [...], or file, column and unit of a CSV column")
    try:
        return Empirical(tuple(numbers))
    except ValueError as error:
        raise fail(f"dist = 'empirical': {error}") from error


def _csv_column(table: dict[str, Any], dimension: Dimension, least: float | None, info: ValidationInfo) -> list[float]:
    base = Path((info.context or {}).get("folder", "."))
    name, column, unit = str(table["file"]), str(table["column"]), str(table["unit"])
    path = resolve_inside(base, name)
    try:
        with path.open(newline="", encoding="utf-8") as handle:
            reader = csv.DictReader(handle)
            if column not in (reader.fieldnames or []):
                raise fail(f"{name}: no column {column!r}; it has {', '.join(reader.fieldnames or ['no columns'])}")
            texts = [(reader.line_num, row[column]) for row in reader if (row[column] or "").strip()]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise fail(f"cannot read {name}: {error}") from error
    numbers = []
    for line, text in texts:
        try:
            value = units.parse(f"{text.strip()} {unit}".strip(), dimension)
        except UnitError as error:
            raise fail(f"{name}: line {line}: {error}") from error
        numbers.append(_check(value, text, dimension, None, least, None))
    if not numbers:
        raise fail(f"{name}: column {column!r} holds no number")
    return numbers


def resolve_inside(folder: Path, name: str) -> Path:
    """Return the path of a file that a scenario names, relative to the scenario's folder.

    Raises
    ------
    PydanticCustomError
        The name is empty or holds a NUL.
    """
    if not name.strip() or "\0" in name:
        raise fail(f"got {name!r}; allowed is the name of a file")
    return (folder / name).resolve()


def _clock(value: Any) -> float:
    if not isinstance(value, str):
        raise fail(f"got {value!r}; allowed is a time of day such as '07:00'")
    try:
        return units.clock_seconds(value)
    except UnitError as error:
        raise fail(str(error)) from error


Clock = Annotated[float, BeforeValidator(_clock), WithJsonSchema({"type": "string", "examples": ["07:00"]})]
Count = Annotated[int, Field(ge=0, le=10_000, strict=True)]
PositiveCount = Annotated[int, Field(ge=1, le=10_000, strict=True)]
