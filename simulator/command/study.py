"""What the study commands share: their options, the scenario, progress, and where the answer goes."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from importlib import import_module
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
    write_json,
)

if TYPE_CHECKING:
    from simulator.scenario.loading import LoadedScenario
    from simulator.study.answer import Answer

_FIGURES = {
    name: f"simulator.report.{name if name != 'hindcast' else 'fit'}_figure"
    for name in ("payoff", "ladder", "size", "season", "fragmentation", "crossover", "sensitivity", "fit", "hindcast")
}
"""Where each study's figure is drawn."""


def study_command(
    name: str, fields: bool = False, seeded: bool = True
) -> Callable[[Callable[..., Answer]], click.Command]:
    """Make a command of a function that takes a `StudyRun` and its own arguments, and returns the answer."""
    random = [SEED, WORKERS] if seeded else []
    shared = options(*random, SETTINGS, *([FIELDS] if fields else []), STUDY_OUT, FORCE, JSON, QUIET)

    def decorate(function: Callable[..., Answer]) -> click.Command:
        own = getattr(function, "__click_params__", [])

        def command(**given: Any) -> None:
            mine = {key: given.pop(key) for key in names}
            study = StudyRun(name, **given)
            study.finish(function(study, **mine))

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
    inputs: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Remember a Ctrl-C, so that an answer from what had finished says so first."""

        def note_and_raise(number: int, frame: object) -> None:
            self.interrupted.append(True)
            raise KeyboardInterrupt

        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, note_and_raise)

    @cached_property
    def loaded(self) -> LoadedScenario:
        """The scenario; a folder or file that cannot take the result is refused before anything is simulated."""
        loaded = load(self.scenario, self.settings, self.fields)
        refuse_existing(self.json_file, self.force, self.scenario, *self.inputs)
        if self.out is not None:
            from simulator.report.folder import check_target

            check_target(Path(self.out), self.force)
        return loaded

    @cached_property
    def used_seed(self) -> int:
        """The seed given, or the scenario's."""
        return self.loaded.base.seed if self.seed is None else self.seed

    @cached_property
    def progress(self) -> Progress:
        """The progress line of the study."""
        return Progress(self.quiet)

    def ask(self, *arguments: Any, **given: Any) -> Answer:
        """Ask the study of the command's name."""
        loaded, study = self.loaded, getattr(import_module(f"simulator.study.{self.name}"), self.name)
        common = {"seed": self.seed, "workers": self.workers, "report": self.progress}
        answer: Answer = study(loaded, *arguments, **given, **common)
        return answer

    def finish(self, answer: Answer) -> None:
        """Print the answer and write what was asked for."""
        from simulator.command.study_output import aligned, filled

        self.progress.end()
        if self.interrupted:
            note("Stopped early (Ctrl-C): the answer is from what had finished by then, and may change with more runs.")
        base = {"scenario": self.loaded.name, "seed": self.used_seed, "invented": self.loaded.base.invented}
        document = {**answer.to_json(), **base}
        if self.out is not None:
            self._write_folder(answer, document, Path(self.out))
        if self.json_file is not None:
            write_json(document, self.json_file)
        if not self.quiet and self.json_file != "-":
            from simulator.report.writing import plain

            width = terminal_width()
            for text in answer.sentences:
                click.echo(filled(plain(text), width))
            click.echo(f"\n{aligned(answer.rows, width)}")
            for text in answer.remarks:
                click.echo(filled(plain(text), width, "- ", "  "))
        if self.out is not None:
            note(f"results: {self.out}", self.quiet)
        if answer.stopped:
            note(f"acreday: {answer.stopped}")
        if self.interrupted or answer.stopped:
            sys.exit(130)

    def _write_folder(self, answer: Answer, document: dict[str, Any], target: Path) -> None:
        from simulator.command.study_output import summary
        from simulator.report.folder import ResultFolder, manifest

        name, loaded = answer.study, self.loaded
        record = manifest(loaded, self.used_seed, answer.simulated, self.begun_s)
        figure = getattr(import_module(_FIGURES[name]), f"{name}_figure")
        with ResultFolder(target, self.force) as folder:
            said = {"sentences": answer.sentences, "rows": answer.rows, "notes": answer.remarks, "figures": [name]}
            folder.write_json("study.json", {**document, "said": said})
            for file, frame in answer.tables.items():
                folder.write_table(file, frame)
            folder.write_figure(name, figure(answer))
            folder.write_text("summary.md", summary(loaded, answer, self.used_seed))
            folder.write_manifest(record)
            folder.finish()
