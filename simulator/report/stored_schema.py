"""What the JSON files of a result folder must hold, as types that pydantic checks: a folder may come from anybody.

Keys that are not named here are passed over, so that a later version may add some.
"""

# written as functions, several keys a line: ruff would make a class of each
# ruff: noqa: UP013

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal, NotRequired, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, TypeAdapter, ValidationError
from pydantic_core import PydanticCustomError
from typing_extensions import TypedDict

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
WorkDay = Annotated[int, Field(ge=1, le=10_000)]
Swath = Annotated[float, Field(ge=0.0, le=1e4)]
_Item = TypeVar("_Item")
Many = Annotated[list[_Item], Field(max_length=_MOST_ROWS)]
Some = Annotated[list[_Item], Field(max_length=_MOST_NAMED)]
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


# --- result.json ---

Spread = TypedDict("Spread", {
    "mean": Amount, "ci95": Limits, "p10": Amount, "p50": Amount, "p90": Amount,
    "p10_ci95": NotRequired[Limits | None], "p50_ci95": NotRequired[Limits | None],
    "p90_ci95": NotRequired[Limits | None],
})  # fmt: skip
Rate = TypedDict("Rate", {"mean": Amount, "ci95": Limits})
Change = TypedDict("Change", {
    "change": Annotated[Text, Field(min_length=1)], "acres_per_day": Amount, "ci95": Limits,
    "resource": NotRequired[Text],
})  # fmt: skip
Hold = TypedDict("Hold", {
    "resource": Annotated[Text, Field(min_length=1)], "sentence": Annotated[Text, Field(min_length=1)],
    "short": NotRequired[Text],
    "active_period_share": Shares, "alone_acres_per_day": NotRequired[Shares],
    "one_more": NotRequired[Annotated[list[Change], Field(max_length=1000)]],
})  # fmt: skip
Finish = TypedDict("Finish", {"work_day": WorkDay, "hour_of_day": Annotated[float, Field(ge=0.0, le=LONGEST_DAY_S)]})
Finishes = TypedDict("Finishes", {"p50": NotRequired[Finish | None], "p90": NotRequired[Finish | None]})
Job = TypedDict("Job", {
    "work": Literal["once", "repeat"], "list_acres": NotRequired[Amount | None],
    "most_work_days": NotRequired[Annotated[int, Field(ge=0, le=10_000)]],
    "unreached_fields": NotRequired[Annotated[list[Text], Field(max_length=10_000)]],
    "work_days": Rate, "done_share": Share,
    "done_by_work_day": NotRequired[Annotated[list[Share], Field(max_length=10_000)]],
    "finish": NotRequired[Finishes], "out_of_reach_acres": NotRequired[Amount | None],
    "cost_per_acre": NotRequired[Rate | None], "currency": NotRequired[Annotated[str, Field(max_length=5)]],
})  # fmt: skip
Power = TypedDict("Power", {"rig": Name, "point": Name, "asked_w": Amount, "given_w": Amount})
SetAnswer = TypedDict("SetAnswer", {
    "name": Name, "runs": Annotated[int, Field(ge=1, lt=2**63)], "acres_per_day": Spread, "hectares_per_day": Spread,
    "acres_per_field_hour": NotRequired[Rate | None], "time_share": Shares, "utilisation": Shares, "per_day": Shares,
    "full_work_day_acres": NotRequired[Spread | None], "full_work_day_hectares": NotRequired[Spread | None],
    "job": NotRequired[Job | None], "power": NotRequired[Annotated[list[Power], Field(max_length=1000)]],
    "bottleneck": Hold, "label": NotRequired[Text],
    "practice": NotRequired[Annotated[list[tuple[Text, Text]], Field(max_length=100)]],
})  # fmt: skip
Pair = TypedDict("Pair", {"a": Name, "b": Name, "difference": Amount, "a_wins_share": Amount, "ci95": Limits})
_Result = TypedDict("_Result", {
    "scenario": Annotated[str, Field(min_length=1, max_length=4000)], "seed": Whole,
    "units": NotRequired[Literal["us", "metric"]],
    "day_start_s": NotRequired[Annotated[float, Field(ge=0.0, le=90_000.0)] | None],
    "day_start": NotRequired[Annotated[str, Field(pattern=r"^([01]?\d|2[0-3]):[0-5]\d$")] | None],
    "stopped": NotRequired[Text], "title": NotRequired[Text], "invented": NotRequired[bool],
    "skipped": NotRequired[Many[Text]], "notes": NotRequired[Many[Text]],
    "equipment_sets": Annotated[list[SetAnswer], Field(min_length=1, max_length=MOST_SETS)],
    "paired": NotRequired[Annotated[list[Pair], Field(max_length=MOST_SETS**2)]],
})  # fmt: skip


