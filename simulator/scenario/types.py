"""Pydantic types for quantities, stochastic quantities and clock times, and the base of every scenario table."""

from __future__ import annotations

import inspect
import types
import typing
from dataclasses import dataclass
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

from simulator.errors import InputError
from simulator.scenario import units
from simulator.scenario.csv_table import cell, csv_rows, near_column, quantity_of
from simulator.scenario.distributions import KINDS, Constant, Distribution
from simulator.scenario.files import CSV, ScenarioFolder
from simulator.scenario.merge import near
from simulator.scenario.shown import shown
from simulator.scenario.units import Dimension, UnitError

SMALLEST = 1e-9
"""A positive inner value below this is a mistyped exponent; it would divide to infinity or loop without end."""
LARGEST_CV = 10.0
"""Largest coefficient of variation: beyond it a rare draw lasts for years."""
LARGEST_TABLE_BYTES = 5_000_000
"""A larger file of measured values is refused unread."""


class Table(BaseModel):
    """Base of every table of a scenario: frozen, unknown keys refused, defaults read like input."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", validate_default=True, arbitrary_types_allowed=True, protected_namespaces=()
    )


def must(why: str, **limits: Any) -> Any:
    """Declare a key that the user must give; ``why`` documents it."""
    return Field(description=why, **limits)


def label_key() -> Any:
    """Return the field of a display name."""
    return may("", "Name to show people; none: its key in words. Assumption.", max_length=60)


def called(table: Any, name: str, noun: str) -> str:
    """Return what people call a class: its label, or its kind and its key in words."""
    return str(table.label) or f"{noun} ({name.replace('_', ' ')})"


def may(default: Any, why: str, **limits: Any) -> Any:
    """Declare a key with a default; ``why`` says its source or the word "assumption"."""
    return Field(default, description=why, **limits)


def maybe(why: str, **limits: Any) -> Any:
    """Declare a key that may be left out, with nothing in its place; ``why`` says what that means, and its source."""
    return Field(None, description=why, **limits)


def bare_type(annotation: Any) -> tuple[Any, tuple[Any, ...]]:
    """Take ``| None`` and ``Annotated`` off a type; return it with the marks that ``Annotated`` carried."""
    marks: tuple[Any, ...] = ()
    while True:
        origin = typing.get_origin(annotation)
        if origin is typing.Annotated:
            annotation, *more = typing.get_args(annotation)
            marks += tuple(more)
        elif origin in (typing.Union, types.UnionType):
            annotation = next(item for item in typing.get_args(annotation) if item is not type(None))
        else:
            return annotation, marks


def table_of(annotation: Any) -> type[BaseModel] | None:
    """Return the table that a type is, whatever it is marked with; None for any other type."""
    inner = bare_type(annotation)[0]
    return inner if isinstance(inner, type) and issubclass(inner, BaseModel) else None


def item_of(annotation: Any) -> Any:
    """Return the type of what a table of names, or a list, holds; None where it holds nothing."""
    return (None, *typing.get_args(bare_type(annotation)[0]))[-1]


def fail(message: str) -> PydanticCustomError:
    """Make the error that a validator raises: shown to the user as it stands."""
    return PydanticCustomError("acreday", "{message}", {"message": message})


def _read(value: Any, dimension: Dimension) -> float:
    if isinstance(value, str):
        try:
            return units.parse(value, dimension)
        except UnitError as error:
            raise fail(str(error)) from error
    plain = dimension is units.SHARE or dimension is units.NUMBER
    number = isinstance(value, int | float) and not isinstance(value, bool)
    # a comparison, because a whole number may be too large to become a float
    if plain and number and abs(value) <= dimension.largest:
        return float(value)
    if number and not plain:
        wanted = f"write {dimension.name} with its unit, such as {dimension.example!r}"
        raise fail(f"got the bare number {shown(value)}; {wanted}")
    raise fail(f"got {shown(value)}; allowed is {dimension.name} such as {dimension.example!r}")


@dataclass(frozen=True)
class Quantity:
    """Mark of a fixed quantity, limits in the inner unit: ``Annotated[float, Quantity(units.TIME, above=0.0)]``."""

    dimension: Dimension
    above: float | None = None
    least: float | None = None
    most: float | None = None

    def read(self, value: Any) -> float:
        """Validate one value of a scenario."""
        return self.check(_read(value, self.dimension), value)

    def check(self, value: float, got: Any) -> float:
        """Return a value within the limits; ``got`` is what the user wrote."""
        wrong = (self.above is not None and value <= self.above) or (self.least is not None and value < self.least)
        kind = self.dimension
        if wrong or (self.most is not None and value > self.most):
            words = (("more than", self.above), ("at least", self.least), ("at most", self.most))
            limits = " and ".join(f"{word} {limit:g}" for word, limit in words if limit is not None)
            allowed = f"{kind.name} {limits} {kind.symbol}".rstrip()
            raise fail(f"got {shown(got)}; allowed is {allowed}, such as {kind.example!r}")
        # zero is the limit of what is a size, so a number next to it is none that anybody meant
        lost = 0.0 in (self.above, self.least) and 0.0 < value < SMALLEST
        if lost or not abs(value) <= kind.largest:
            beyond = f"got {shown(got)}, which is beyond all reason"
            raise fail(f"{beyond}; allowed is {kind.name} such as {kind.example!r}")
        return value

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return _quantity_schema(self.dimension)


@dataclass(frozen=True)
class WaterOrMass(Quantity):
    """Mark of a mass above 0 that may be written as the volume of water that has it, at 1 kg/L."""

    dimension: Dimension = units.MASS
    above: float | None = 0.0

    def read(self, value: Any) -> float:
        """Validate one value of a scenario."""
        try:
            return Quantity(units.VOLUME, above=0.0).read(value)
        except PydanticCustomError:
            return super().read(value)


@dataclass(frozen=True)
class Drawn:
    """Mark of a quantity that may be fixed or drawn: ``Annotated[Distribution, Drawn(units.TIME)]``.

    Limits are in the inner unit, for the mean (``above``) and for every bound (``least``).
    """

    dimension: Dimension
    above: float | None = None
    least: float | None = 0.0

    def read(self, value: Any, info: ValidationInfo) -> Distribution:
        """Validate one value of a scenario."""
        mean = Quantity(self.dimension, self.above, self.least)
        if not isinstance(value, dict):
            return Constant(mean.read(value))
        kind = value.get("dist")
        if not isinstance(kind, str) or kind not in KINDS:
            hint = near(kind, KINDS) if isinstance(kind, str) else ""
            raise fail(f"got dist = {shown(kind)}; allowed is one of {', '.join(KINDS)}{hint}")
        given = {key: one for key, one in value.items() if key != "dist"}
        values = self._measured(given, info) if kind == "empirical" else self._numbers(kind, given)
        try:
            made = KINDS[kind](**values)
        except ValueError as error:
            raise fail(f"dist = {kind!r}: {error}") from error
        mean.check(made.mean(), value)
        return made

    def _numbers(self, kind: str, given: dict[str, Any]) -> dict[str, Any]:
        takes = inspect.signature(KINDS[kind]).parameters
        missing = [key for key, one in takes.items() if one.default is one.empty and key not in given]
        unknown = sorted(set(given) - set(takes))
        if unknown or missing:
            strange = ", ".join(key[:60] for key in unknown[:20])
            said = [f"unknown {strange}"] * bool(unknown) + [f"missing {', '.join(missing)}"] * bool(missing)
            names = ", ".join(f"{key}{'' if one.default is one.empty else ' (optional)'}" for key, one in takes.items())
            raise fail(f"dist = {kind!r}: {'; '.join(said)}; it takes {names}")
        own = {
            **_PLAIN_KEYS,
            "mean": Quantity(self.dimension, self.above, self.least),
            "sd": Quantity(self.dimension, least=0.0),
        }
        bound = Quantity(self.dimension, least=self.least)
        return {key: own.get(key, bound).read(value) for key, value in given.items()}

    def _measured(self, given: dict[str, Any], info: ValidationInfo) -> dict[str, Any]:
        quantity = Quantity(self.dimension, least=self.least)
        if set(given) == {"file", "column", "unit"}:
            folder = (info.context or {}).get("folder") or ScenarioFolder()
            return {"values": tuple(_csv_column(given, quantity, folder))}
        if set(given) != {"values"}:
            raise fail("dist = 'empirical' takes either values = [...], or file, column and unit of a CSV column")
        values = given["values"]
        if not isinstance(values, list) or not values:
            raise fail(f"got values = {shown(values)}; allowed is a list such as ['62 s', '71 s']")
        return {"values": tuple(quantity.read(value) for value in values)}

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        drawn = {"type": "object", "required": ["dist"], "properties": {"dist": {"enum": sorted(KINDS)}}}
        return {"anyOf": [_quantity_schema(self.dimension), drawn]}


_PLAIN_KEYS = {"cv": Quantity(units.SHARE, None, 0.0, LARGEST_CV), "shape": Quantity(units.NUMBER, None, 0.0, 100.0)}
"""Parameters without the quantity's unit."""


