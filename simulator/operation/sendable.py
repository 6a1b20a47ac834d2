"""Plans go to worker processes: they are taken apart into their fields and made again there."""

from __future__ import annotations

from dataclasses import fields
from typing import Any


class Sendable:
    """A frozen dataclass that pickles as the call that makes it, whether it is interpreted or compiled."""

    __slots__ = ()

    def __reduce__(self) -> tuple[Any, ...]:
        """Return the class and the values of its fields."""
        return type(self), self.values({})

    def values(self, instead: dict[str, Any]) -> tuple[Any, ...]:
        """Return the values of the fields, some replaced by what goes instead of them."""
        made: Any = self
        return tuple([instead.get(one.name, getattr(self, one.name)) for one in fields(made) if one.init])