def _names_differ(document: _Result) -> _Result:
    names = [entry["name"] for entry in document["equipment_sets"]]
    if len(set(names)) < len(names):
        raise _wrong("equipment_sets: got a name twice; allowed is a different name for each set")
    return document


ResultDocument = Annotated[_Result, AfterValidator(_names_differ)]

# --- manifest.json ---


def _has_a_sane_shape(table: Any) -> Any:
    if isinstance(table, Mapping):
        try:
            check_shape(table, "")
        except InputError as error:
            raise _wrong(f"got what no scenario holds: {error}; allowed is a scenario's table") from error
    return table


_Table = TypedDict("_Table", {
    "name": NotRequired[Text], "title": NotRequired[Text], "invented": NotRequired[bool],
    "notes": NotRequired[Annotated[str, Field(max_length=100_000)]],
})  # fmt: skip
Resolved = Annotated[_Table, BeforeValidator(_has_a_sane_shape)]
"""A whole scenario of one set; its own schema reads it where it is simulated again."""
Manifest = TypedDict("Manifest", {
    "acreday_version": NotRequired[Text], "python": NotRequired[Text],
    "packages": NotRequired[Annotated[dict[Text, Text], Field(max_length=1000)]],
    "engine": NotRequired[Text], "created": NotRequired[Text], "duration_s": NotRequired[Amount],
    "command": NotRequired[Annotated[str, Field(max_length=1_000_000)]],
    "seed": NotRequired[Annotated[int, Field(ge=0, lt=2**63)]],
    "runs": NotRequired[Annotated[dict[Text, Annotated[int, Field(ge=0, lt=2**63)]], Field(max_length=MOST_SETS)]],
    "scenario_sha256": NotRequired[Text],
    "files": NotRequired[Annotated[dict[Text, Text], Field(max_length=MOST_SETS)]],
    "resolved": NotRequired[Annotated[dict[Name, Resolved], Field(max_length=MOST_SETS)]],
})  # fmt: skip

# --- day_<set>.json, as simulator.analysis.day_record makes it; a span begins with its start and end ---

DayField = TypedDict("DayField", {
    "name": Text, "area_m2": Size, "rings": Annotated[list[Many[Place]], Field(max_length=10_000)], "zone_m": Place,
})  # fmt: skip
DayRig = TypedDict("DayRig", {
    "name": Text, "moves": Many[tuple[Time, Time, Text, int, int]], "roads_m": NotRequired[Many[Size]],
})  # fmt: skip
DayAircraft = TypedDict("DayAircraft", {
    "name": Text, "rig": Number, "states": Many[tuple[Time, Time, AircraftState, Text]],
})  # fmt: skip
DayPack = TypedDict("DayPack", {
    "name": Text, "rig": Number, "capacity_wh": Annotated[float, Field(ge=0.1, le=1e9)], "reserve_wh": Size,
    "states": Many[tuple[Time, Time, PackState]],
    "charge": Annotated[list[tuple[Time, Amount]], Field(min_length=1, max_length=_MOST_ROWS)],
})  # fmt: skip
DayCharger = TypedDict("DayCharger", {
    "name": Text, "rig": Number, "power": Number, "sessions": Many[tuple[Time, Time, Number, Size]],
})  # fmt: skip
DayPower = TypedDict("DayPower", {
    "name": Text, "rig": Number, "kind": Literal["grid", "generator"], "capacity_kw": Size,
    "load_kw": Many[tuple[Time, Time, Size]], "stops": Many[tuple[Time, Time, Text]],
})  # fmt: skip
DayPerson = TypedDict("DayPerson", {"name": Text, "rig": Number, "tasks": Many[tuple[Time, Time, Text, Text]]})
DaySupply = TypedDict("DaySupply", {"name": Text, "rig": Number, "tasks": Many[tuple[Time, Time, Text, Amount]]})
DayOther = TypedDict("DayOther", {"name": Text, "kind": Text, "states": Many[tuple[Time, Time, Text, Text]]})
_Line = TypedDict("_Line", {
    "t_s": Annotated[list[Time], Field(min_length=1, max_length=_MOST_ROWS)], "x_m": Many[Metres], "y_m": Many[Metres],
    "on": Annotated[str, Field(pattern=r"^[01]*$", max_length=_MOST_ROWS)],
})  # fmt: skip
_Strips = TypedDict("_Strips", {"swath_m": Swath, "x_m": Many[Metres], "y_m": Many[Metres]})


def _are_as_many(line: _Line) -> _Line:
    if len({len(line["t_s"]), len(line["x_m"]), len(line["y_m"]), len(line["on"])}) > 1:
        raise _wrong("got lists of different lengths; allowed are a time, x, y and mark for each point")
    return line


def _are_pairs(cover: _Strips) -> _Strips:
    if len(cover["x_m"]) != len(cover["y_m"]) or len(cover["x_m"]) % 2:
        raise _wrong("got lists of different or odd lengths; allowed are an x and a y for both ends of each strip")
    return cover


