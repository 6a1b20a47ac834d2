"""An input of a set found by its dotted key, and put to a value."""

from __future__ import annotations

import typing
from collections.abc import Iterable
from typing import Any

from pydantic import BaseModel

from simulator.errors import InputError
from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.toml_text import distribution_table, toml_value
from simulator.scenario.types import Drawn, Quantity
from simulator.scenario.units import Dimension, UnitError
from simulator.study.reading import InputRange


def locate(equipment: EquipmentSet, key: str) -> tuple[Any, Dimension | None]:
    """Return what stands at a dotted key of a set, and its kind of quantity; None where nothing does or it is none."""
    place: Any = equipment.scenario
    dimension: Dimension | None = None
    for part in key.split("."):
        dimension = None
        if isinstance(place, BaseModel):
            field = type(place).model_fields.get(part)
            if field is None:
                return None, None
            dimension = _dimension([*field.metadata, field.annotation])
            place = getattr(place, part)
        elif isinstance(place, dict) and part in place:
            place = place[part]
        elif isinstance(place, list) and part.isdigit() and int(part) < len(place):
            place = place[int(part)]
        else:
            return None, None
    return place, dimension


def _dimension(marks: Iterable[Any]) -> Dimension | None:
    for mark in marks:
        if isinstance(mark, Quantity | Drawn):
            return mark.dimension
        found = _dimension(typing.get_args(mark)) if typing.get_args(mark) else None
        if found is not None:
            return found
    return None


def setting_at(equipment: EquipmentSet, one: InputRange, share: float) -> str:
    """Return the ``KEY=VALUE`` that puts an input at a share of its range; a drawn one keeps its shape, scaled."""
    value, dimension = locate(equipment, one.key)
    text = one.text(share)
    if isinstance(value, Distribution) and not value.is_constant and dimension is not None and value.mean() > 0:
        try:
            target = units.parse(text, dimension)
        except UnitError as error:
            raise InputError.single(str(error), f"--range {one.key}") from error
        if target < 0:
            raise InputError.single(f"got {text}; allowed is 0 or more", f"--range {one.key}")
        return f"{one.key}={toml_value(distribution_table(value.scaled(target / value.mean()), dimension.unit, 12))}"
    return f"{one.key}={text if not one.unit else toml_value(text)}"
