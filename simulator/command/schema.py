"""``acreday schema``: the JSON Schema of a scenario."""

from __future__ import annotations

import click

from simulator.command.common import refuse_existing, write_json, write_text_atomically


@click.command("schema")
@click.option("--out", "out", metavar="FILE", help="Write it to a file instead of standard output.")
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
def command(out: str | None, force: bool) -> None:
    """Print the JSON Schema of a scenario: every key with its meaning, default and source."""
    import json
    from pathlib import Path

    from simulator.scenario.validate import json_schema

    refuse_existing(out, force)
    document = json_schema()
    if out is None:
        write_json(document, "-")
    else:
        write_text_atomically(Path(out), json.dumps(document, indent=2) + "\n")
