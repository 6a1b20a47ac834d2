"""The commented scenario that a new user starts from."""

from __future__ import annotations

from importlib import resources


def starter_text(name: str) -> str:
    """Return a valid, commented scenario.

    Parameters
    ----------
    name : str
        Its short name.
    """
    text = resources.files("simulator.scenario").joinpath("starter.toml").read_text(encoding="utf-8")
    return text.replace("@NAME@", name)
