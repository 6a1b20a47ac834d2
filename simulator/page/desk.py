"""What a dealer does with a scenario: every wish of the page as changes to its text, checked, then written."""

from __future__ import annotations

import re
import tempfile
import tomllib
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from simulator.errors import InputError, Problem
from simulator.page import choose, edit
from simulator.page.check import Checked, check, fresh_problems
from simulator.page.edit import Change
from simulator.page.field_map import move_zone
from simulator.page.prices import keep_prices, read_list, take_prices
from simulator.page.store import WORK, ChangedError, Store, Text
from simulator.page.uploads import CSV, check_boundaries
from simulator.scenario.catalogue import catalogue
from simulator.scenario.field_list import fields_given
from simulator.scenario.merge import parse_setting
from simulator.scenario.starter import Answers, FieldGroup, enough_power, starter_text, usual

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

    def new(self, customer: str, name: str, units: str, classes: Sequence[str], price: str = "") -> str:
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
        changes = [edit.put(("title",), f"{name}, {customer}" if customer else name), edit.put(("work",), "once")]
        tables = tomllib.loads(text)
        for set_name, table in tables["equipment_set"].items():
            rig = table["rig"]["main"]
            words = ", ".join(_craft_words(one, number) for one, number in rig["aircraft"].items())
            if len(classes) == 1:
                words += f", {sum(rig['packs'].values())} packs"
            changes.append(edit.put(("equipment_set", set_name, "label"), words))
        if price.strip():
            changes.append(edit.put_typed(("costs", "price_per_acre"), price, metric))
        text = edit.changed(text, *changes)
        checked = check(text, self.store.folder, name)
        changes = take_prices(checked.tables, [one.scenario for one in checked.plans], self.price_list())
        text = edit.changed(text, *changes)
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
            "set": _set, "step": _step, "choose": _choose, "paste": _paste, "add field": _add_field, "take": _take,
            "file": lambda _, given: [edit.use_file(str(given["name"]))],
            "rows": lambda _, given: [edit.use_table(given["rows"])], "table": _table, "copy set": _copy_set,
            "one more": _one_more, "zone": _zone,
        }  # fmt: skip
        try:
            if action == "take prices":
                plans = [one.scenario for one in opened.checked.plans]
                return take_prices(opened.checked.tables, plans, self.price_list())
            return made[action](opened, wish)
        except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
            raise InputError.single(f"the page asked for {action or 'nothing'} in a way that is not known") from error

    def keep_prices(self, key: str) -> None:
        """Bring the prices of a scenario into the dealer's list."""
        checked = self.open(key).checked
        changes = keep_prices(checked.tables, [one.scenario for one in checked.plans])
        text = edit.changed(self.store.prices() or _PRICES_HEAD, *changes)
        read_list(text)
        self.store.write_prices(text)

    def keep_dealer(self, **values: str) -> None:
        """Remember the dealer's name and logo for the next quote."""
        changes = [edit.put(("dealer", name), value or None) for name, value in values.items()]
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
    name = str(at[1]) if at[0] == "equipment_set" else ""
    table: Any = opened.checked.merged[name or next(iter(opened.checked.merged))]
    plain_at = at[2:] if name else at
    for part in plain_at:
        table = table.get(part, {}) if isinstance(table, Mapping) else {}
    if isinstance(table, int):
        present = table
    else:
        present = {"pilots": 1, "helpers": 1, "aircraft_per_pilot": 1}.get(str(at[-1]), 0)
    by = 1 if int(wish["by"]) > 0 else -1
    changes = [edit.step(at, by, present)]
    if "chargers" in at and by > 0:
        changes += _power_for(opened, name, plain_at, present + 1)
    return changes


