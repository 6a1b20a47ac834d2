"""What the study commands share: the sentence and table on the terminal, and the result folder of a study."""

from __future__ import annotations

import datetime
import shlex
import signal
import sys
import textwrap
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simulator.command.common import note, terminal_width, write_json
from simulator.errors import InputError
from simulator.scenario.loading import EquipmentSet, LoadedScenario

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

_LONGEST_CELL = 48


@dataclass(frozen=True)
class StudyOutput:
    """What a study says and writes.

    Parameters
    ----------
    sentences : sequence of str
        The answer first.
    rows : sequence of sequence of str
        Table for people, its head first.
    notes : sequence of str
        What to know beside it.
    document : mapping
        For ``study.json``.
    tables : mapping
        File name to table, for CSV.
    figures : mapping
        File stem to what draws it.
    days : mapping
        Days simulated, by set.
    """

    sentences: Sequence[str]
    rows: Sequence[Sequence[str]]
    notes: Sequence[str]
    document: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]
    figures: Mapping[str, Callable[[], Figure]]
    days: Mapping[str, int] = field(default_factory=dict)


@dataclass
class StudyRun:
    """Options that every study command has, and where its results go.

    Parameters
    ----------
    name : str
        Command.
    out, json_file : str or None
        Folder and file to write.
    force, quiet : bool
        Replace an older result; print nothing.
    """

    name: str
    out: str | None
    force: bool
    json_file: str | None
    quiet: bool
    begun_s: float = field(default_factory=time.monotonic)
    interrupted: list[bool] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Remember a Ctrl-C, so that an answer from what had finished says so first."""

        def note_and_raise(number: int, frame: object) -> None:
            self.interrupted.append(True)
            raise KeyboardInterrupt

        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, note_and_raise)

    def check(self) -> None:
        """Refuse a folder that cannot take the result, before anything is simulated."""
        if self.out is not None:
            from simulator.report.folder import check_target

            check_target(Path(self.out), self.force)

    def finish(
        self, loaded: LoadedScenario, seed: int | None, output: StudyOutput, extra: Sequence[EquipmentSet] = ()
    ) -> None:
        """Print the answer and write what was asked for.

        Raises
        ------
        InputError
            The folder or file cannot be written.
        """
        if self.interrupted:
            note("Stopped early (Ctrl-C): the answer is from what had finished by then, and may change with more days.")
        used = loaded.base.seed if seed is None else seed
        document = {**output.document, "scenario": loaded.name, "seed": used, "invented": loaded.base.invented}
        if self.out is not None:
            self._write_folder(loaded, used, output, document, extra)
        if self.json_file is not None:
            write_json(document, self.json_file)
        if not self.quiet and self.json_file != "-":
            width = terminal_width()
            for text in output.sentences:
                click.echo(textwrap.fill(shown(text), width))
            click.echo()
            click.echo(aligned(output.rows, width))
            for text in output.notes:
                click.echo(textwrap.fill(shown(text), width, initial_indent="- ", subsequent_indent="  "))
        if self.out is not None:
            note(f"results: {self.out}", self.quiet)
        if self.interrupted:
            sys.exit(130)

    def _write_folder(
        self,
        loaded: LoadedScenario,
        seed: int,
        output: StudyOutput,
        document: Mapping[str, Any],
        extra: Sequence[EquipmentSet],
    ) -> None:
        from simulator.report.folder import ResultFolder, manifest
        from simulator.report.style import save_figure

        record = manifest(
            {entry.name: entry.resolved for entry in (*loaded.sets, *extra)},
            [],
            loaded.digest(),
            seed,
            output.days,
            shlex.join(["acreday", *sys.argv[1:]]),
            datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            time.monotonic() - self.begun_s,
        )
        try:
            with ResultFolder(Path(self.out or ""), self.force) as folder:
                folder.write_json("study.json", document)
                for name, frame in output.tables.items():
                    folder.write_table(name, frame)
                for stem, draw in output.figures.items():
                    save_figure(draw(), folder.path / stem)
                folder.write_json("manifest.json", record)
                folder.write_text("summary.md", summary(self.name, loaded, output, seed))
                folder.finish()
        except OSError as error:
            raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(self.out)) from error


def shown(text: str) -> str:
    """Return a text that cannot steer a terminal."""
    from simulator.report.writing import plain

    return plain(text)


def aligned(rows: Sequence[Sequence[str]], width: int) -> str:
    """Return rows as columns; texts left, numbers right; texts shortened until the table fits.

    Parameters
    ----------
    rows : sequence of sequence of str
        The head first; all of one length.
    width : int
        Characters of a line.
    """
    from simulator.report.writing import plain

    longest = _LONGEST_CELL
    count = len(rows[0])
    right = [all(_numeric(row[place]) for row in rows[1:]) for place in range(count)]
    while True:
        # numbers are never cut
        cells = [
            [plain(cell, None if side else longest) for cell, side in zip(row, right, strict=True)] for row in rows
        ]
        widths = [max(len(row[place]) for row in cells) for place in range(count)]
        if sum(widths) + 2 * (count - 1) <= width or longest <= 14:
            break
        longest -= 2
    lines = []
    for row in cells:
        parts = [
            cell.rjust(size) if side else cell.ljust(size) for cell, size, side in zip(row, widths, right, strict=True)
        ]
        lines.append("  ".join(parts).rstrip())
    lines.insert(1, "-" * min(width, sum(widths) + 2 * (len(widths) - 1)))
    return "\n".join(lines)


def _numeric(text: str) -> bool:
    return not text or text[:1] in "–-+0123456789$€£" or text == "never"


def summary(name: str, loaded: LoadedScenario, output: StudyOutput, seed: int) -> str:
    """Return ``summary.md``: the answer, the table, figures, notes and cautions."""
    from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
    from simulator.report.summary import markdown_text

    head, *body = output.rows
    lines = [f"# {name.capitalize()}: {markdown_text(loaded.base.title or loaded.name, 200)}", ""]
    lines += [f"{markdown_text(text)}\n" for text in output.sentences]
    lines += ["| " + " | ".join(markdown_text(cell) for cell in head) + " |", "|" + " --- |" * len(head)]
    lines += ["| " + " | ".join(markdown_text(cell) for cell in row) + " |" for row in body]
    lines += ["", *(f"![{stem}]({stem}.svg)" for stem in output.figures), ""]
    lines += [f"- {markdown_text(text)}" for text in output.notes]
    lines += ["", "## Cautions", "", SIMULATION_NOTE, *([INVENTED_NOTE] if loaded.base.invented else []), ""]
    lines += [f"- {text}" for text in CAUTIONS]
    lines += [
        "",
        f"Seed {seed}; the resolved scenario and versions are in manifest.json; tables: {', '.join(output.tables)}.",
    ]
    return "\n".join(lines) + "\n"


def cell(value: float, decimals: int = 0) -> str:
    """Return a number for a table; a dash when missing, ``never`` when infinite."""
    if value != value:
        return "–"
    return (
        "never" if value in (float("inf"), float("-inf")) else f"{round(value, decimals) + 0.0:,.{max(0, decimals)}f}"
    )


def read_area(text: str, option: str) -> float:
    """Read an area such as ``"150 acre"`` and return acres.

    Raises
    ------
    InputError
        Not an area with its unit.
    """
    from simulator.scenario.units import AREA, M2_PER_ACRE, UnitError, parse

    try:
        return parse(text, AREA) / M2_PER_ACRE
    except UnitError as error:
        raise InputError.single(str(error), option) from error
