"""What can hold an equipment set back: every kind of resource described once.

Summaries, conservation checks, utilisation, the bottleneck, tables, figures, the replay and "one more of it" are made
from these descriptions. A new kind is its process, which logs what its entities do, and a :class:`Resource` given to
:func:`register`; how it looks is by default, or an entry in the palette of reports.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from simulator.analysis.variations import (
    Variation,
    faster_pump,
    faster_set_up,
    larger_generators,
    larger_supply,
    more_aircraft,
    more_chargers,
    more_crew,
    more_packs,
)
from simulator.operation.log import FLIGHT_STATES, Kind, Reason, Row, State
from simulator.plan.day_plan import DayPlan
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario


@dataclass(frozen=True)
class Rows:
    """Rows of a log: of one kind of entity, in some states, for some reasons; all of them where none is named."""

    kind: str
    states: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()

    def hold(self, kind: str, state: str, reason: str) -> bool:
        """Tell whether a row is among them."""
        right = not self.states or state in self.states
        return kind == self.kind and right and (not self.reasons or reason in self.reasons)


@dataclass(frozen=True)
class Active:
    """When something is at work and waits for nobody: its intervals; with the states of a flight, whole flights."""

    rows: Rows
    entity: Callable[[Row], str] | None = None
    """Names what is active; by default the row's own entity."""
    without: tuple[Rows, Callable[[Row], str]] | None = None
    """Intervals of another entity, which the callable names, during which it is not."""


def _nothing(*_: object) -> Iterator[Variation]:
    return iter(())


@dataclass(frozen=True, eq=False)
class Resource:
    """One kind of resource, by the name that it has in tables and columns."""

    name: str
    kind: str
    """Kind of its entities in the log. An entity's name begins with its rig's, and a slash."""
    states: tuple[str, ...]
    """All that its entities can be in."""
    busy: Rows
    """What counts as busy: a share of the paid time of its entities or, of rows of aircraft, of all aircraft time."""
    active: tuple[Active, ...] = ()
    """When it is active (active-period method); when it is busy, by default."""
    gapless: bool = False
    """Whether its entities are in some state all day,"""
    side_by_side: bool = False
    """and whether they may be in several at a time."""
    lost: tuple[str, ...] = ()
    """What is put down to it of the aircraft's time, by label (``"wait: too few packs"``)."""
    capacity: Callable[[DayPlan, Mapping[str, float]], float] | None = None
    """What busy rows could amount to, from the plan and each rig's paid time (s); utilisation is amounts over it."""
    one_more: Callable[[Scenario, str], Iterator[Variation]] = _nothing
    """Yields one more or one larger of it, of a rig's own, by the rig's name;"""
    one_more_shared: Callable[[Scenario], Iterator[Variation]] = _nothing
    """and of what rigs share."""
    title: str = ""
    """Name at the beginning of a sentence,"""
    plural: bool = False
    """and its number."""
    loss: str = ""
    """What aircraft do that lack it."""
    last_resort: bool = False
    """Whether it is named only when nothing cheaper stands in the way."""

    @property
    def spoken(self) -> str:
        """Name at the beginning of a sentence."""
        return self.title or f"The {self.name}"

    @property
    def inside(self) -> str:
        """Name inside a sentence."""
        return self.spoken.lower()

    @property
    def holds(self) -> str:
        """The verb of what it does to a set."""
        return "hold" if self.plural else "holds"

    @property
    def when_active(self) -> tuple[Active, ...]:
        """When it is active."""
        return self.active or (Active(self.busy),)


_registered: tuple[Resource, ...] = ()


def resources() -> tuple[Resource, ...]:
    """Return all kinds of resource, in the order of reports."""
    return _registered


def resource_names() -> tuple[str, ...]:
    """Return the names of all kinds of resource, in the order of reports."""
    return tuple(resource.name for resource in _registered)


def register(resource: Resource) -> None:
    """Add a kind of resource, after those there are."""
    global _registered
    for other in _registered:
        if resource.name == other.name or resource.kind == other.kind:
            raise ValueError(f"got {resource.name!r} of kind {resource.kind!r}; there is {other.name!r}")
    _registered = (*_registered, resource)


def label(state: str, reason: str) -> str:
    """Return the label of an aircraft's time: its state, with the reason where it waits or moves."""
    return f"{state}: {reason}" if state in (State.WAIT, State.MOVE) else str(state)


def time_labels() -> tuple[str, ...]:
    """Return every label of an aircraft's time: the model's own, and what resources added to it bring."""
    return tuple(dict.fromkeys([*_TIME_LABELS, *(one for resource in resources() for one in resource.lost)]))


def one_more_of_each(scenario: Scenario) -> list[Variation]:
    """Return the changes to try on an equipment set, rig by rig, what costs most last."""
    by_cost = sorted(resources(), key=lambda resource: resource.last_resort)
    own = [one for rig in used_rigs(scenario) for resource in by_cost for one in resource.one_more(scenario, rig)]
    return own + [one for resource in by_cost for one in resource.one_more_shared(scenario)]


# --- the model's own ---

