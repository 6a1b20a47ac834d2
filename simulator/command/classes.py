"""``acreday classes``: the catalogue of equipment classes."""

from __future__ import annotations

from functools import reduce
from typing import TYPE_CHECKING, Any

import click

from simulator.command.common import FORCE_FILE, JSON, refuse_existing, terminal_width, write_json
from simulator.errors import InputError

if TYPE_CHECKING:
    from pydantic import BaseModel

    from simulator.report.numbers import ReportUnits
    from simulator.report.quantities import Kind

_FOOT = "All invented: round numbers of a class. `acreday classes NAME` shows one whole, as TOML to copy."


@click.command("classes")
@click.argument("name", required=False)
@click.option("--units", type=click.Choice(["us", "metric"]), default="us", help="Of the tables.")
@JSON
@FORCE_FILE
def command(name: str | None, units: str, json_file: str | None, force: bool) -> None:
    """List the equipment classes that a scenario may start from by `like`, or show the one called NAME whole."""
    from simulator.command.study_output import aligned, filled
    from simulator.report.numbers import report_units
    from simulator.scenario.catalogue import catalogue
    from simulator.scenario.merge import nearest

    refuse_existing(json_file, force)
    found = {
        table: {one: entry for one, entry in entries.items() if name in (None, one)}
        for table, entries in catalogue().items()
    }
    if not any(found.values()):
        known = [one for entries in catalogue().values() for one in entries]
        raise InputError.single(f"got {name!r}, which is no class{nearest(name or '', known)}", "NAME")
    if json_file is not None:
        classes = {table: entries for table, entries in found.items() if entries}
        write_json({"invented": True, "classes": classes}, json_file)
    if json_file == "-":
        return
    width = terminal_width()
    if name is not None:
        click.echo(_whole(name, *next((table, entries[name]) for table, entries in found.items() if entries)), nl=False)
        return
    for table in found:
        title, rows = _table(table, report_units(units))
        click.echo(f"{title}\n\n{aligned(rows, width)}\n")
    click.echo(filled(_FOOT, width))


def _whole(name: str, table: str, entry: dict[str, Any]) -> str:
    """Return a class as TOML that stands in a scenario as it is."""
    from simulator.scenario.toml_text import toml_document

    place = {"power": ("rig", "main", "power", "mains"), "rig": ("rig", "main")}.get(table, (table, name))
    start = f'# {name}, an invented class. To start from it, and give only what differs: like = "{name}"\n'
    return start + toml_document(reduce(lambda inner, part: {part: inner}, reversed(place), entry))


def _table(table: str, shown: ReportUnits) -> tuple[str, list[list[str]]]:
    """Return the title and the rows, head first, of one kind of equipment."""
    from simulator.report import quantities as kind
    from simulator.scenario import schema_equipment as equipment
    from simulator.scenario import schema_rig as rig
    from simulator.scenario.catalogue import catalogue
    from simulator.scenario.validate import fill_defaults

    tables: dict[str, tuple[str, type[BaseModel], dict[str, tuple[str, Kind | None]]]] = {
        "aircraft": ("Aircraft, with minutes of hover on a full and on an empty tank", equipment.Aircraft, {
            "tank": ("tank", kind.TANK), "rotors": ("rotors", None), "mass": ("empty_mass", kind.MASS),
            "full": ("hover.full_time", None), "empty": ("hover.empty_time", None), "swath": ("swath", kind.WIDTH),
            "handling": ("handling_time", None),
        }),
        "pack": ("Packs", equipment.Pack, {
            "energy": ("energy", None), "mass": ("mass", kind.MASS), "takes at most": ("charge_power_max", None),
            "fits": ("fits", None),
        }),
        "charger": ("Chargers", equipment.Charger, {
            "power": ("output_power", None), "set to": ("setting", None), "slots": ("slots", None),
            "serves": ("serves", None),
        }),
        "generator": ("Generators", equipment.Generator, {
            "rated power": ("rated_power", None), "loaded to": ("continuous_share", None), "fuel": ("fuel", None),
            "fuel tank": ("fuel_tank", kind.TANK),
        }),
        "power": ("Mains, for a power point of a rig", rig.PowerPoint, {"power": ("grid_power", None)}),
        "rig": ("Set-ups, for a rig", rig.Rig, {
            "pack up": ("trailer.pack_up_time", None), "set up": ("trailer.set_up_time", None),
            "yard": ("trailer.yard_time", None), "mix tank": ("supply.mix_tank", kind.TANK),
            "water": ("supply.nurse_water", kind.TANK),
        }),
    }  # fmt: skip
    title, model, columns = tables[table]
    rows = [["class", *columns]]
    for name, entry in catalogue()[table].items():
        whole = fill_defaults(entry, model)
        if table == "aircraft":
            whole["rotors"] = f"{whole['rotors']}{' in pairs' if whole['coaxial'] else ''}"
            whole["handling_time"] += f" by {whole['handling_people']}"
        rows.append([name, *(_cell(whole, key, unit, shown) for key, unit in columns.values())])
    return title, rows


def _cell(whole: dict[str, Any], key: str, unit: Kind | None, shown: ReportUnits) -> str:
    from simulator.report.quantities import quantity_text

    value = reduce(lambda part, step: part[step], key.split("."), whole)
    return ", ".join(value) if isinstance(value, list) else quantity_text(value, shown, unit)
