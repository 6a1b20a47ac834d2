"""Published measurements of unmanned aerial spraying: what was measured, how each is held, and why it may miss."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class PublishedRow:
    """One source.

    Parameters
    ----------
    number : int
        Its place on the page.
    title, source, measured : str
        What it is, where it stands, and its numbers.
    held : str
        What is simulated for it, or why nothing is.
    tag : {"read", "abstract read", "press, read"}
        How its numbers were seen.
    miss : str
        Why the model misses it; shown only where it does.
    why_not : str
        Short reason when nothing is simulated.
    """

    number: int
    title: str
    source: str
    measured: str
    held: str
    tag: Literal["read", "abstract read", "press, read"] = "read"
    miss: str = ""
    why_not: str = ""


ROWS: tuple[PublishedRow, ...] = (
    PublishedRow(
        1,
        "time utilisation against length of run",
        '"Productivity model and experiment of field crop spraying by plant protection unmanned aircraft" '
        "(Frontiers; authors and volume not shown where it was read)",
        "eight aircraft, runs of 100 to 3500 m: electric 72.7 % time utilisation, 3.76 ha per person-hour; petrol"
        " heavy lift 86 %, 4.23 ha. Productivity rises with the run from 100 to 1500 m, then is flat or falls "
        "slightly.",
        "tank, rate, swath and speed are not given where it was read: a 10 L class, with slow and quick hands at "
        "15 and 7.5 L/ha, as a range for the share. The shape against run length is held twice: with one landing "
        "zone at a plot's corner, and with a crew that stays 100 m from the work. Per person-hour: see row 4.",
        miss=(
            "with a landing zone that stays at one place, long runs end loads far away and ferrying takes what "
            "turning gave back. With a crew that is always 100 m from the work the shape is the measured one (the "
            "three keys with `100`). A scenario with long runs needs a landing zone that moves with the work, or "
            "`ferry_distance`."
        ),
    ),
    PublishedRow(
        2,
        "where a working day goes",
        "Wang S.L. et al. 2017, Int J Agric Biol Eng 10(4):22-31, doi 10.25165/j.ijabe.20171004.3219",
        "four aircraft: ground service about 50 % of working time, preparation 10 %, route planning 10 %, net "
        "spraying 30 %; failures 3.7 to 4.4 %.",
        "no settings given where it was read: a 10 L class on six fields of 6.2 ha as a range; at its slow end 35"
        " min at the yard morning and evening and 15 min of set-up at each field stand for preparation and "
        "planning. Band for net spraying: 25 to 35 %.",
        miss=(
            "on the ground the simulated aircraft spend far less than half of the day even with slow hands. What the "
            "paper counts as ground service (mixing by hand, carrying packs to a charger elsewhere, repairs) is not "
            "known here; failures and weather are left out of this case. Time your own turnaround before trusting "
            "quick hands."
        ),
    ),
    PublishedRow(
        3,
        "six-rotor on wheat at 10 L/ha",
        "Wang G. et al. 2019, Appl. Sci. 9(2):218, doi 10.3390/app9020218",
        "4.11 ha/h.",
        "the rate is given; swath 4 to 5 m, 4 to 6 m/s and a 10 L tank are assumptions, as a range. It is a wide "
        "one, so a weak check.",
        tag="abstract read",
        miss="both ends lie on one side of the measured rate; swath, speed, tank and hands are assumptions.",
    ),
    PublishedRow(
        4,
        "hectares per person-hour",
        "Zhou Q., Zhang S., Xue X., Cai C., Wang B. 2023, Agronomy 13(8):2131",
        "mean of three multirotors on wheat: 5.75 ha per person-hour. Row 1 gives 3.76 for electric aircraft; the"
        " two make the band.",
        "no settings given where it was read: three classes with a crew of two, on both clocks, against the band.",
        miss=(
            "the band mixes classes, crews and clocks. Only the 20 L class in the field lies within it: the 10 L "
            "class lies below and the 40 L class above, and over paid hours, with moves and yard, all lie below. The "
            "crews and clocks of the papers are not known here."
        ),
    ),
    PublishedRow(
        5,
        "small hexacopter at 3.6 km/h",
        "Yallappa D. et al. 2017, IEEE GHTC, 8239330",
        "5 kg payload, two packs of 6 cells and 8 Ah, 3.6 km/h, 1 m height: 1.15 ha/h on groundnut, 1.08 on paddy.",
        "speed, payload and packs as given (355 Wh at 3.7 V a cell, from memory). Width times efficiency must be "
        "3.19 and 3.00 m for these numbers; the swath is not given where it was read, so 3.2 and 4.5 m are the "
        "ends, at 25 L/ha (assumption). Two clocks: spraying and turning only, and the whole time at the field.",
        miss=(
            "the measured rate is that of the flown passes; with packs of 355 Wh and 5 L loads the time at the field, "
            "swaps and fills included, gives less at both swaths. Either the paper's clock is that of the passes, or "
            "its hands were quicker or its swath wider than assumed here."
        ),
    ),
    PublishedRow(
        6,
        "petrol helicopter in a vineyard",
        "Giles D.K., Billing R. 2015, Chem. Eng. Trans. 44; also 2014 J. Agric. Mach. Sci. 10(2)",
        "0.61 ha, 42 rows of 61 m, 2.4 m apart, 14 to 39 L/ha: 2.0 to 4.5 ha/h, by swath and pattern.",
        "rows and rates as given; one or two rows a pass, 4 to 6 m/s, turns of 6 to 8 s and a 16 L tank are "
        "assumptions, as a range against the measured band. No pack is swapped.",
        miss="the two ends lie on one side of the measured band; speed, turn time and tank are assumptions.",
    ),
    PublishedRow(
        7,
        "terraced vineyard",
        "Sarri D. et al. 2019, J. Agric. Eng. 50:38-47, doi 10.4081/jae.2019.853",
        "capacity 2.0 times a spray gun's, 1.6 times a knapsack's.",
        "only ratios to other machines, which are not modelled.",
        why_not="ratios to machines that are not modelled",
    ),
    PublishedRow(
        8,
        "radio-controlled helicopter over paddies",
        "Jpn. J. Farm Work Research 33(1), 1998",
        "net operation less than a quarter of field time; nearly half is moving between landing point and work site.",
        "no settings given where it was read, and a petrol helicopter: only the band, on thirty plots of 0.21 ha "
        "a kilometre apart (the case of row 16). Moving is ferrying plus packing, driving and setting up.",
        miss=(
            "the kilometre between plots, and 7 min to pack and set up, are assumptions; the paper's paddies may lie "
            "side by side, and its clock may leave the drives out. What it shows alike: far more moving than "
            "spraying."
        ),
    ),
    PublishedRow(
        9,
        "8-10 L tank on rice at about 10 L/ha",
        "Jiji Press / OANA, 18 Feb 2018",
        "about 10 min per hectare.",
        "one tank a hectare: airborne minutes of the cases of row 3, as a range. Press quality: a range, never a "
        "target.",
        tag="press, read",
        miss="both ends lie on one side; swath, speed and turns are assumptions.",
    ),
    PublishedRow(
        10,
        "route patterns on 1 ha",
        "DergiPark bbd 10(1):19-32, 2025",
        "straight lines 20 min/ha and 15 % of the battery, spiral 20 %; best at 5 m/s.",
        "neither swath nor battery is given where it was read. At 5 m/s, 20 min/ha is a width times efficiency of"
        " 1.67 m.",
        why_not="swath and battery not given",
    ),
    PublishedRow(
        11,
        "energy per hectare",
        "Vasylkovska, Andriienko, Malakhovska 2023, doi 10.32515/2414-3820.2023.53.131-138",
        "16 L multirotor 0.41, 30 L multirotor 0.31 kWh/ha (printed as kW/ha).",
        "rate, swath and speed are not given where it was read: the 20 L and 40 L classes of the catalogue at 19 "
        "L/ha, energy out of the pack, within a quarter of the neighbouring number.",
        miss=(
            "both are of the measured size, but the order is the other way: here the larger class needs more energy a"
            " hectare. Its catalogue hover times (8.6 min full on 1800 Wh, against 15.5 min on 1300 Wh) make it draw "
            "about 2.4 times the power for 1.4 times the swath at the same speed. These classes are invented; put in "
            "the hover minutes of a spec sheet before comparing sizes by energy or generator fuel."
        ),
    ),
    PublishedRow(
        12,
        "packs per aircraft",
        "Ozkan E., Ohio State University Extension, FABE-540 (2024) and articles of 2023",
        "practice: 5 to 15 min on a battery with a full tank; three charged packs per aircraft and fast 240 V "
        "charging eliminate long interruptions.",
        "the 40 L class with one, two and three packs on 9.6 kW of mains (240 V and 40 A, assumption): waiting "
        "for a charged pack should be below 5 % of field time with three packs and above with fewer. Airborne "
        "minutes on one charge, down to the reserve, against 5 to 15.",
        miss="packs, chargers and supply are class values of the catalogue, not those of the source. The 20 L class "
        "flies about three loads on one charge, landing to refill in between; its minutes are all of them together, "
        "while the source has one full tank in mind.",
    ),
    PublishedRow(
        13,
        "10 L hexacopter on small plots",
        "Satish et al., IJECC, article 4321",
        "plots of 15 x 20 m, 1 to 6 m/s, 1 to 3 m height: swath 1.8 to 6 m, 33 to 133 L/ha.",
        "no work rate; swath and rate are inputs of the model.",
        why_not="no work rate; its numbers are inputs here",
    ),
    PublishedRow(
        14,
        "effective swath by class",
        "Martin & Latheef 2022, Drones 6(8):205; Martin et al. 2019, Drones 3(4):83",
        "effective swath varies with payload class, height and speed; tables not readable. Swath is the widest "
        "spacing with a coefficient of variation of at most 25 %.",
        "swath is an input of the model; deposition is not modelled.",
        why_not="swath is an input; deposition is not modelled",
    ),
    PublishedRow(
        15,
        "survey of equipment",
        "DLG magazine, agricultural drones",
        "flight times 12 to 45 min, working speeds 5 to 10 m/s, payload to 50 kg, empty mass to 150 kg.",
        "inputs of the model. The catalogue sprays at 15 mph (6.7 m/s), within that; its flights on a full tank "
        "are shorter than 12 min, see row 12.",
        why_not="its numbers are inputs here",
    ),
    PublishedRow(
        16,
        "small scattered fields: transport takes the gain",
        "rice-village simulation with travelling-salesman routes, mountainous Japan (title not shown where it was"
        " read)",
        "labour productivity gains only about 20 %, 30 % even with a far better aircraft; the gain saturates as "
        "the number of fields grows.",
        "the shape only: a 10 L class against one with twice the tank, pack, speed and swath, on 6.3 ha in one, "
        "six and thirty plots a kilometre apart. With thirty plots the gain should be at most 30 %, with fewer "
        "plots more.",
        tag="abstract read",
        miss="plots, distances and both aircraft are assumptions; only the shape could agree.",
    ),
    PublishedRow(
        17,
        "where it pays",
        "Zvezdina et al. 2024, AgriEngineering 6(1):455-478",
        "pays on irregular plots above 2 ha with 9 to 19 % of unusable land.",
        "a review of profitability against other machines, which are not modelled.",
        why_not="profitability against machines that are not modelled",
    ),
    PublishedRow(
        18,
        "cost per acre",
        "University of Missouri Extension, 2024/25",
        "$12.27 an acre at 1000 acres a year, $7.39 at 4000; break-even 980 acres against $16 an acre custom.",
        "whole jobs of the 40 L class with three packs at 2 gal/acre (750 acres in five fields), costed at both "
        "ends of assumed prices, wages and daily costs, for the guide's own were not readable. Its break-even is not "
        "held: a line through its two costs has $6507 a year and $5.76 an acre, and would break even with $16 at "
        "636 acres.",
        miss="both ends lie on one side; every price is an assumption.",
    ),
    PublishedRow(
        19,
        "rotor speed as the tank empties",
        "Agriculture 2021, 11(11):1038",
        "rotor speed falls about 30 % when the spray load goes from 16 to 4 kg.",
        "arithmetic only: with thrust as the square of rotor speed, for the masses of the 20 L class.",
        miss=(
            "a fall of 30 % needs an airframe of about 7.5 kg with its pack under 16 kg of load; the class here "
            "weighs four times that. Either the aircraft was very light, or the number is not one of level hover."
        ),
    ),
    PublishedRow(
        20,
        "acres an hour of larger aircraft",
        "University of Wisconsin Extension, August 2023, reported by users",
        "field capacity of 20 to 40 acres an hour, by aircraft size, number of packs and refill set-up.",
        "the jobs of row 18 at 5 and 2 gal/acre, as a range: neither rates nor sizes stand there.",
        miss="both ends lie on one side of the reported range; rate, fields and hands are assumptions.",
    ),
    PublishedRow(
        21,
        "minutes between changes of pack and tank",
        "a farm weekly on operators in Idaho, 2023",
        "tanks of 10.5 gal (40 L), 2 to 10 gal an acre; packs and tanks are changed about every 8 to 15 min.",
        "the jobs of row 18 at 5 and 2 gal/acre, as a range. Press quality: a range, never a target.",
        tag="press, read",
        miss="both ends lie on one side of the reported range; speed and hands are assumptions.",
    ),
)
"""The rows in the order of the page. "Read" means the number was seen at the source; nothing else of it is claimed."""
