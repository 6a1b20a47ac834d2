"""What the JSON files of a result folder must hold, as pydantic models: a folder may come from anybody.

Keys that are not named here are passed over, so that a later version may add some.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from simulator.analysis.resources import resources
from simulator.errors import InputError
from simulator.report.palette import RESOURCE_LOOKS
from simulator.scenario.loading import check_shape
from simulator.scenario.shown import shown

MOST_SETS = 1000
MOST_SHOWN = 50
"""Problems told of one file."""
LONGEST_NAME = 200
LONGEST_DAY_S = 1e7
_MOST_ROWS = 200_000
_MOST_NAMED = 5_000

Text = Annotated[str, Field(max_length=4000)]
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
Amount = Annotated[float, Field(ge=-1e15, le=1e15)]
Whole = Annotated[int, Field(ge=-(2**63), lt=2**63)]
Limits = tuple[Amount | None, Amount | None]
Shares = Annotated[dict[Text, Amount | None], Field(max_length=1000)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Size = Annotated[float, Field(ge=0.0, le=1e12)]
Time = Annotated[float, Field(ge=-1.0, le=LONGEST_DAY_S)]
Metres = Annotated[float, Field(ge=-1e8, le=1e8)]
Place = tuple[Metres, Metres]
Number = Annotated[int, Field(ge=0, lt=_MOST_NAMED)]
ResourceNumber = Annotated[int, Field(ge=0, lt=MOST_SHOWN)]


def _known_to(resource: str, *more: str) -> AfterValidator:
    """Return a check that a state is one that the entities of a resource can be in."""
    known = {*more, *(state for one in resources() if one.name == resource for state in one.states)}

    def check(state: str) -> str:
        if state not in known:
            raise _wrong(f"got {shown(state)}; allowed are the states of {resource}")
        return state

    return AfterValidator(check)


AircraftState = Annotated[str, _known_to("aircraft", "flight")]
PackState = Annotated[str, _known_to("packs")]


class Stored(BaseModel):
    """Base of all: values must be of the very kind."""

    model_config = ConfigDict(strict=True, extra="ignore", protected_namespaces=())


# --- result.json ---


class Spread(Stored):
    """Output a day."""

    mean: Amount
    ci95: Limits
    p10: Amount
    p50: Amount
    p90: Amount
    p10_ci95: Limits | None = None
    p50_ci95: Limits | None = None
    p90_ci95: Limits | None = None


class Rate(Stored):
    """Output an hour."""

    mean: Amount
    ci95: Limits


class Change(Stored):
    """What one more adds."""

    change: Annotated[Text, Field(min_length=1)]
    acres_per_day: Amount
    ci95: Limits
    resource: Text = ""


class Hold(Stored):
    """What holds a set back."""

    resource: Annotated[Text, Field(min_length=1)]
    sentence: Annotated[Text, Field(min_length=1)]
    active_period_share: Shares
    alone_acres_per_day: Shares = {}
    alone_sentence: Text = ""
    one_more: Annotated[list[Change], Field(max_length=1000)] = []


class Finish(Stored):
    """When some share of the runs has done the list."""

    work_day: Annotated[int, Field(ge=1, le=10_000)]
    hour_of_day: Annotated[float, Field(ge=0.0, le=LONGEST_DAY_S)]


class Finishes(Stored):
    """When half of the runs, and nine in ten, have done the list."""

    p50: Finish | None = None
    p90: Finish | None = None


class Job(Stored):
    """The whole list of fields."""

    work: Literal["once", "repeat"]
    list_acres: Amount | None = None
    most_work_days: Annotated[int, Field(ge=0, le=10_000)] = 0
    unreached_fields: Annotated[list[Text], Field(max_length=10_000)] = []
    work_days: Rate
    done_share: Share
    done_by_work_day: Annotated[list[Share], Field(max_length=10_000)] = []
    finish: Finishes = Finishes()
    out_of_reach_acres: Amount | None = None
    cost_per_acre: Rate | None = None
    currency: Annotated[str, Field(max_length=5)] = "$"


class Power(Stored):
    """What is asked of a power source, and what it gives."""

    rig: Name
    point: Name
    asked_w: Amount
    given_w: Amount


class SetAnswer(Stored):
    """One equipment set."""

    name: Name
    runs: Annotated[int, Field(ge=1, lt=2**63)]
    acres_per_day: Spread
    hectares_per_day: Spread
    acres_per_field_hour: Rate | None = None
    time_share: Shares
    utilisation: Shares
    per_day: Shares
    full_work_day_acres: Spread | None = None
    full_work_day_hectares: Spread | None = None
    job: Job | None = None
    power: Annotated[list[Power], Field(max_length=1000)] = []
    bottleneck: Hold


class Pair(Stored):
    """Two sets on the same runs."""

    a: Name
    b: Name
    difference: Amount
    a_wins_share: Amount
    ci95: Limits


class ResultDocument(Stored):
    """``result.json``."""

    scenario: Annotated[str, Field(min_length=1, max_length=4000)]
    seed: Whole
    units: Literal["us", "metric"] = "us"
    day_start_s: Annotated[float, Field(ge=0.0, le=90_000.0)] | None = None
    day_start: Annotated[str, Field(pattern=r"^([01]?\d|2[0-3]):[0-5]\d$")] | None = None
    stopped: Text = ""
    title: Text = ""
    invented: bool = False
    skipped: Annotated[list[Text], Field(max_length=100_000)] = []
    notes: Annotated[list[Text], Field(max_length=100_000)] = []
    equipment_sets: Annotated[list[SetAnswer], Field(min_length=1, max_length=MOST_SETS)]
    paired: Annotated[list[Pair], Field(max_length=MOST_SETS**2)] = []

    @model_validator(mode="after")
    def _names_differ(self) -> ResultDocument:
        names = [entry.name for entry in self.equipment_sets]
        if len(set(names)) < len(names):
            raise _wrong("equipment_sets: got a name twice; allowed is a different name for each set")
        return self


# --- manifest.json ---


class Resolved(Stored):
    """A whole scenario of one set; its own schema reads it where it is simulated again."""

    model_config = ConfigDict(extra="allow")

    name: Text = ""
    title: Text = ""
    notes: Annotated[str, Field(max_length=100_000)] = ""
    invented: bool = False

    @model_validator(mode="before")
    @classmethod
    def _has_a_sane_shape(cls, table: Any) -> Any:
        if isinstance(table, Mapping):
            try:
                check_shape(table, "")
            except InputError as error:
                raise _wrong(f"got what no scenario holds: {error}; allowed is a scenario's table") from error
        return table


class Manifest(Stored):
    """``manifest.json``."""

    acreday_version: Text = ""
    python: Text = ""
    packages: Annotated[dict[Text, Text], Field(max_length=1000)] = {}
    engine: Text = ""
    created: Text = ""
    duration_s: Amount = 0.0
    command: Annotated[str, Field(max_length=1_000_000)] = ""
    seed: Annotated[int, Field(ge=0, lt=2**63)] = 1
    runs: Annotated[dict[Text, Annotated[int, Field(ge=0, lt=2**63)]], Field(max_length=MOST_SETS)] = {}
    scenario_sha256: Text = ""
    files: Annotated[dict[Text, Text], Field(max_length=MOST_SETS)] = {}
    resolved: Annotated[dict[Name, Resolved], Field(max_length=MOST_SETS)] = {}


# --- day_<set>.json ---


class DayField(Stored):
    """Where a field lies."""

    name: Text
    area_m2: Size
    rings: Annotated[list[Annotated[list[Place], Field(max_length=_MOST_ROWS)]], Field(max_length=10_000)]
    zone_m: Place


class OnRig(Stored):
    """What a rig carries."""

    name: Text
    rig: Number


class DayRig(Stored):
    """Moves: start, end, what, from place, to place."""

    name: Text
    moves: Annotated[list[tuple[Time, Time, Text, int, int]], Field(max_length=_MOST_ROWS)]
    roads_m: Annotated[list[Size], Field(max_length=_MOST_ROWS)] = []


class DayAircraft(OnRig):
    """States: start, end, state, reason."""

    states: Annotated[list[tuple[Time, Time, AircraftState, Text]], Field(max_length=_MOST_ROWS)]


class DayPack(OnRig):
    """States, and points of time and charge."""

    capacity_wh: Annotated[float, Field(ge=0.1, le=1e9)]
    reserve_wh: Size
    states: Annotated[list[tuple[Time, Time, PackState]], Field(max_length=_MOST_ROWS)]
    charge: Annotated[list[tuple[Time, Amount]], Field(min_length=1, max_length=_MOST_ROWS)]


class DayCharger(OnRig):
    """Sessions: start, end, pack, Wh."""

    power: Number
    sessions: Annotated[list[tuple[Time, Time, Number, Size]], Field(max_length=_MOST_ROWS)]


class DayPower(OnRig):
    """Loads: start, end, kW; stops: start, end, why."""

    kind: Literal["grid", "generator"]
    capacity_kw: Size
    load_kw: Annotated[list[tuple[Time, Time, Size]], Field(max_length=_MOST_ROWS)]
    stops: Annotated[list[tuple[Time, Time, Text]], Field(max_length=_MOST_ROWS)]


class DayPerson(OnRig):
    """Tasks: start, end, what, for whom."""

    tasks: Annotated[list[tuple[Time, Time, Text, Text]], Field(max_length=_MOST_ROWS)]


class DaySupply(OnRig):
    """Tasks: start, end, what, amount."""

    tasks: Annotated[list[tuple[Time, Time, Text, Amount]], Field(max_length=_MOST_ROWS)]


class FlownLine(Stored):
    """Points of a flight."""

    t_s: Annotated[list[Time], Field(min_length=1, max_length=_MOST_ROWS)]
    x_m: Annotated[list[Metres], Field(max_length=_MOST_ROWS)]
    y_m: Annotated[list[Metres], Field(max_length=_MOST_ROWS)]
    on: Annotated[str, Field(pattern=r"^[01]*$", max_length=_MOST_ROWS)]

    @model_validator(mode="after")
    def _are_as_many(self) -> FlownLine:
        if len({len(self.t_s), len(self.x_m), len(self.y_m), len(self.on)}) > 1:
            raise _wrong("got lists of different lengths; allowed are a time, x, y and mark for each point")
        return self


class Cover(Stored):
    """What a flight sprayed, as strips of one width: x and y of both ends of each."""

    swath_m: Annotated[float, Field(ge=0.0, le=1e4)]
    x_m: Annotated[list[Metres], Field(max_length=_MOST_ROWS)]
    y_m: Annotated[list[Metres], Field(max_length=_MOST_ROWS)]

    @model_validator(mode="after")
    def _are_pairs(self) -> Cover:
        if len(self.x_m) != len(self.y_m) or len(self.x_m) % 2:
            raise _wrong("got lists of different or odd lengths; allowed are an x and a y for both ends of each strip")
        return self


class DaySortie(Stored):
    """One flight."""

    start_s: Time
    end_s: Time
    aircraft: Number
    pack: Number
    field: Number
    visit: Annotated[int, Field(ge=0, le=10**9)]
    seconds: Annotated[list[Time], Field(min_length=6, max_length=6)]
    area_m2: Amount
    applied: Amount
    energy_wh: Amount
    swath_m: Annotated[float, Field(ge=0.0, le=1e4)]
    line: FlownLine
    cover: Cover | None = None
    passes_in_one: Annotated[int, Field(ge=0, le=10**9)]


class DayOther(Stored):
    """What a resource added to the model's own was doing: start, end, state, reason."""

    name: Text
    kind: Text
    states: Annotated[list[tuple[Time, Time, Text, Text]], Field(max_length=_MOST_ROWS)]


