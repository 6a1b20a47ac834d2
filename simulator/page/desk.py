"""What a dealer does with a scenario: every wish of the page as changes to its text, checked, then written."""

from __future__ import annotations

import re
import tempfile
import tomllib
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simulator.errors import InputError, Problem
from simulator.page import edit
from simulator.page.check import Checked, check, fresh_problems
from simulator.page.choose import Chooser, another_generator
from simulator.page.edit import Change, put
from simulator.page.field_map import move_zone
from simulator.page.prices import keep_prices, read_list, take_prices
from simulator.page.store import WORK, ChangedError, Store, Text
from simulator.page.uploads import CSV, check_boundaries
from simulator.scenario.catalogue import catalogue
from simulator.scenario.field_list import fields_given
from simulator.scenario.merge import parse_setting
from simulator.scenario.pasted import COLUMNS
from simulator.scenario.starter import Answers, FieldGroup, starter_text, usual
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

Wish = Mapping[str, Any]
_PRICES_HEAD = "# Prices of the dealer, by class; scenarios take them from here.\n"
MOST_SEEN = 100
"""Versions that were shown and are remembered, so that a change to one is not lost when the file has moved on."""


@dataclass(frozen=True)
class Opened:
    """A scenario as it stands."""

    key: str
    text: Text
    checked: Checked


