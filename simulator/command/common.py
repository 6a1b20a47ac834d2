"""What the commands share: options, progress on stderr, and writing JSON."""

from __future__ import annotations

import functools
import json
import os
import sys
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from simulator.clean import steer
from simulator.errors import InputError

if TYPE_CHECKING:
    from simulator.scenario.loading import LoadedScenario

F = TypeVar("F", bound=Callable[..., Any])

ALLOW_OUTSIDE = "allow_files_outside"


def _note_flag(context: click.Context, option: click.Parameter, value: bool) -> None:
    context.meta[ALLOW_OUTSIDE] = value


def SCENARIO(function: F) -> F:  # noqa: N802  stands among the other decorators
    """Take a scenario, and whether files out of its folder may be read, which :func:`load` asks for."""
    option = click.option(
        "--allow-files-outside", is_flag=True, expose_value=False, callback=_note_flag,
        help="Let the scenario name files out of its own folder.",
    )  # fmt: skip
    return click.argument("scenario", metavar="SCENARIO.toml")(option(function))


def reads(function: str, *more: Any) -> Callable[[click.Context, click.Parameter, Any], Any]:
    """Let an option be read by a function that takes the text and the option; it is imported only then."""

    def read(_: click.Context, option: click.Parameter, text: Any) -> Any:
        module = import_module("simulator.study.reading")
        return None if text is None else getattr(module, function)(text, option.opts[0], *more)

    return read


SETTINGS = click.option(
    "--set", "settings", metavar="KEY=VALUE", multiple=True,
    help="Override any scenario value, such as rig.main.packs.big=4.",
)  # fmt: skip
FIELDS = click.option(
    "--fields", metavar="FILE", help="Field list instead: GeoJSON, KML, KMZ, shapefile (.zip), GeoPackage, or CSV."
)
SEED = click.option("--seed", type=int, help="Seed of the random streams [default: the scenario's].")
RUNS = click.option("--runs", type=int, help="Runs to simulate for each set [default: the scenario's].")


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


WORKERS = click.option(
    "--workers", type=int, default=_cores, show_default="one a core", help="Processes; results do not depend on it."
)
OUT = click.option("--out", metavar="DIR", help="Folder for the results [default: reports/<scenario>].")
STUDY_OUT = click.option("--out", metavar="DIR", help="Folder for tables, figure and summary [default: none written].")
FORCE = click.option("--force", is_flag=True, help="Replace an older result in that folder.")
FORCE_FILE = click.option("--force", is_flag=True, help="Replace files of that name.")
JSON = click.option("--json", "json_file", metavar="FILE", help="Also write result.json there; - for standard output.")
QUIET = click.option("--quiet", is_flag=True, help="Print no table and no progress.")


PRECISION = click.option(
    "--precision", metavar="SHARE", callback=reads("read_share"),
    help="Go on until every set is known this well, such as 1%.",
)  # fmt: skip
PRECISE = click.option(
    "--precise", type=click.Choice(["mean", "p10", "difference"]), default="mean",
    help="What --precision is about: the mean, the output of nine days in ten, or the differences.",
)  # fmt: skip
BUDGET = click.option(
    "--budget", "budget_s", metavar="TIME", callback=reads("read_budget"),
    help="Stop after this time, such as 30s, and say how precise it is.",
)  # fmt: skip
SCHEDULER = click.option("--scheduler", metavar="ADDRESS", help="Use a dask cluster, such as tcp://10.0.0.5:8786.")
TLS = [
    click.option(f"--tls-{name}", metavar="FILE", help=f"{what} (PEM), for a scheduler at tls://.")
    for name, what in (("ca", "Certificate of the authority"), ("cert", "Own certificate"), ("key", "Own key"))
]
RESUME = click.option("--resume", is_flag=True, help="Go on with an unfinished result in that folder.")
EFFORT = (RUNS, PRECISION, PRECISE, BUDGET)
"""How much ``run`` and ``compare`` simulate;"""
WHERE = (SEED, WORKERS, SCHEDULER, *TLS, SETTINGS, FIELDS, OUT, FORCE, RESUME, JSON, QUIET)
"""and how, of what, and where the result goes."""


def options(*decorators: Callable[[F], F]) -> Callable[[F], F]:
    """Join option decorators into one, in the order of the help page."""

    def decorate(function: F) -> F:
        return functools.reduce(lambda inner, decorator: decorator(inner), reversed(decorators), function)

    return decorate


