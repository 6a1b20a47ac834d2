"""``acreday check``: tell whether a scenario is sound."""

from __future__ import annotations

import click

from simulator.command.common import FIELDS, QUIET, SCENARIO, SETTINGS, load, options, terminal_width


@click.command("check")
@options(SCENARIO, SETTINGS, FIELDS, QUIET)
def command(scenario: str, settings: tuple[str, ...], fields: str | None, quiet: bool) -> None:
    """Check a scenario with all its equipment sets, and name every problem at once."""
    from simulator.experiment.run import make_plans
    from simulator.report.practice import practitioner_lines
    from simulator.report.tables import amounts_table
    from simulator.scenario.types import called
    from simulator.scenario.units import area_unit
    from simulator.study.money import pieces_of

    loaded = load(scenario, settings, fields=fields)
    plans = make_plans(loaded)
    if quiet:
        return
    for entry, plan in zip(loaded.sets, plans, strict=True):
        unit = area_unit(plan.scenario.units)
        size = f"{unit.of_m2(sum(field.area_m2 for field in plan.fields)):.4g} {unit.name}"
        model = plan.scenario
        pieces = [
            f"{number} × {called(getattr(model, kind)[name], name, kind)}"
            for (kind, name), number in pieces_of(model).items()
            if kind in ("aircraft", "pack")
        ]
        if len(plan.rigs) > 1:
            pieces.insert(0, f"{len(plan.rigs)} rigs")
        click.echo(f"{plan.scenario.label or entry.name}: {len(plan.fields)} fields, {size}; {', '.join(pieces)}")
    names = [plan.scenario.label or entry.name for entry, plan in zip(loaded.sets, plans, strict=True)]
    if first := amounts_table(list(zip(names, map(practitioner_lines, plans), strict=True))):
        click.echo("\n".join(["", first.title, *first.lines(terminal_width())]))
    for problem in dict.fromkeys(str(problem) for entry in loaded.sets for problem in entry.notes):
        click.echo(problem, err=True)
    click.echo(f"{loaded.file}: sound, {len(loaded.sets)} equipment {'set' if len(loaded.sets) == 1 else 'sets'}")
