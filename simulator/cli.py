"""The ``acreday`` command: its commands, loaded when called, and the place where errors become messages."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from importlib import import_module

import click

from simulator.clean import OutputError, clean_output
from simulator.errors import AcredayError, InputError
from simulator.version import __version__

COMMANDS = {
    "new": "Write a commented scenario to start from.",
    "classes": "List the equipment classes to start from, or show one whole.",
    "check": "Check a scenario and say what is wrong with it.",
    "run": "Simulate the whole job many times: acres per day, work days and the bottleneck.",
    "compare": "Compare equipment sets on the same random draws: differences and who wins.",
    "day": "One simulated work day: its log as CSV and a timeline figure.",
    "report": "A result as one HTML file with the day replayed; several side by side.",
    "page": "Plan jobs in the browser: fields, equipment sets, prices, live answers.",
    "quote": "A quote sheet for a customer (PDF and HTML) from a result.",
    "figure": "One publication-ready figure of a result (SVG, PNG, PDF).",
    "explain": "What to check of a set; every number that it uses, from where.",
    "payoff": "Does a change pay: extra acres, margin, payback, chance that it pays.",
    "ladder": "What to buy next, and next after that, until nothing pays.",
    "size": "The least-cost equipment set that reaches a target, over given choices.",
    "season": "From work days to acres by date, chance to finish, cost an acre.",
    "fragmentation": "Output when the same acres lie in more, smaller or farther fields.",
    "crossover": "Map which of two sets wins over field size and application rate.",
    "sensitivity": "Which assumptions matter, and what to measure to be sure.",
    "fit": "Turn stopwatch times into a scenario's distributions.",
    "hindcast": "Hold the simulation against past days.",
    "schema": "Print the JSON Schema of a scenario, for editors.",
}
"""Commands, each a module with a click command named ``command``, and their short help."""


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called, so that help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        found = import_module(f"simulator.command.{cmd_name}").command
        return found if isinstance(found, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Name the nearest command when there is none of that name."""
        if args and args[0] not in COMMANDS:
            from simulator.scenario.merge import nearest

            ctx.fail(f"no command {args[0]!r}{nearest(args[0], list(COMMANDS))}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table above, without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


_SHOWN = {"help_option_names": ["-h", "--help"], "max_content_width": 100, "show_default": True}


@click.group(cls=LazyGroup, context_settings=_SHOWN)
@click.version_option(__version__, prog_name="acreday")
def group() -> None:
    """Simulate crop-spraying days flown with unmanned multirotor aircraft.

    A scenario (TOML) goes in; acres per day and what holds each equipment set back come out.
    """


def main(arguments: list[str] | None = None) -> None:
    """Run the command line; exit code 0 when done, 2 for bad input, 130 when interrupted."""
    try:
        with clean_output():
            _main(arguments)
    except (BrokenPipeError, OutputError) as error:
        _end_without_output(error)


def _end_without_output(error: BrokenPipeError | OutputError) -> None:
    """Say on standard error, when that is left, why the output ends, and end; a reader who has left needs no word."""
    with suppress(OSError, ValueError, OutputError), clean_output():
        if isinstance(error, OutputError):
            click.echo(f"acreday: {error}", err=True)
    # what the streams still hold would fail once more when Python ends
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for stream in (sys.stdout, sys.stderr):
            os.dup2(nowhere, stream.fileno())
    sys.exit(2 if isinstance(error, OutputError) else 1)


def _main(arguments: list[str] | None) -> None:
    try:
        code = group.main(args=arguments, prog_name="acreday", standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("acreday: stopped; what had finished before is kept", err=True)
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except InputError as error:
        count = len(error.problems)
        if count > 1:
            click.echo(f"acreday: {count} problems", err=True)
        for problem in error.problems:
            click.echo(f"acreday: {problem}" if count == 1 else f"  {problem}", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        click.echo("acreday: stopped; what had finished before is kept", err=True)
        sys.exit(130)
    except AcredayError as error:
        click.echo(f"acreday: fault of the model, please report it: {error}", err=True)
        sys.exit(3)
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
