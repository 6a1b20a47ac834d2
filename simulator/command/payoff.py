"""``acreday payoff``: does a change pay off."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import RUNS
from simulator.command.study import StudyRun, study_command


@study_command("payoff", fields=True)
@click.argument("changes", metavar="[KEY=VALUE]...", nargs=-1)
@click.option("--from", "set_name", metavar="SET", help="Equipment set to change [default: the first].")
@click.option("--to", "other", metavar="SET", help="Another set of the scenario to change to, instead of KEY=VALUE.")
@click.option("--price", type=float, help="What the change costs as a whole, instead of the prices in the scenario.")
@click.option("--one-more-runs", type=int, default=30, help="Runs to find the bottleneck before and after.")
@RUNS
def command(study: StudyRun, **given: Any) -> Any:
    """Ask whether a change pays off: a third pack, a charger, a larger generator, a helper, a second rig.

    The change is KEY=VALUE, such as rig.main.packs.big=3, or another equipment set (--to). The scenario needs [costs].
    """
    return study.ask(**given)