def load(scenario: str, settings: tuple[str, ...] = (), fields: str | None = None) -> LoadedScenario:
    """Load the scenario of a command; see :func:`simulator.scenario.loading.load_scenario`."""
    from simulator.scenario.loading import load_scenario

    context = click.get_current_context(silent=True)
    outside = bool(context is not None and context.meta.get(ALLOW_OUTSIDE))
    return load_scenario(scenario, settings, fields=fields, allow_files_outside=outside)


class Progress:
    """A progress line on stderr, redrawn at most ten times a second; silent when quiet, plain when not a terminal."""

    def __init__(self, quiet: bool = False) -> None:
        self._quiet = quiet
        self._terminal = sys.stderr.isatty()
        self._drawn_s = 0.0
        self._stage = ""
        self._begun_s = time.monotonic()

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Show that ``done`` of ``total`` are finished; a stage may end in a semicolon and what is known so far."""
        if self._quiet:
            return
        stage, _, known = stage.partition("; ")
        now = time.monotonic()
        if stage != self._stage:
            self.end()
            self._stage, self._begun_s = stage, now
        elif done < total and now - self._drawn_s < (0.1 if self._terminal else 10.0):
            return
        self._drawn_s = now
        share = done / total if total else 1.0
        left = (now - self._begun_s) * (1 / share - 1) if share > 0 else 0.0
        filled = round(12 * share)
        text = f"{stage}: [{'#' * filled}{'.' * (12 - filled)}] {done}/{total}"
        if 0 < share < 1 and now - self._begun_s > 1.0:
            text += f", {left:.0f} s left"
        if known and (not self._terminal or len(text) + len(known) < 76):
            text += f"; {known}"
        if self._terminal:
            steer(f"\r{text:<78}", sys.stderr)
        else:
            click.echo(text, err=True)

    def end(self) -> None:
        """Finish the line."""
        if self._stage and self._terminal and not self._quiet:
            click.echo("", err=True)
        self._stage = ""


def note(text: str, quiet: bool = False) -> None:
    """Say something on stderr."""
    if not quiet:
        click.echo(text, err=True)


def refuse_existing(target: str | Path | None, force: bool, *inputs: str) -> None:
    """Refuse to write over an input or, unless forced, over a file that acreday did not write as it is."""
    if target is None or str(target) == "-":
        return
    from simulator.report.own_files import is_own

    path, name = Path(target), str(target)
    try:
        if not os.path.lexists(path):
            return
        if path.is_dir():
            raise InputError.single("is a folder; allowed is a file name", file=name)
        if any(Path(one).exists() and path.samefile(one) for one in inputs):
            raise InputError.single("is an input of this command; give another name", file=name)
        if not force and not is_own(path):
            raise InputError.single("exists; give --force to replace it, or another name", file=name)
    except (OSError, ValueError) as error:
        raise InputError.single(f"is not a usable file name: {error}", file=name.replace("\0", "")) from error


def write_whole(path: Path, write: Callable[[Path], object], where: str = "") -> None:
    """Write a file whole or not at all; its folder is made if need be, and a link is followed and stays."""
    from simulator.report.writing import whole_file

    try:
        if path.exists() and not path.is_file():
            # a device or pipe would be replaced by a file, a folder by nothing
            raise InputError.single("is not a regular file; allowed is the name of a file", where, str(path))
        path = path.resolve()
    except (OSError, RuntimeError, ValueError) as error:
        name = str(path).replace("\0", "")
        raise InputError.single(f"is not a usable file name: {error}", where, name) from error
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(path) as temporary:
            write(temporary)
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", where, str(path)) from error


def write_text_atomically(path: Path, text: str) -> None:
    """Write a text file whole or not at all."""
    write_whole(path, lambda temporary: temporary.write_text(text, encoding="utf-8", errors="replace"))


def write_json(document: Any, target: str) -> None:
    """Write a document as JSON to a file, or to standard output for ``-``."""
    text = json.dumps(document, indent=2, allow_nan=False)
    if target == "-":
        click.echo(text)
    else:
        write_text_atomically(Path(target), text + "\n")


def terminal_width() -> int:
    """Return the width for tables: the terminal's, between 60 and 160; 100 when there is none."""
    import shutil

    return min(160, max(60, shutil.get_terminal_size((100, 24)).columns))


def use_color() -> bool:
    """Tell whether standard output is a terminal that wants colour."""
    return sys.stdout.isatty() and "NO_COLOR" not in os.environ
