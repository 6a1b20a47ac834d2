"""What the study commands share: their options, the scenario, progress, and where the answer goes."""

from __future__ import annotations

import datetime
import functools
import shlex
import signal
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simulator.command.common import (
    FIELDS,
    FORCE,
    JSON,
    QUIET,
    SCENARIO,
    SEED,
    SETTINGS,
    STUDY_OUT,
    WORKERS,
    Progress,
    load,
    note,
    options,
    refuse_existing,
    terminal_width,
    told_file,
    write_json,
)

if TYPE_CHECKING:
    from simulator.command.study_output import StudyOutput
    from simulator.scenario.loading import LoadedScenario


def study_command(
    name: str, fields: bool = False, seeded: bool = True
) -> Callable[[Callable[..., None]], click.Command]:
    """Make a command of a function that takes a :class:`StudyRun` and its own arguments and options.

    Parameters
    ----------
    name : str
        Command.
    fields : bool
        Whether a GeoJSON file may stand for the list of fields.
    seeded : bool
        Whether the study draws random numbers, and may use several processes.
    """
    random = [SEED, WORKERS] if seeded else []
    shared = options(*random, SETTINGS, *([FIELDS] if fields else []), STUDY_OUT, FORCE, JSON, QUIET)

    def decorate(function: Callable[..., None]) -> click.Command:
        own = getattr(function, "__click_params__", [])

        def command(**given: Any) -> None:
            mine = {key: given.pop(key) for key in names}
            function(StudyRun(name, **given), **mine)

        names = [option.name for option in own]
        command.__doc__ = function.__doc__
        command = shared(command)
        command.__click_params__ += own  # type: ignore[attr-defined]
        return click.command(name)(SCENARIO(command))

    return decorate


@dataclass
class StudyRun:
    """One call of a study command: the options that all of them have."""

    name: str
    scenario: str
    settings: tuple[str, ...]
    out: str | None
    force: bool
    json_file: str | None
    quiet: bool
    fields: str | None = None
    seed: int | None = None
    workers: int = 1
    begun_s: float = field(default_factory=time.monotonic)
    interrupted: list[bool] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Remember a Ctrl-C, so that an answer from what had finished says so first."""

        def note_and_raise(number: int, frame: object) -> None:
            self.interrupted.append(True)
            raise KeyboardInterrupt

        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, note_and_raise)

    def load(self, *inputs: str) -> LoadedScenario:
        """Load the scenario, and refuse a folder or file that cannot take the result before anything is simulated."""
        loaded = load(self.scenario, self.settings, self.fields)
        refuse_existing(self.json_file, self.force, self.scenario, *inputs)
        if self.out is not None:
            from simulator.report.folder import check_target

            check_target(Path(self.out), self.force)
        return loaded

    @functools.cached_property
    def progress(self) -> Progress:
        """Return the progress line of the study."""
        return Progress(self.quiet)

    def finish(self, loaded: LoadedScenario, output: StudyOutput, stopped: str = "") -> None:
        """Print the answer and write what was asked for; ``stopped`` says why the study ended early.

        Raises
        ------
        InputError
            The folder or file cannot be written.
        """
        from simulator.command.study_output import aligned, filled, shown

        self.progress.end()
        if self.interrupted:
            note("Stopped early (Ctrl-C): the answer is from what had finished by then, and may change with more runs.")
        used = loaded.base.seed if self.seed is None else self.seed
        document = {**output.document, "scenario": loaded.name, "seed": used, "invented": loaded.base.invented}
        if self.out is not None:
            self._write_folder(loaded, used, output, document)
        if self.json_file is not None:
            write_json(document, self.json_file)
        if not self.quiet and self.json_file != "-":
            width = terminal_width()
            for text in output.sentences:
                click.echo(filled(shown(text), width))
            click.echo()
            click.echo(aligned(output.rows, width))
            for text in output.notes:
                click.echo(filled(shown(text), width, "- ", "  "))
        if self.out is not None:
            note(f"results: {self.out}", self.quiet)
        if stopped:
            note(f"acreday: {stopped}")
        if self.interrupted or stopped:
            sys.exit(130)

    def _write_folder(
        self, loaded: LoadedScenario, seed: int, output: StudyOutput, document: Mapping[str, Any]
    ) -> None:
        from simulator.command.study_output import summary
        from simulator.report.folder import ResultFolder, manifest
        from simulator.report.style import save_figure

        record = manifest(
            {entry.name: entry.resolved for entry in loaded.sets},
            [],
            loaded.digest(),
            seed,
            output.runs,
            shlex.join(["acreday", *sys.argv[1:]]),
            datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            time.monotonic() - self.begun_s,
        )
        target = Path(self.out or "")
        with ResultFolder(target, self.force) as folder:
            with told_file(target, "study.json"):
                said = {"sentences": output.sentences, "rows": output.rows, "notes": output.notes}
                folder.write_json("study.json", {**document, "said": {**said, "figures": list(output.figures)}})
            for name, frame in output.tables.items():
                with told_file(target, name):
                    folder.write_table(name, frame)
            for stem, draw in output.figures.items():
                figure = draw()
                for form in ("svg", "png"):
                    with told_file(target, f"{stem}.{form}"):
                        save_figure(figure, folder.path / stem, (form,))
            with told_file(target, "summary.md"):
                folder.write_text("summary.md", summary(self.name, loaded, output, seed))
            with told_file(target, "manifest.json"):
                folder.write_manifest(record)
            folder.finish()