class DayRecord(Stored):
    """``day_<set>.json``, as :func:`simulator.analysis.day_record.day_record` makes it."""

    version: Literal[1]
    run: Annotated[int, Field(ge=0, le=10_000_000)]
    work_day: Annotated[int, Field(ge=1, le=10_000)]
    day_start_s: Annotated[float, Field(ge=0.0, le=90_000.0)]
    end_s: Annotated[float, Field(ge=1.0, le=LONGEST_DAY_S)]
    last_landing_s: Time
    list_finished_s: Time | None = None
    product_unit: Literal["L", "kg"]
    layout: Literal["given", "invented"]
    yard_m: Place
    yard_given: bool = True
    fields: Annotated[list[DayField], Field(max_length=_MOST_NAMED)]
    fields_left_out: Annotated[int, Field(ge=0, le=10**9)] = 0
    rigs: Annotated[list[DayRig], Field(min_length=1, max_length=_MOST_NAMED)]
    aircraft: Annotated[list[DayAircraft], Field(max_length=_MOST_NAMED)]
    packs: Annotated[list[DayPack], Field(max_length=_MOST_NAMED)]
    chargers: Annotated[list[DayCharger], Field(max_length=_MOST_NAMED)]
    power: Annotated[list[DayPower], Field(max_length=_MOST_NAMED)]
    people: Annotated[list[DayPerson], Field(max_length=_MOST_NAMED)]
    supplies: Annotated[list[DaySupply], Field(max_length=_MOST_NAMED)]
    weather: Annotated[list[tuple[Time, Time, Text]], Field(max_length=_MOST_ROWS)]
    sorties: Annotated[list[DaySortie], Field(max_length=_MOST_ROWS)]
    bottleneck: Annotated[list[tuple[Time, Time, ResourceNumber, ResourceNumber]], Field(max_length=_MOST_ROWS)]
    resources: Annotated[list[Text], Field(max_length=MOST_SHOWN)] = list(RESOURCE_LOOKS)
    others: Annotated[list[DayOther], Field(max_length=_MOST_NAMED)] = []

    @model_validator(mode="after")
    def _numbers_are_of_something(self) -> DayRecord:
        rigs, packs, fields = len(self.rigs), len(self.packs), len(self.fields)
        carried: list[OnRig] = [*self.aircraft, *self.packs, *self.chargers, *self.power, *self.people, *self.supplies]
        within = all(one.rig < rigs for one in carried)
        within &= all(one.power < len(self.power) for one in self.chargers)
        within &= all(session[2] < packs for one in self.chargers for session in one.sessions)
        within &= all(-1 <= place < fields for rig in self.rigs for move in rig.moves for place in move[3:5])
        within &= all(
            one.aircraft < len(self.aircraft) and one.pack < packs and one.field < fields for one in self.sorties
        )
        within &= all(max(row[2:]) < len(self.resources) for row in self.bottleneck)
        if not within:
            raise _wrong("got the number of something that is not in the record; allowed are those of its lists")
        return self

    @model_validator(mode="after")
    def _times_are_of_the_day(self) -> DayRecord:
        latest = self.end_s + 1.0
        spans = [row[:2] for rig in self.rigs for row in rig.moves]
        spans += [row[:2] for aircraft in self.aircraft for row in aircraft.states]
        spans += [row[:2] for pack in self.packs for row in pack.states]
        spans += [row[:2] for charger in self.chargers for row in charger.sessions]
        spans += [row[:2] for power in self.power for row in power.load_kw]
        spans += [row[:2] for person in self.people for row in person.tasks]
        spans += [row[:2] for other in self.others for row in other.states]
        spans += [row[:2] for row in self.bottleneck]
        spans += [(one.start_s, one.end_s) for one in self.sorties]
        if not all(start <= end <= latest for start, end in spans):
            raise _wrong("got an interval that ends before it begins, or after the day; allowed are those of the day")
        return self


def _wrong(message: str) -> PydanticCustomError:
    return PydanticCustomError("acreday", "{message}", {"message": message})


_ALLOWED = {
    "missing": "a value",
    "string_type": "a text",
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "list_type": "a list",
    "tuple_type": "a list",
    "enum": "a word of the log",
}


def problems_of(model: type[Stored], content: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what is wrong with a JSON file of a result, as (dotted place, message)."""
    try:
        # as JSON, in which lists stand for tuples and texts for the words of the log; written anew, for of a key
        # that stands twice the two readers may take different ones
        model.model_validate_json(json.dumps(content, allow_nan=False))
    except ValidationError as error:
        found = []
        for entry in error.errors(include_url=False)[:MOST_SHOWN]:
            where = ".".join(str(part) for part in entry["loc"])
            got = "nothing" if entry["type"] == "missing" else shown(entry.get("input"))
            allowed = _ALLOWED.get(entry["type"])
            if entry["type"] == "acreday":
                message = entry["msg"]
            else:
                message = f"got {got}; allowed is {allowed}" if allowed else f"got {got}; allowed is: {entry['msg']}"
            found.append((where, message))
        return found
    return []
