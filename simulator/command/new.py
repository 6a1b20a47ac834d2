"""``acreday new``: a commented scenario to start from."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from simulator.errors import InputError


@click.command("new")
@click.argument("file", metavar="FILE.toml")
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
@click.option("--ask/--no-ask", default=None, help="Ask a few questions first [default: when run on a terminal].")
def command(file: str, force: bool, ask: bool | None) -> None:
    """Write a commented scenario to start from: invented equipment and fields to replace by your own.

    On a terminal it asks a few plain questions and shows what the answers imply.
    """
    import re

    from simulator.command.common import write_text_atomically
    from simulator.scenario.starter import starter_text

    path = Path(file)
    if path.exists() and not force:
        raise InputError.single("exists; give --force to replace it, or another name", file=file)
    name = re.sub(r"[^A-Za-z0-9_-]+", "_", path.stem).strip("_")[:60] or "my_fields"
    name = name if name[0].isalnum() else f"s{name}"[:60]
    wanted = sys.stdin.isatty() and sys.stdout.isatty() if ask is None else ask
    answers = None
    if wanted:
        from simulator.command.questions import ask as ask_questions

        answers = ask_questions()
    text = starter_text(name, answers)
    if wanted:
        click.echo("\n" + implied(text))
    write_text_atomically(path, text)
    click.echo(f"{file}: written; next: acreday check {file}, then acreday run {file}")


def implied(text: str) -> str:
    """Return what a scenario's numbers imply, in a few lines."""
    import tomllib

    from simulator.plan.day_plan import make_plan
    from simulator.plan.flight import Flight
    from simulator.scenario.loading import load_scenario
    from simulator.scenario.units import area_unit

    loaded = load_scenario(tomllib.loads(text))
    plan = make_plan(loaded.sets[0])
    aircraft, pack = plan.rigs[0].aircraft[0][0], plan.rigs[0].packs[0][0]
    profile = plan.profiles[aircraft.name, 0]
    area = min(aircraft.capacity(pack.mass_kg) / profile.rate, profile.path.area_m2)
    middle = max(0.0, 0.5 * (profile.path.area_m2 - area))
    air = Flight(aircraft, profile, pack.mass_kg, plan.unit_kg).over(
        middle, middle + area, profile.product(middle, middle + area), 1.0
    )
    unit = area_unit(loaded.base.units)
    usable = pack.capacity_wh - pack.reserve_wh
    loads = max(1, int(usable / air.energy_wh)) if air.energy_wh <= usable else 0
    lines = [
        "What this implies, by mean times:",
        f"  a load covers {unit.of_m2(area):.1f} {unit.name} in {air.total_s / 60:.1f} min airborne",
        f"  and takes {air.energy_wh:.0f} Wh of the {usable:.0f} Wh above the pack's reserve",
    ]
    if loads == 0:
        lines.append("  more than one charge gives: loads will be smaller than the tank")
    else:
        lines.append(f"  so a charge flies {loads} {'load' if loads == 1 else 'loads'}")
    return "\n".join(lines)
