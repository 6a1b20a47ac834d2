"""What the study commands share: the sentence and table on the terminal, and the result folder of a study."""

from __future__ import annotations

import datetime
import re
import shlex
import signal
import sys
import textwrap
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simulator.command.common import note, refuse_existing, terminal_width, told_file, write_json
from simulator.errors import InputError
from simulator.scenario.loading import EquipmentSet, LoadedScenario

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

_LONGEST_CELL = 200
_LEAST = 12
"""Characters that a column of texts is left with at least."""


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
    runs : mapping
        Runs simulated, by set.
    """

    sentences: Sequence[str]
    rows: Sequence[Sequence[str]]
    notes: Sequence[str]
    document: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]
    figures: Mapping[str, Callable[[], Figure]]
    runs: Mapping[str, int] = field(default_factory=dict)


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

    def check(self, *inputs: str) -> None:
        """Refuse a folder or file that cannot take the result, before anything is simulated."""
        refuse_existing(self.json_file, self.force, *inputs)
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
            note("Stopped early (Ctrl-C): the answer is from what had finished by then, and may change with more runs.")
        used = loaded.base.seed if seed is None else seed
        document = {**output.document, "scenario": loaded.name, "seed": used, "invented": loaded.base.invented}
        if self.out is not None:
            self._write_folder(loaded, used, output, document, extra)
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
            output.runs,
            shlex.join(["acreday", *sys.argv[1:]]),
            datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            time.monotonic() - self.begun_s,
        )
        target = Path(self.out or "")
        with ResultFolder(target, self.force) as folder:
            with told_file(target, "study.json"):
                folder.write_json("study.json", document)
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


def shown(text: str) -> str:
    """Return a text that cannot steer a terminal."""
    from simulator.report.writing import plain

    return plain(text)


def filled(text: str, width: int, first: str = "", later: str = "") -> str:
    """Return a paragraph broken into lines; a number stays with its per cent sign.

    Parameters
    ----------
    text : str
        One line.
    width : int
        Characters of a line.
    first, later : str
        What the first line and the others begin with.
    """
    kept = text.replace(" %", "\N{NO-BREAK SPACE}%")
    broken = textwrap.fill(kept, width, initial_indent=first, subsequent_indent=later)
    return broken.replace("\N{NO-BREAK SPACE}", " ")


def aligned(rows: Sequence[Sequence[str]], width: int) -> str:
    """Return rows as columns: texts left, numbers right; heads and texts are broken where the table is too wide.

    Parameters
    ----------
    rows : sequence of sequence of str
        The head first; all of one length.
    width : int
        Characters of a line; a table of many numbers may be wider, for numbers are never broken.
    """
    from simulator.report.writing import plain

    count = len(rows[0])
    right = [all(_numeric(row[place]) for row in rows[1:]) for place in range(count)]
    cells = [[plain(cell, _LONGEST_CELL) for cell in row] for row in rows]
    widths = [max(len(row[place]) for row in cells) for place in range(count)]
    # a column of numbers needs them whole, and the longest word of its head
    least = [
        max(len(text) for text in [*(row[place] for row in cells[1:]), *cells[0][place].split(), ""])
        if side
        else _LEAST
        for place, side in enumerate(right)
    ]
    while sum(widths) + 2 * (count - 1) > width:
        wider = [place for place in range(count) if widths[place] > least[place]]
        if not wider:
            break
        # heads over numbers are broken first, then the widest text
        heads = [place for place in wider if right[place]]
        place = max(heads or wider, key=lambda one: widths[one])
        widths[place] -= 1
    lines = [line for row in cells for line in _broken(row, widths, right)]
    rule = "-" * min(width, sum(widths) + 2 * (count - 1))
    lines.insert(len(_broken(cells[0], widths, right)), rule)
    return "\n".join(lines)


def _broken(row: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> list[str]:
    """Return the lines of one row."""
    parts = [textwrap.wrap(cell, size, break_on_hyphens=False) or [""] for cell, size in zip(row, widths, strict=True)]
    lines = []
    for number in range(max(len(part) for part in parts)):
        texts = [part[number] if number < len(part) else "" for part in parts]
        padded = [
            text.rjust(size) if side else text.ljust(size)
            for text, size, side in zip(texts, widths, right, strict=True)
        ]
        lines.append("  ".join(padded).rstrip())
    return lines


_NUMBER = re.compile(
    r"(never|[-+–]?[$€£]?[\d,.]*( %)?)( to [-+]?[$€£]?[\d,.]+)?( \((no variation seen|[-+\d,. ]+( to [-+\d,. ]+)?"
    r"|at (least|most) [-+\d,.]+)\))?"
)
"""A number, a range or an estimate with its interval."""


def _numeric(text: str) -> bool:
    return _NUMBER.fullmatch(text) is not None


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


def read_job(loaded: LoadedScenario, text: str | None) -> float:
    """Return the area (m2) of the job that a study lays out anew: that of ``--acres``, or of the scenario's fields."""
    from simulator.scenario.units import M2_PER_ACRE

    if text is not None:
        return read_area(text, "--acres") * M2_PER_ACRE
    return sum(site.area_m2 for site in loaded.sets[0].fields.sites)


def never_done(name: str, shares: Iterable[float], what: str) -> list[str]:
    """Say in how many cases a set did not do its job in every run; nothing where it did."""
    short = [share for share in shares if share < 1.0]
    if not short:
        return []
    return [
        f"{name} does not do the job in every run of {len(short)} {what}{'s' * (len(short) > 1)} (in the worst in "
        f"{100 * min(short):.0f} % of them): its output there is that of what it did."
    ]
