"""``acreday schema``: the JSON Schema of a scenario."""

from __future__ import annotations

import click

from simulator.command.common import write_json, write_text_atomically


@click.command("schema")
@click.option("--out", "out", metavar="FILE", help="Write it to a file instead of standard output.")
def command(out: str | None) -> None:
    """Print the JSON Schema of a scenario: every key with its meaning, default and source."""
    import json
    from pathlib import Path

    from simulator.scenario.validate import json_schema

    document = json_schema()
    if out is None:
        write_json(document, "-")
    else:
        write_text_atomically(Path(out), json.dumps(document, indent=2) + "\n")
