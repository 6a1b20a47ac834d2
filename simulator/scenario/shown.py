"""Values as they stand in a message: short, whatever they are."""

from __future__ import annotations

from typing import Any


def shown(value: Any, longest: int = 60) -> str:
    """Return a value for a message: short whatever it is, even a whole number too long to be written out."""
    if isinstance(value, list | dict) and len(value) > 20:
        return f"{'a list' if isinstance(value, list) else 'a table'} of {len(value)}"
    if isinstance(value, int) and value.bit_length() > 200:
        return "a whole number of more than 60 digits"
    try:
        text = repr(value[: longest + 1] if isinstance(value, str) else value)
    except (RecursionError, ValueError):
        return f"a deeply nested {type(value).__name__}"
    return text if len(text) <= longest else text[: longest - 3] + "..."