_WAITS = (
    Reason.TOO_FEW_PACKS, Reason.CHARGERS_BUSY, Reason.GENERATOR_LIMITED, Reason.CREW_BUSY, Reason.PUMP_BUSY,
    Reason.NO_MIX, Reason.PILOT_BUSY, Reason.SEPARATION, Reason.NO_WORK_HERE, Reason.NOT_NEEDED, Reason.WEATHER,
    Reason.BREAK, Reason.DAY_END, Reason.MOVING, Reason.YARD, Reason.RELOCATE, Reason.WINDOW,
)  # fmt: skip
_MOVES = (Reason.YARD, Reason.PACK_UP, Reason.DRIVE, Reason.SET_UP, Reason.RELOCATE, Reason.RINSE)
_TASKS = (
    Reason.SWAP, Reason.FILL, Reason.PLUG_IN, Reason.MIX, Reason.REFUEL, Reason.RESTART, Reason.RESTOCK,
    Reason.LAUNCH_CHECK,
)  # fmt: skip
_SERVICE = (State.SWAP, State.FILL, State.LAUNCH_CHECK, State.REPAIR)
_TIME_LABELS = (
    *(state.value for state in (*FLIGHT_STATES, *_SERVICE, State.DONE)),
    *(label(State.WAIT, reason) for reason in _WAITS),
    *(label(State.MOVE, reason) for reason in _MOVES),
)
_CHARGING = (State.CHARGE, State.CHARGE_LIMITED)


def _rig_of(row: Row) -> str:
    return row.entity.split("/", 1)[0]


def _source_wh(plan: DayPlan, paid_s: Mapping[str, float]) -> float:
    return sum(point.capacity_w * paid_s[rig.name] / 3600.0 for rig in plan.rigs for point in rig.power)


register(
    Resource(
        "aircraft",
        Kind.AIRCRAFT,
        (*FLIGHT_STATES, *_SERVICE, State.WAIT, State.MOVE, State.DONE),
        busy=Rows(Kind.AIRCRAFT, FLIGHT_STATES),
        active=(Active(Rows(Kind.AIRCRAFT, (*_SERVICE, *FLIGHT_STATES))),),
        gapless=True,
        one_more=more_aircraft,
        title="The aircraft itself",
        last_resort=True,
    )
)
register(
    Resource(
        "packs",
        Kind.PACK,
        (State.COOL, State.QUEUE, State.WAIT, *_CHARGING, State.STOPPED, State.READY, State.FLOWN),
        busy=Rows(Kind.PACK, (State.FLOWN, State.COOL, *_CHARGING)),
        active=(
            # on an aircraft that is being driven it does nothing
            Active(Rows(Kind.PACK, (State.FLOWN,)), without=(Rows(Kind.RIG, (State.MOVE,)), _rig_of)),
            Active(Rows(Kind.PACK, (State.COOL, *_CHARGING))),
        ),
        gapless=True,
        lost=(label(State.WAIT, Reason.TOO_FEW_PACKS),),
        one_more=more_packs,
        title="Packs",
        plural=True,
        loss="waiting for a charged pack because there are too few packs",
    )
)
register(
    Resource(
        "chargers",
        Kind.CHARGER,
        (State.CHARGE,),
        # a slot is busy while its pack charges, not while the trailer is on the road
        busy=Rows(Kind.PACK, _CHARGING),
        active=(
            Active(Rows(Kind.CHARGER), without=(Rows(Kind.PACK, (State.STOPPED,)), lambda session: session.field)),
        ),
        lost=(label(State.WAIT, Reason.CHARGERS_BUSY),),
        one_more=more_chargers,
        title="Chargers",
        plural=True,
        loss="waiting for a charged pack because the chargers are busy",
    )
)
register(
    Resource(
        "generator",
        Kind.POWER,
        (State.RUN, State.STOPPED),
        busy=Rows(Kind.POWER, (State.RUN,), (Reason.NONE,)),
        active=(Active(Rows(Kind.PACK, (State.CHARGE_LIMITED,)), lambda row: f"source/{_rig_of(row)}"),),
        lost=(label(State.WAIT, Reason.GENERATOR_LIMITED),),
        capacity=_source_wh,
        one_more=larger_supply,
        one_more_shared=larger_generators,
        title="The power supply",
        loss="waiting for a charged pack because the power supply is too small",
    )
)
register(
    Resource(
        "crew",
        Kind.PERSON,
        (State.TASK, State.BREAK),
        busy=Rows(Kind.PERSON, (State.TASK,)),
        active=(Active(Rows(Kind.PERSON, (State.TASK,), _TASKS)),),
        lost=(label(State.WAIT, Reason.CREW_BUSY), label(State.WAIT, Reason.PILOT_BUSY)),
        one_more=more_crew,
        loss="waiting for people",
    )
)
register(
    Resource(
        "mix supply",
        Kind.SUPPLY,
        (State.RUN,),
        busy=Rows(Kind.SUPPLY, (), (Reason.MIX,)),
        active=(Active(Rows(Kind.SUPPLY, (), (Reason.MIX, Reason.RESTOCK))),),
        side_by_side=True,  # somebody mixes while another fetches water
        lost=(label(State.WAIT, Reason.PUMP_BUSY), label(State.WAIT, Reason.NO_MIX)),
        one_more=faster_pump,
        title="Mixing and filling",
        loss="waiting for mix or the fill pump",
    )
)
register(
    Resource(
        "moves",
        Kind.RIG,
        (State.MOVE, State.WAIT),
        busy=Rows(Kind.AIRCRAFT, (State.MOVE,)),
        active=(Active(Rows(Kind.RIG, (State.MOVE,))),),
        lost=(label(State.WAIT, Reason.MOVING), *(label(State.MOVE, reason) for reason in _MOVES)),
        one_more=faster_set_up,
        title="Moving between fields",
        loss="on the road, packing up and setting up",
    )
)