def _quantity_schema(dimension: Dimension) -> dict[str, Any]:
    kinds: str | list[str] = "string" if dimension.unit else ["string", "number"]
    return {"type": kinds, "description": f"{dimension.name} with its unit", "examples": [dimension.example]}


def _csv_column(table: dict[str, Any], quantity: Quantity, folder: ScenarioFolder) -> list[float]:
    for key, value in table.items():
        if not isinstance(value, str):
            raise fail(f"got {key} = {shown(value)}; allowed is text in quotes")
    name, column, unit = table["file"], table["column"].strip(), table["unit"]
    try:
        rows, _ = csv_rows(folder.file(name, CSV), LARGEST_TABLE_BYTES, CSV)
    except InputError as error:
        raise fail(f"{shown(name)}: {error.problems[0].message}") from error
    heads = rows[0][1] if rows else []
    if column not in heads:
        raise fail(f"{shown(name)}: no column {shown(column)}{near_column(column, heads)}")
    # of two columns of one name the last
    place = len(heads) - 1 - heads[::-1].index(column)
    numbers = []
    for line, cells in rows[1:]:
        if text := cell(cells, place):
            try:
                numbers.append(quantity.check(quantity_of(text, unit, quantity.dimension), text))
            except UnitError as error:
                raise fail(f"{shown(name)}: line {line}: {error}") from error
    if not numbers:
        raise fail(f"{shown(name)}: column {shown(column)} holds no number")
    return numbers


def _clock(value: Any) -> float:
    if not isinstance(value, str):
        raise fail(f"got {shown(value)}; allowed is a time of day such as '07:00'")
    try:
        return units.clock_seconds(value)
    except UnitError as error:
        raise fail(str(error)) from error


Clock = Annotated[float, BeforeValidator(_clock), WithJsonSchema({"type": "string", "examples": ["07:00"]})]
Count = Annotated[int, Field(ge=0, le=10_000, strict=True)]
PositiveCount = Annotated[int, Field(ge=1, le=10_000, strict=True)]
