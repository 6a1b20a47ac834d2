"""``acreday compile``: the model as machine code, for long runs."""

from __future__ import annotations

import shutil
import time

import click


@click.command("compile")
@click.option("--force", is_flag=True, help="Compile again, whatever is there.")
@click.option("--remove", is_flag=True, help="Remove all compiled copies instead.")
def command(force: bool, remove: bool) -> None:
    """Translate the model into machine code once: days then take a fifth to a third of the time.

    The numbers stay the same to the last digit. Needs a C compiler and pip install 'acreday[compile]'; takes a minute
    or two. The copy lies in your cache folder and belongs to this version of acreday and of Python; with the
    environment variable ACREDAY_COMPILED=0 it is left unused.
    """
    from simulator import compiled
    from simulator.compiling import check_tools, compile_model

    place = compiled.cache()
    if remove:
        for copy in [*place.glob("model-*"), *place.glob("new-*")] if place is not None else []:
            if copy.is_dir():
                shutil.rmtree(copy)
        click.echo(f"no compiled copy is left in {place}")
        return
    goal = check_tools()
    if not force and compiled.is_whole(goal):
        click.echo(f"compiled already: {goal}")
        return
    click.echo("compiling the model; this takes a minute or two ...", err=True)
    begun_s = time.monotonic()
    compile_model()
    click.echo(f"compiled in {time.monotonic() - begun_s:.0f} s: {goal}")
