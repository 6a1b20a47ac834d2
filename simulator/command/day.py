"""``acreday day``: one simulated day, whole."""

from __future__ import annotations

import click

from simulator.command.common import FIELDS, FORCE, QUIET, SCENARIO, SEED, SETTINGS, load, note, options


@click.command("day")
@options(SCENARIO)
@click.option("--equipment", metavar="SET", help="Equipment set [default: the first].")
@click.option("--run", type=click.IntRange(0), default=0, help="Which of the random runs.")
@click.option("--work-day", type=click.IntRange(1), default=1, help="Which work day of that run.")
@options(SEED, SETTINGS, FIELDS)
@click.option("--out", metavar="DIR", help="Folder [default: reports/<scenario>-day].")
@options(FORCE, QUIET)
def command(
    scenario: str,
    equipment: str | None,
    run: int,
    work_day: int,
    seed: int | None,
    settings: tuple[str, ...],
    fields: str | None,
    out: str | None,
    force: bool,
    quiet: bool,
) -> None:
    """Simulate one work day of a run: its log as CSV (one row an interval) and a timeline figure."""
    import time
    from pathlib import Path

    from simulator.analysis.day_record import day_record
    from simulator.analysis.day_rows import day_rows
    from simulator.experiment.run import simulate_day
    from simulator.plan.day_plan import make_plan
    from simulator.report.folder import ResultFolder, check_target, manifest
    from simulator.scenario.units import area_unit, clock_text

    begun_s = time.monotonic()
    loaded = load(scenario, settings, fields=fields)
    entry = loaded.sets[0] if equipment is None else loaded.equipment_set(equipment)
    target = Path(out) if out is not None else Path("reports") / f"{loaded.name}-day"
    check_target(target, force)
    used_seed = loaded.base.seed if seed is None else seed
    plan, called = make_plan(entry), entry.scenario.label or entry.name
    day = simulate_day(loaded, entry.name, run, work_day, used_seed)
    from simulator.report.day_figure import day_figure
    from simulator.report.day_table import day_frame

    record = manifest(loaded, used_seed, {entry.name: 1}, begun_s, {entry.name: entry.resolved})
    with ResultFolder(target, force) as folder:
        folder.write_table("day.csv", day_frame(day_rows(plan, day), plan.scenario.day.start))
        title = f"{called}: run {run}, work day {work_day}"
        folder.write_figure("timeline", day_figure(day_record(plan, day), title))
        folder.write_manifest(record)
        folder.finish()
    unit = area_unit(loaded.base.units)
    area_m2 = sum(sortie.area_to_m2 - sortie.area_from_m2 for sortie in day.log.sorties)
    size = f"{unit.of_m2(area_m2):.1f} {unit.name}"
    ended = clock_text(loaded.base.day.start + day.log.paid_until_s)
    if not quiet:
        flown = f"{size} in {len(day.log.sorties)} sorties"
        text = f"{called}, run {run}, work day {work_day}: {flown}; back at the yard at {ended}"
        if day.log.list_finished_s is not None:
            text += f"; the field list was finished at {clock_text(loaded.base.day.start + day.log.list_finished_s)}"
        click.echo(text)
    note(f"results: {target}", quiet)
