"""The change of a payoff together with one thing more: what the two add when each alone may add nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from simulator.analysis.variations import setting_key
from simulator.experiment.estimates import PairedInterval, paired_interval
from simulator.scenario.units import AreaUnit
from simulator.study.cases import Look
from simulator.study.trial import ACRES, FloatArray
from simulator.study.words import interval_text


@dataclass(frozen=True)
class Pair:
    """The change together with one thing more, which as ``setting`` goes over the changed set.

    What both add to the set as it was, what they add to the change alone, and whether neither was shown to add alone.
    """

    document: ClassVar = (
        "change", "setting", "extra_acres_per_day", "beyond_the_change_alone=beyond_change", "only_together",
    )  # fmt: skip
    change: str
    setting: str
    extra_acres_per_day: PairedInterval
    beyond_change: PairedInterval
    only_together: bool

    def sentence(self, unit: AreaUnit) -> str:
        """Return what both add, in a sentence."""
        gain = interval_text(self.extra_acres_per_day, unit.acres, f"{unit.name} a day")
        start = f"Together with {self.change} it adds {gain} in all ({self.extra_acres_per_day.n} runs simulated)"
        return f"{start}, though neither is shown to add any alone." if self.only_together else f"{start}."


def best_pair(alone: Look, both: Look, changed: FloatArray, base: FloatArray) -> Pair | None:
    """Return the one thing more that adds most together with the change; None when none is shown to add to it."""
    singly = dict(zip([one.change for one in alone.variations], alone.tables, strict=True))
    # shared out over all that was tried, so that one lucky addition among many is not named (Bonferroni)
    level = 1.0 - 0.05 / max(1, len(both.tables))
    found = []
    for variation, rows in zip(both.variations, both.tables, strict=True):
        n = min(len(rows), len(changed), len(base))
        beyond = paired_interval(rows[:n, ACRES], changed[:n, ACRES], level)
        if n < 2 or beyond.low is None or beyond.low <= 0:
            continue
        extra = paired_interval(rows[:n, ACRES], base[:n, ACRES])
        singles = [changed[:n], *([singly[variation.change][:n]] if variation.change in singly else [])]
        lows = [paired_interval(one[:, ACRES], base[: len(one), ACRES]).low for one in singles]
        only = len(singles) == 2 and all(low is None or low <= 0 for low in lows)
        found.append(Pair(variation.change, variation.setting, extra, beyond, only))
    return max(found, key=lambda pair: pair.extra_acres_per_day.mean, default=None)


def pair_note(pair: Pair | None, runs: int, changes: Sequence[str]) -> str:
    """Return what was tried together with the change, and how to ask about a pair."""
    if pair is not None:
        replaced = {setting_key(setting) for setting in pair.setting.split(" ")}
        kept = [text for text in changes if setting_key(text) not in replaced]
        both = " ".join([*kept, pair.setting]) if changes else ""
        how = f"give {both}" if both else f"declare a set with {pair.setting} as well and name it with --to"
        return f"What {pair.change} costs is not in these numbers: to ask whether both pay, {how}."
    how = "give both as KEY=VALUE, or declare a set that has both and name it with --to; ladder --pairs tries all"
    if runs:
        return (
            f"Tried together with one more of each ({runs} runs), nothing is shown to add more; for other pairs {how}."
        )
    return f"Pairs of changes were not tried, and some only help together: {how}."
