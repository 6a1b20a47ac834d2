"""acreday: acres per day and the bottleneck of crop-spraying days flown with unmanned multirotor aircraft.

``load_scenario`` reads and checks a scenario, ``run`` simulates many days of all its equipment sets, ``simulate_day``
one day with its whole log.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from simulator.experiment.result import Result
    from simulator.experiment.run import run, simulate_day
    from simulator.scenario.loading import LoadedScenario, load_scenario

_PLACES = {
    "load_scenario": "simulator.scenario.loading",
    "LoadedScenario": "simulator.scenario.loading",
    "run": "simulator.experiment.run",
    "simulate_day": "simulator.experiment.run",
    "Result": "simulator.experiment.result",
}
__all__ = ["LoadedScenario", "Result", "load_scenario", "run", "simulate_day"]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that ``acreday --help`` loads nothing heavy."""
    if name in _PLACES:
        from importlib import import_module

        return getattr(import_module(_PLACES[name]), name)
    raise AttributeError(f"module 'simulator' has no attribute {name!r}")