def _power_for(opened: Opened, name: str, at: Sequence[str | int], count: int) -> list[Change]:
    """Return the changes that make a generator of the catalogue large enough for one more charger."""
    checked = opened.checked
    merged, (rig, point_name, charger) = checked.merged[name or next(iter(checked.merged))], (at[1], at[3], at[5])
    point, like = merged["rig"][rig]["power"][point_name], choose.class_of(checked.tables, "charger", str(charger))
    present = choose.class_of(checked.tables, "generator", str(point.get("generator", "")))
    if not like or not present or len([one for one in point["chargers"].values() if one]) > 1:
        return []
    needed = enough_power(like, count)
    order = list(catalogue()["generator"])
    if order.index(needed) <= order.index(present):
        return []
    return choose.choose_source(checked.prefix(name), str(rig), str(point_name), needed)


def _choose(opened: Opened, wish: Wish) -> list[Change]:
    checked = opened.checked
    name, rig, kind, old, new = (str(wish[key]) for key in ("set", "rig", "kind", "old", "typed"))
    if old == new:
        return []
    tables, merged, prefix = checked.tables, checked.merged[name], checked.prefix(name)
    if kind == "aircraft":
        changes = choose.choose_aircraft(tables, merged, prefix, rig, old, new)
        number = merged["rig"][rig]["aircraft"].get(old, 1)
        if prefix and merged.get("label") == _craft_words(old, number):
            changes.append(edit.put((*prefix, "label"), _craft_words(new, number)))
        return changes
    if kind == "pack":
        return choose.choose_pack(tables, merged, prefix, rig, old, new)
    if kind == "charger":
        return choose.choose_charger(tables, merged, prefix, rig, str(wish["point"]), old, new)
    return choose.choose_source(prefix, rig, str(wish["point"]), new)


def _paste(opened: Opened, wish: Wish) -> list[Change]:
    column = str(wish["column"])
    if column not in edit.COLUMNS:
        raise ValueError
    return [edit.paste(int(wish["row"]), column, str(wish["text"]), opened.checked.metric)]


def _add_field(opened: Opened, _: Wish) -> list[Change]:
    return [edit.add_field(opened.checked.metric)]


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
    plan = opened.checked.plans[0]
    rows = [
        {"name": one.name[:80], "area": f"{one.area_m2 / 10_000:.4g} ha", "length_to_width": 2} for one in plan.fields
    ]
    return [edit.use_table(rows)]


def _copy_set(opened: Opened, wish: Wish) -> list[Change]:
    source = str(wish["set"])
    return _set_like(opened, source, f"{opened.checked.called(source)[:50]}, copy")[1]


def _set_like(opened: Opened, source: str, label: str) -> tuple[str, list[Change]]:
    """Return the name of a new set like another, and the changes that make it."""
    tables, changes = opened.checked.tables, list[Change]()
    if not source:
        # the scenario is its own only set: from now on it is one beside others
        changes.append(edit.put(("equipment_set", "as_it_was"), {"label": "as it was"}))
    name = edit.free_name(tables, label)
    changes.append(edit.copy_set(source or "as_it_was", name, label))
    return name, changes


def _one_more(opened: Opened, wish: Wish) -> list[Change]:
    """Make a set like another with one more of something, as the answer has tried it."""
    source = str(wish["set"])
    source = source if source in opened.checked.merged else ""
    label = f"{opened.checked.called(source)}, {wish['change']}"
    name, changes = _set_like(opened, source, label[:60])
    for text in list(wish["settings"])[:20]:
        parts, value = parse_setting(str(text))
        changes.append(edit.put(("equipment_set", name, *parts), value))
    return changes


def _zone(opened: Opened, wish: Wish) -> list[Change]:
    loaded = opened.checked.loaded
    if loaded is None:
        raise InputError(list(opened.checked.problems))
    return move_zone(opened.checked.plans[0], loaded.folder, int(wish["place"]), float(wish["x"]), float(wish["y"]))


def renamed(store: Store, key: str, customer: str, name: str) -> str:
    """Rename a scenario; what is wrong with the name is said at its input."""
    try:
        return store.rename(key, customer, name)
    except InputError as error:
        raise InputError([replace(one, file="") for one in error.problems]) from error


def home_of(store: Store, key: str) -> Path:
    """Return the folder that a scenario lies in."""
    return store.path(key).parent