DaySortie = TypedDict("DaySortie", {
    "start_s": Time, "end_s": Time, "aircraft": Number, "pack": Number, "field": Number,
    "visit": Annotated[int, Field(ge=0, le=10**9)],
    "seconds": Annotated[list[Time], Field(min_length=6, max_length=6)], "area_m2": Amount, "applied": Amount,
    "energy_wh": Amount, "swath_m": Swath, "line": Annotated[_Line, AfterValidator(_are_as_many)],
    "cover": NotRequired[Annotated[_Strips, AfterValidator(_are_pairs)] | None],
    "passes_in_one": Annotated[int, Field(ge=0, le=10**9)],
})  # fmt: skip
_Day = TypedDict("_Day", {
    "version": Literal[1], "run": Annotated[int, Field(ge=0, le=10_000_000)], "work_day": WorkDay,
    "day_start_s": Annotated[float, Field(ge=0.0, le=90_000.0)],
    "end_s": Annotated[float, Field(ge=1.0, le=LONGEST_DAY_S)],
    "last_landing_s": Time, "list_finished_s": NotRequired[Time | None], "product_unit": Literal["L", "kg"],
    "layout": Literal["given", "invented"], "yard_m": Place, "yard_given": NotRequired[bool], "fields": Some[DayField],
    "fields_left_out": NotRequired[Annotated[int, Field(ge=0, le=10**9)]],
    "rigs": Annotated[list[DayRig], Field(min_length=1, max_length=_MOST_NAMED)], "aircraft": Some[DayAircraft],
    "packs": Some[DayPack], "chargers": Some[DayCharger], "power": Some[DayPower], "people": Some[DayPerson],
    "supplies": Some[DaySupply], "weather": Many[tuple[Time, Time, Text]], "sorties": Many[DaySortie],
    "bottleneck": Many[tuple[Time, Time, ResourceNumber, ResourceNumber]],
    "resources": NotRequired[Annotated[list[Text], Field(max_length=MOST_SHOWN)]],
    "others": NotRequired[Some[DayOther]], "labels": NotRequired[dict[Text, Text]],
})  # fmt: skip
_ON_RIGS: tuple[Literal["aircraft", "packs", "chargers", "power", "people", "supplies"], ...] = (
    "aircraft", "packs", "chargers", "power", "people", "supplies",
)  # fmt: skip


def _numbers_are_of_something(day: _Day) -> _Day:
    rigs, packs, fields = len(day["rigs"]), len(day["packs"]), len(day["fields"])
    flown, held = len(day["aircraft"]), len(day.get("resources", RESOURCE_LOOKS))
    within = all(one["rig"] < rigs for kind in _ON_RIGS for one in day[kind])
    within &= all(one["power"] < len(day["power"]) for one in day["chargers"])
    within &= all(session[2] < packs for one in day["chargers"] for session in one["sessions"])
    within &= all(-1 <= place < fields for rig in day["rigs"] for move in rig["moves"] for place in move[3:5])
    within &= all(one["aircraft"] < flown and one["pack"] < packs and one["field"] < fields for one in day["sorties"])
    if not (within and all(max(row[2:]) < held for row in day["bottleneck"])):
        raise _wrong("got the number of something that is not in the record; allowed are those of its lists")
    return day


def _times_are_of_the_day(day: _Day) -> _Day:
    rows: list[Iterable[tuple[Any, ...]]] = [rig["moves"] for rig in day["rigs"]]
    rows += [one["states"] for one in (*day["aircraft"], *day["packs"], *day.get("others", ()))]
    rows += [one["sessions"] for one in day["chargers"]] + [one["load_kw"] for one in day["power"]]
    rows += [one["tasks"] for one in day["people"]]
    rows += [day["bottleneck"], [(one["start_s"], one["end_s"]) for one in day["sorties"]]]
    if not all(start <= end <= day["end_s"] + 1.0 for some in rows for start, end, *_ in some):
        raise _wrong("got an interval that ends before it begins, or after the day; allowed are those of the day")
    return day


DayRecord = Annotated[_Day, AfterValidator(_numbers_are_of_something), AfterValidator(_times_are_of_the_day)]


def _wrong(message: str) -> PydanticCustomError:
    return PydanticCustomError("acreday", "{message}", {"message": message})


_ALLOWED = {
    "missing": "a value", "string_type": "a text", "float_type": "a number", "int_type": "a whole number",
    "bool_type": "true or false", "dict_type": "a table", "list_type": "a list", "tuple_type": "a list",
    "enum": "a word of the log",
}  # fmt: skip


def problems_of(model: Any, content: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what is wrong with a JSON file of a result, as (dotted place, message)."""
    try:
        # as JSON, in which lists stand for tuples and texts for the words of the log; written anew, for of a key
        # that stands twice the two readers may take different ones
        TypeAdapter(model).validate_json(json.dumps(content, allow_nan=False), strict=True)
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