class Desk:
    """The scenarios of a folder, and what is wished of them."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._seen: OrderedDict[str, str] = OrderedDict()

    def open(self, key: str) -> Opened:
        """Return a scenario as it stands on the disk."""
        text = self.store.read(key)
        self._seen[text.version] = text.content
        while len(self._seen) > MOST_SEEN:
            self._seen.popitem(last=False)
        return Opened(key, text, self._check(key, text.content))

    def _check(self, key: str, content: str) -> Checked:
        path = self.store.path(key)
        return check(content, path.parent, path.name)

    def price_list(self) -> dict[str, Any]:
        """Return the dealer's price list."""
        return read_list(self.store.prices())

    def new(self, customer: str, name: str, units: str, price: str, classes: Sequence[str]) -> str:
        """Write a scenario from a few answers: the commented one of ``acreday new``, for the job; return its key."""
        known = catalogue()["aircraft"]
        strange = [one for one in classes if one not in known]
        if strange or not classes or len(set(classes)) != len(classes) or len(classes) > 6:
            raise InputError.single(f"got {', '.join(classes) or 'none'}; allowed are 1 to 6 classes", "classes")
        metric = units == "metric"
        group = FieldGroup(3, "16 ha", "20 L/ha", "3 km") if metric else FieldGroup()
        answers = Answers(
            "metric" if metric else "us", tuple(map(usual, classes)), (group,), "10 km" if metric else "6 mi"
        )
        stem = re.sub(r"[^A-Za-z0-9_-]+", "_", name).strip("_-")[:60] or "job"
        text = starter_text(stem, answers)
        changes = [put(("title",), f"{name}, {customer}" if customer else name), put(("work",), "once")]
        tables = tomllib.loads(text)
        for set_name, table in tables["equipment_set"].items():
            rig = table["rig"]["main"]
            words = ", ".join(_craft_words(one, number) for one, number in rig["aircraft"].items())
            if len(classes) == 1:
                words += f", {sum(rig['packs'].values())} packs"
            changes.append(put(("equipment_set", set_name, "label"), words))
        if price.strip():
            changes.append(edit.put_typed(("costs", "price_per_acre"), price, metric))
        text = edit.changed(text, *changes)
        checked = check(text, self.store.folder, name)
        text = edit.changed(text, *take_prices(checked, self.price_list()))
        problems = check(text, self.store.folder, name).problems
        if problems:
            raise InputError(list(problems))
        return self.store.create(customer, name, text)

    def edit(self, key: str, version: str, wish: Wish) -> Opened:
        """Carry out a wish; what makes the scenario wrong is refused with the loader's words, and not written."""
        opened = self.open(key)
        if version != opened.text.version:
            raise ChangedError
        content = self._changed(opened, wish)
        self.store.write(key, content, version)
        return self.open(key)

    def _changed(self, opened: Opened, wish: Wish) -> str:
        if not opened.checked.tables:
            raise InputError(list(opened.checked.problems))
        content = edit.changed(opened.text.content, *self._changes(opened, wish))
        problems = fresh_problems(opened.checked, self._check(opened.key, content))
        if problems:
            raise InputError(problems)
        return content

    def keep_as_copy(self, key: str, version: str, wish: Wish) -> str:
        """Carry out a wish on the version that it was made on, as a scenario of its own; return its key."""
        content = self._seen.get(version)
        if content is None:
            raise InputError.single("that version is not known any more; take the file as it is now")
        opened = Opened(key, Text(content, version), self._check(key, content))
        customer, _, name = key.rpartition("/")
        return self.store.create(customer, f"{name[:45]} (mine)", self._changed(opened, wish))

    def upload(self, key: str, version: str, name: str, content: bytes) -> Opened:
        """Take the fields from a file that was dropped; it is kept beside the scenario."""
        check_boundaries(content, name, self.store.folder / WORK)
        if name.lower().endswith(CSV):
            return self.edit(key, version, {"action": "rows", "rows": self._csv_rows(content)})
        kept = self.store.keep_file(key, name, content)
        return self.edit(key, version, {"action": "file", "name": kept})

    def _csv_rows(self, content: bytes) -> list[dict[str, Any]]:
        with tempfile.TemporaryDirectory(dir=self.store.folder / WORK) as folder:
            path = Path(folder) / f"fields{CSV}"
            path.write_bytes(content)
            rows: list[dict[str, Any]] = fields_given(path)[0][1]
            return rows

    def _changes(self, opened: Opened, wish: Wish) -> list[Change]:
        action = str(wish.get("action", ""))
        made: dict[str, Callable[[Opened, Wish], list[Change]]] = {
            "set": _set, "step": _step, "choose": _choose, "paste": _paste, "take": _take, "table": _table,
            "zone": _zone, "one more": _one_more, "copy set": lambda opened, given: _one_more(
                opened, {**given, "change": "copy", "settings": []}),
            "add field": lambda opened, _: [edit.add_field(opened.checked.tables, opened.checked.metric)],
            "file": lambda _, given: [edit.use_file(str(given["name"]))],
            "rows": lambda _, given: [edit.use_table(given["rows"])],
        }  # fmt: skip
        try:
            if action == "take prices":
                return take_prices(opened.checked, self.price_list())
            return made[action](opened, wish)
        except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
            raise InputError.single(f"the page asked for {action or 'nothing'} in a way that is not known") from error

    def keep_prices(self, key: str) -> None:
        """Bring the prices of a scenario into the dealer's list."""
        text = edit.changed(self.store.prices() or _PRICES_HEAD, *keep_prices(self.open(key).checked))
        read_list(text)
        self.store.write_prices(text)

    def keep_dealer(self, **values: str) -> None:
        """Remember the dealer's name and logo for the next quote."""
        changes = [put(("dealer", name), value or None) for name, value in values.items()]
        self.store.write_prices(edit.changed(self.store.prices(), *changes))


def _craft_words(name: str, number: int) -> str:
    found = re.fullmatch(r"tank_(\d+)_l", name)
    words = f"{found[1]} L aircraft" if found else name.replace("_", " ")
    return words if number == 1 else f"{number} {words}"


def _place(wish: Wish) -> tuple[str | int, ...]:
    at = tuple(wish["at"])
    if not (0 < len(at) <= 12 and all(isinstance(one, str | int) and not isinstance(one, bool) for one in at)):
        raise ValueError
    return at


def _set(opened: Opened, wish: Wish) -> list[Change]:
    typed = str(wish["typed"])[:2000]
    if any(not sign.isprintable() for sign in typed):
        raise InputError([Problem(".".join(map(str, _place(wish))), "holds a character that cannot be shown")])
    return [edit.put_typed(_place(wish), typed, opened.checked.metric)]


