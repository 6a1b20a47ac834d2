"""``acreday page``: plan jobs in the browser."""

from __future__ import annotations

import click


@click.command("page")
@click.argument("folder", default=".", type=click.Path(file_okay=False))
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="Address to listen at; 0.0.0.0 for a tablet in the yard."
)
@click.option("--port", type=click.IntRange(0, 65535), help="Port [default: the first free one from 8380 on].")
@click.option("--no-browser", is_flag=True, help="Do not open the browser.")
def command(folder: str, host: str, port: int | None, no_browser: bool) -> None:
    """Plan jobs in the browser: fields, equipment sets, prices, and the answer as it is simulated.

    The page edits the scenario files of FOLDER, and of its sub-folders (one a customer); the other commands run the
    same files. It needs no network, and is for whoever has the secret in its address.
    """
    from pathlib import Path

    from simulator.page.serve import serve_page

    serve_page(Path(folder), host, port, not no_browser, lambda text: click.echo(text, err=True))
