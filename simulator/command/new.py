"""``acreday new``: a commented scenario to start from."""

from __future__ import annotations

from pathlib import Path

import click

from simulator.errors import InputError


@click.command("new")
@click.argument("file", metavar="FILE.toml")
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
def command(file: str, force: bool) -> None:
    """Write a commented scenario to start from: invented equipment and fields to replace by your own."""
    import re

    from simulator.command.common import write_text_atomically
    from simulator.scenario.starter import starter_text

    path = Path(file)
    if path.exists() and not force:
        raise InputError.single("exists; give --force to replace it, or another name", file=file)
    name = re.sub(r"[^A-Za-z0-9_-]+", "_", path.stem).strip("_")[:60] or "my_fields"
    write_text_atomically(path, starter_text(name if name[0].isalnum() else f"s{name}"[:60]))
    click.echo(f"{file}: written; next: acreday check {file}, then acreday run {file}")
