"""What stands in each input of the page: where it belongs, what it shows, its unit, and what is said of it."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from simulator.errors import Problem
from simulator.page.check import Checked
from simulator.scenario.catalogue import catalogue
from simulator.scenario.schema import FieldTable
from simulator.scenario.typed import At, shown_value, unit_of
from simulator.scenario.validate import fill_defaults

_UNITS = {"l": "L", "wh": "Wh", "kw": "kW"}


@dataclass(frozen=True)
class Box:
    """One input."""

    at: At
    label: str
    value: str
    unit: str = ""
    usual: str = ""
    """Shown where nothing is given: what the simulation takes then."""
    choices: Sequence[tuple[str, str]] = ()
    said: Sequence[str] = ()
    """What is wrong with it."""
    remarks: Sequence[str] = ()
    """What is valid, but should not pass without a word."""
    count: bool = False
    """With a minus and a plus button."""
    action: str = "set"
    more: Mapping[str, Any] = field(default_factory=dict)
    """What else is sent with it."""
    wide: bool = False

    @property
    def id(self) -> str:
        """Its ``id`` on the page."""
        told = "-".join([self.action, *(str(value) for value in self.more.values()), dotted(self.at)])
        return re.sub(r"[^A-Za-z0-9]+", "-", told) + f"-{sum(map(ord, told)) % 997}"

    @property
    def place(self) -> str:
        """Its place as JSON."""
        return json.dumps(list(self.at))

    @property
    def sent(self) -> str:
        """What else is sent, as JSON."""
        return json.dumps({"action": self.action, **self.more})


def dotted(at: At) -> str:
    """Return a place as the loader's messages name it."""
    return ".".join(map(str, at))


class Boxes:
    """Makes the inputs of one scenario."""

    def __init__(self, checked: Checked) -> None:
        self.checked = checked
        self._said: dict[str, list[str]] = {}
        for problem in checked.problems:
            self._said.setdefault(problem.where, []).append(problem.message)
        self._placed: set[str] = set()
        self._remarked: set[tuple[str, Problem]] = set()
        self._notes: dict[str, list[tuple[str, Problem]]] = {}
        notes = list(dict.fromkeys(checked.notes))
        for one in notes:
            parts = one[1].where.split(".")
            for depth in range(len(parts)):
                self._notes.setdefault(".".join(parts[: depth + 1]), []).append(one)
        sets_of = Counter(note for _, note in notes)
        self._of_all = {note for note, number in sets_of.items() if number == len(checked.merged)}
        self._usual: dict[str | None, Any] = {}

    def said(self, *names: str) -> list[str]:
        """Return what is wrong with keys; it is then placed."""
        self._placed.update(names)
        return list(dict.fromkeys(text for name in names for text in self._said.get(name, ())))

    def remarks(self, set_name: str | None, *names: str) -> list[str]:
        """Return what is to be remarked on keys, or below them, of a set, or of all sets alike; it is then placed."""
        found = [one for name in names for one in self._notes.get(name, ())]
        found = [one for one in found if (one[1] in self._of_all if set_name is None else one[0] == set_name)]
        self._remarked.update(found)
        return list(dict.fromkeys(note.message for _, note in found))

    def own_remarks(self, set_name: str) -> list[str]:
        """Return what is to be remarked on the job for a set and not for every other; it is then placed."""
        found = [one for one in dict.fromkeys(self.checked.notes) if one[0] == set_name and one not in self._remarked]
        found = [one for one in found if one[1] not in self._of_all]
        self._remarked.update(found)
        return [note.message for _, note in found]

    def unplaced(self) -> list[str]:
        """Return the problems and remarks that stand at no input."""
        wrong = [str(one) for one in self.checked.problems if one.where not in self._placed]
        return list(dict.fromkeys([*wrong, *(str(one[1]) for one in self.checked.notes if one not in self._remarked)]))

    def box(self, at: At, label: str, set_name: str | None = None, **more: Any) -> Box:
        """Return the input of a value as it was typed; of a set that which its scenario has, where it has no own."""
        value = _at(self.checked.tables, at)
        plain_at = at[2:] if at[:1] == ("equipment_set",) else at
        if value is None and set_name is not None:
            value = _at(self.checked.merged.get(set_name, {}), plain_at)
        usual, text = self._taken(plain_at, set_name) if value is None else "", shown_value(value)
        said = self.said(dotted(at), *([dotted(plain_at)] if set_name is not None else []))
        remarks, unit = self.remarks(set_name, dotted(plain_at)), unit_of(at, self.checked.metric)
        return Box(at, label, text, "" if text or usual else unit, usual, said=said, remarks=remarks, **more)

    def _taken(self, at: At, set_name: str | None) -> str:
        """Return what is taken where nothing is given."""
        if at[:2] == ("field_file", "rates") or (at[0] == "field" and at[-1] == "rate"):
            return shown_value(_at(self.checked.tables, ("product", "rate")))
        if at[0] == "field":
            return shown_value(FieldTable.model_fields[str(at[-1])].default)
        if set_name not in self._usual:
            tables = self.checked.merged
            with suppress(TypeError, AttributeError):
                found = next(iter(tables.values()), {}) if set_name is None else tables.get(set_name, {})
                self._usual[set_name] = fill_defaults(found)
        return shown_value(_at(self._usual.get(set_name), at))


def _at(table: Any, at: At) -> Any:
    for part in at:
        if isinstance(table, Mapping):
            table = table.get(str(part))
        elif isinstance(table, list) and isinstance(part, int) and part < len(table):
            table = table[part]
        else:
            return None
    return table


def class_words(name: str) -> str:
    """Return a class of the catalogue in words: ``tank_40_l`` is ``40 L class``."""
    tank = re.fullmatch(r"tank_(\d+)_l", name)
    if tank:
        return f"{tank[1]} L class"
    return " ".join(_UNITS.get(word, word) for word in name.split("_"))


def entry_words(tables: Mapping[str, Any], kind: str, name: str) -> str:
    """Return what people call an entry of the scenario: its label, or its key in words with the class that it is."""
    entry = (tables.get(kind) or {}).get(name)
    if not isinstance(entry, Mapping):
        return class_words(name)
    like = str(entry.get("like", ""))
    words = str(entry.get("label") or class_words(name))
    return f"{words} ({class_words(like)})" if like in catalogue().get(kind, {}) and like != name else words


def choices(tables: Mapping[str, Any], kind: str, names: Iterable[str]) -> list[tuple[str, str]]:
    """Return names to choose among with their words."""
    return [(name, entry_words(tables, kind, name)) for name in names]