def _step(opened: Opened, wish: Wish) -> list[Change]:
    at = _place(wish)
    of_set = at[0] == "equipment_set"
    present: Any = opened.checked.merged[str(at[1])] if of_set else next(iter(opened.checked.merged.values()))
    for part in at[2:] if of_set else at:
        present = present.get(part, {}) if isinstance(present, Mapping) else {}
    if not isinstance(present, int):
        # people whom the file does not mention are one of each
        present = int("crew" in at)
    return [put(at, max(0, present + (1 if int(wish["by"]) > 0 else -1)))]


def _choose(opened: Opened, wish: Wish) -> list[Change]:
    checked = opened.checked
    name, rig, kind, old, new = (str(wish[key]) for key in ("set", "rig", "kind", "old", "typed"))
    if old == new:
        return []
    chooser = Chooser(checked, name, rig)
    if kind == "aircraft":
        number, place = chooser.table["aircraft"].get(old, 1), (*chooser.prefix, "label")
        own = not chooser.prefix or chooser.merged.get("label") != _craft_words(old, number)
        return [*chooser.aircraft(old, new), *([] if own else [put(place, _craft_words(new, number))])]
    if kind == "pack":
        return chooser.pack(old, new)
    point = str(wish["point"])
    return chooser.charger(point, old, new) if kind == "charger" else chooser.source(point, new)


def _paste(opened: Opened, wish: Wish) -> list[Change]:
    column = str(wish["column"])
    if column not in COLUMNS:
        raise ValueError
    return [edit.paste(int(wish["row"]), column, str(wish["text"]), opened.checked.metric)]


def _take(opened: Opened, wish: Wish) -> list[Change]:
    at = _place(wish)
    if at[0] not in ("field", "equipment_set") or len(at) != 2:
        raise ValueError
    if at[0] == "equipment_set" and len(opened.checked.merged) < 2:
        raise InputError.single("the only equipment set cannot be removed")
    if at[0] == "field" and len(opened.checked.tables["field"]) < 2:
        raise InputError.single("the only field cannot be removed; change it instead")
    return [edit.take(at)]


def _table(opened: Opened, _: Wish) -> list[Change]:
    """Make a table of the fields of a file: names and areas stay, outlines go."""
    per, unit = (M2_PER_HECTARE, "ha") if opened.checked.metric else (M2_PER_ACRE, "acre")
    fields = opened.checked.plans[0].fields
    return [edit.use_table([{"name": one.name[:80], "area": f"{one.area_m2 / per:.4g} {unit}"} for one in fields])]


def _one_more(opened: Opened, wish: Wish) -> list[Change]:
    """Make a set like another: the same, or with one more of something, as the answer has tried it."""
    merged, source = opened.checked.merged, str(wish["set"])
    source, changes = source if source in merged else "", list[Change]()
    label = f"{opened.checked.called(source)[:50]}, {wish['change']}"[:60]
    if not source:
        # the scenario is its own only set: from now on it is one beside others
        changes.append(put(("equipment_set", "as_it_was"), {"label": "as it was"}))
    name = edit.free_name(opened.checked.tables, label)
    changes.append(
        put(("equipment_set", name), {**opened.checked.tables.get("equipment_set", {}).get(source, {}), "label": label})
    )
    generators: dict[str, dict[str, Any]] = {}
    for text in list(wish["settings"])[:20]:
        parts, value = parse_setting(str(text))
        if parts[0] == "generator":
            generators.setdefault(parts[1], {})[parts[2]] = value
        else:
            changes.append(put(("equipment_set", name, *parts), value))
    for old, values in generators.items():
        changes += another_generator(opened.checked, source, name, old, values)
    return changes


def _zone(opened: Opened, wish: Wish) -> list[Change]:
    loaded = opened.checked.loaded
    if loaded is None:
        raise InputError(list(opened.checked.problems))
    return move_zone(opened.checked.plans[0], loaded.folder, int(wish["place"]), float(wish["x"]), float(wish["y"]))
