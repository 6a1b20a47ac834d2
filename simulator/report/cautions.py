"""What every report says beside its numbers: cautions that defer to the label and the law, and what a simulation is."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Pesticide drift and exposure: the product label is the law. Follow its limits on wind, droplet size, buffers and"
    " rates, wear the protective equipment it asks for, and keep everybody out until its re-entry interval has passed."
    " Where this page and the label differ, the label holds.",
    "Temperature inversions carry fine droplets far off the field and are not part of this simulation; a calm evening"
    " or morning that it counts as workable may still be no time to spray.",
    "Aircraft and propellers: keep people away from turning propellers, take the pack out before touching an aircraft,"
    " and never approach one that is armed.",
    "Aviation rules: flying, and applying product from the air, need the licences, registrations and permissions of"
    " the place. Limits on sight, height, people below and aircraft a pilot may watch come before any plan.",
    "Lithium packs: charge them only between 0 and 40 °C (32 and 104 °F) or in the maker's narrower range, never"
    " unattended, never damaged, swollen or hot, and away from anything that burns. Know how to fight a pack fire.",
    "Generator exhaust kills: run generators outdoors only, at least 20 ft (6 m) from buildings and openings, exhaust"
    " pointing away from people, and let them cool before refuelling.",
    "Electrical work on supplies and trailers belongs to a licensed electrician and to the local code.",
    "Lifting: loaded aircraft and packs are heavy; lift with two people or a lifting aid.",
    "Heat: plan water, shade and rest for the crew, and more so in protective clothing.",
)
"""One plain sentence group a hazard; labels, local codes and licensed practice have the last word."""

SIMULATION_NOTE = (
    "This is a simulation, not a promise: it tells what follows from the numbers that were put in."
    " Real days differ by weather, crops, terrain, people and equipment."
)
"""Stands on every report and quote."""

INVENTED_NOTE = (
    "Places and equipment in this scenario are invented; the numbers describe no real farm and no real product."
)
"""Stands on reports of scenarios that say ``invented = true``."""
