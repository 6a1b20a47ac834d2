"""One day's log: who did what from when to when, and why they waited. All figures are computed from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple


class Kind(StrEnum):
    """Kind of entity that a log row is about."""

    AIRCRAFT = "aircraft"
    PACK = "pack"
    CHARGER = "charger"
    POWER = "power"
    PERSON = "person"
    SUPPLY = "supply"
    RIG = "rig"
    WEATHER = "weather"


class State(StrEnum):
    """What an entity does. An aircraft is in exactly one of the first group at any time of the day."""

    TAKE_OFF = "take-off"
    FERRY_OUT = "ferry out"
    WORK = "spray"
    TURN = "turn"
    FERRY_BACK = "ferry back"
    LANDING = "landing"
    SWAP = "swap"
    FILL = "fill"
    LAUNCH_CHECK = "launch check"
    WAIT = "wait"
    MOVE = "move"
    REPAIR = "repair"
    DONE = "done"

    COOL = "cool"
    QUEUE = "queue"
    CHARGE = "charge"
    CHARGE_LIMITED = "charge limited"
    READY = "ready"
    FLOWN = "flown"

    RUN = "run"
    STOPPED = "stopped"
    TASK = "task"
    BREAK = "break"


class Reason(StrEnum):
    """Why an entity waits, moves, or does a task."""

    NONE = ""
    TOO_FEW_PACKS = "too few packs"
    CHARGERS_BUSY = "chargers busy"
    GENERATOR_LIMITED = "generator limited"
    CREW_BUSY = "crew busy"
    PUMP_BUSY = "pump busy"
    NO_MIX = "no mix"
    PILOT_BUSY = "pilot busy"
    SEPARATION = "separation"
    NO_WORK_HERE = "no work left here"
    NOT_NEEDED = "left on the trailer"
    WEATHER = "weather"
    BREAK = "break"
    DAY_END = "day end"
    LIST_DONE = "list done"
    BREAKDOWN = "breakdown"
    YARD = "yard"
    DRIVE = "drive"
    PACK_UP = "pack up"
    SET_UP = "set up"
    RELOCATE = "relocate"
    RINSE = "rinse"
    SWAP = "swap"
    FILL = "fill"
    PLUG_IN = "plug in"
    MIX = "mix"
    REFUEL = "refuel"
    RESTOCK = "restock"
    LAUNCH_CHECK = "launch check"
    MOVING = "moving"
    FUEL = "out of fuel"
    OVERLOAD = "overload"
    RESTART = "restart"
    WINDOW = "field not open"


FLIGHT_STATES = (State.TAKE_OFF, State.FERRY_OUT, State.WORK, State.TURN, State.FERRY_BACK, State.LANDING)


class Row(NamedTuple):
    """One interval of one entity.

    ``amount`` is in the unit of the activity: litres or kilograms for fill and mix, litres of water or kilograms of
    granules for restocking, watt-hours at the bus for a power point's run, watt-hours into the pack for a charge,
    litres of fuel for refuelling, metres for a drive; else 0.
    """

    start_s: float
    end_s: float
    entity: str
    state: str
    reason: str
    field: str
    amount: float


class Sortie(NamedTuple):
    """One flight, take-off to landing, whole.

    Durations are in order of flight; spray and turn alternate along the path in between.
    """

    start_s: float
    aircraft: str
    pack: str
    field: str
    visit: int
    area_from_m2: float
    area_to_m2: float
    take_off_s: float
    ferry_out_s: float
    work_s: float
    turn_s: float
    ferry_back_s: float
    landing_s: float
    path_m: float
    applied: float
    load_before: float
    energy_wh: float
    charge_before_wh: float
    number_on_charge: int

    @property
    def end_s(self) -> float:
        """Time of landing."""
        sprayed_s = self.start_s + self.take_off_s + self.ferry_out_s + self.work_s + self.turn_s
        return sprayed_s + self.ferry_back_s + self.landing_s


@dataclass
class DayLog:
    """Everything that one simulated day leaves behind.

    Attributes
    ----------
    rows : list of Row
        All intervals but those of flights.
    sorties : list of Sortie
        Flights.
    kinds : dict
        Entity name to kind: the model's own, or that of a resource added to it.
    last_landing_s, paid_until_s : float
        End of flying, and of the paid day (back at the yard and put away).
    list_finished_s : float or None
        When the field list ran out before the day did.
    """

    rows: list[Row] = field(default_factory=list)
    sorties: list[Sortie] = field(default_factory=list)
    kinds: dict[str, str] = field(default_factory=dict)
    last_landing_s: float = 0.0
    paid_until_s: float = 0.0
    list_finished_s: float | None = None

    def add(
        self,
        start_s: float,
        end_s: float,
        entity: str,
        state: str,
        reason: str = Reason.NONE,
        field: str = "",
        amount: float = 0.0,
    ) -> None:
        """Append one interval; intervals without length or amount are left out."""
        if end_s > start_s or amount:
            # twice as fast as a call of Row, and there are a dozen rows a sortie
            self.rows.append(tuple.__new__(Row, (start_s, end_s, entity, state, reason, field, amount)))

    def clip(self, entity: str, end_s: float) -> None:
        """Cut an entity's intervals at a time."""
        self.rows = [
            row._replace(end_s=end_s) if row.entity == entity and row.end_s > end_s else row
            for row in self.rows
            if row.entity != entity or row.start_s < end_s
        ]


@dataclass(frozen=True)
class RigEnd:
    """What a rig has left when the day is over, from which the next one begins; checked against the log.

    ``place`` is the number of the field at which it stays overnight, None at the yard.
    """

    name: str
    place: int | None
    product_start: float
    product_made: float
    product_in_tank: float
    product_on_aircraft: float
    product_thrown: float
    mix: str | None
    water_fetched_l: float
    fuel_burnt_l: float
    bus_wh: float
    charge_cycles: int
    pack_swaps: int
    loads: int
    out_of_reach_m2: float
    water_start_l: float
    water_l: float
    pack_start_wh: dict[str, float]
    pack_charge_wh: dict[str, float]
    until_failure_s: dict[str, float]
    paid_until_s: float
