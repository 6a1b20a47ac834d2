"""``acreday fit``: stopwatch times turned into a scenario's distributions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from simulator.command.common import note, refuse_existing, write_text_atomically
from simulator.command.study import StudyRun, study_command

if TYPE_CHECKING:
    from simulator.study.fit import Fit


@study_command("fit", seeded=False)
@click.argument("times", metavar="TIMES.csv")
@click.option("--equipment-set", metavar="SET", help="Set that was timed [default: the first].")
@click.option("--kind", default="auto", help="Distribution: auto, empirical, lognormal, gamma, ...")
@click.option("--write", "fragment_file", metavar="FILE", help="Write the fitted part of a scenario (TOML) there.")
@click.option("--merged", "merged_file", metavar="FILE", help="Write the whole scenario with it laid over there.")
def command(
    study: StudyRun, times: str, equipment_set: str | None, kind: str, fragment_file: str | None,
    merged_file: str | None,
) -> Fit:  # fmt: skip
    """Fit distributions to measured times (columns task, time, and amount where something was filled or driven).

    A CSV of past days (columns date and acres) is described as well; to hold a simulation against it, use hindcast.
    """
    from simulator.scenario.loading import read_toml
    from simulator.scenario.stopwatch import is_past_days, read_past_days, read_stopwatch
    from simulator.study.fit import fit, fit_past

    study.inputs, path = (times,), Path(times)
    loaded = study.loaded
    for target in (fragment_file, merged_file):
        refuse_existing(target, study.force, study.scenario, times)
    if is_past_days(path):
        answer = fit_past(read_past_days(path), kind)
    else:
        answer = fit(loaded, read_stopwatch(path), equipment_set, kind)
    texts = {}
    if fragment_file is not None:
        texts[fragment_file] = answer.text
    if merged_file is not None:
        # file names inside stay relative to the scenario, so the merged one belongs beside it
        texts[merged_file] = answer.merged_text(read_toml(Path(study.scenario)))
    for name, text in texts.items():
        write_text_atomically(Path(name), text)
        note(f"written: {name}", study.quiet)
    return answer
