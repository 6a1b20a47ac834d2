"""acreday: acres per day and the bottleneck of crop-spraying days flown with unmanned multirotor aircraft.

``load_scenario`` reads and checks a scenario, ``run`` simulates its whole job many times with every equipment set,
``simulate_day`` one work day with its whole log; ``payoff``, ``ladder``, ``size``, ``season``, ``fragmentation``,
``crossover`` and ``sensitivity`` each answer one question with tables.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from simulator.version import __version__

if TYPE_CHECKING:
    from simulator.experiment.result import Result
    from simulator.experiment.run import run, simulate_day
    from simulator.scenario.loading import LoadedScenario, load_scenario
    from simulator.study.crossover import crossover
    from simulator.study.fragmentation import fragmentation
    from simulator.study.ladder import ladder
    from simulator.study.payoff import payoff
    from simulator.study.season import season
    from simulator.study.sensitivity import sensitivity
    from simulator.study.size import size

_PLACES = {
    "payoff": "simulator.study.payoff",
    "ladder": "simulator.study.ladder",
    "size": "simulator.study.size",
    "season": "simulator.study.season",
    "fragmentation": "simulator.study.fragmentation",
    "crossover": "simulator.study.crossover",
    "sensitivity": "simulator.study.sensitivity",
    "load_scenario": "simulator.scenario.loading",
    "LoadedScenario": "simulator.scenario.loading",
    "run": "simulator.experiment.run",
    "simulate_day": "simulator.experiment.run",
    "Result": "simulator.experiment.result",
}
__all__ = [
    "LoadedScenario",
    "Result",
    "__version__",
    "crossover",
    "fragmentation",
    "ladder",
    "load_scenario",
    "payoff",
    "run",
    "season",
    "sensitivity",
    "simulate_day",
    "size",
]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that ``acreday --help`` loads nothing heavy."""
    if name in _PLACES:
        from importlib import import_module

        return getattr(import_module(_PLACES[name]), name)
    raise AttributeError(f"module 'simulator' has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names."""
    return sorted([*globals(), *_PLACES])
