"""Make reports/validation.md: simulated numbers beside published ones, row by row, with what misses and why.

``python tests/validation/validation_page.py`` writes the page; ``--days`` and ``--seed`` are those of the random cases,
``--out`` another place.
"""

import argparse
import math
import tomllib
from dataclasses import dataclass
from pathlib import Path

from validation_check import between
from validation_numbers import validate_model

PUBLISHED = Path(__file__).with_name("published.toml")
PAGE = Path(__file__).parents[2] / "reports" / "validation.md"
COMMAND = "python tests/validation/validation_page.py"
NUMBERS = "| key | what | unit | published | tolerance | simulated | standard error | verdict |"
"""Head of the tables of numbers; a reader of the page finds them by it."""


@dataclass(frozen=True)
class PublishedRow:
    """One source; the meaning of each part stands in published.toml."""

    number: int
    title: str
    source: str
    measured: str
    held: str
    tag: str = "read"
    miss: str = ""
    why_not: str = ""


ROWS = tuple(PublishedRow(**row) for row in tomllib.loads(PUBLISHED.read_text("utf-8"))["row"])

ELSEWHERE = {
    "Queues: machine repair, closed networks, several servers (formulas and published tables)": (
        "tests/physics/test_queueing.py",
    ),
    "Bottleneck: momentary bottleneck by active periods, hand example": ("tests/analysis/test_active_period.py",),
    "Statistics: t and paired intervals, percentiles, replications, selection": (
        "tests/experiment/test_estimates.py",
        "tests/experiment/test_selection.py",
    ),
    "Common random numbers": ("tests/scenario/test_streams.py",),
    "Power in hover and forward flight, air density": ("tests/physics/test_flight.py", "tests/physics/test_air.py"),
    "Packs and charging": ("tests/physics/test_pack.py", "tests/physics/test_charge.py"),
    "Generators and sharing of power": ("tests/physics/test_generator.py", "tests/physics/test_sharing.py"),
    "Passes over rectangles and real boundaries": (
        "tests/physics/test_swath.py",
        "tests/physics/test_swath_polygon.py",
    ),
    "Routes and fragmentation": ("tests/physics/test_route.py", "tests/physics/test_fragmentation.py"),
    "Wet bulb and workable hours": ("tests/physics/test_wet_bulb.py", "tests/physics/test_workable.py"),
    "Conservation of time, area, product and energy on random scenarios": (
        "tests/operation/test_conservation_property.py",
    ),
}
"""What this page leaves to tests, and the files that hold it."""


@dataclass(frozen=True)
class Outcome:
    """What a row of published measurements came to."""

    held: bool
    misses: tuple[str, ...]
    text: str


def number_text(value):
    """Return three or four significant digits, without an exponent between 0.001 and 10 000."""
    if math.isinf(value):
        return "open"
    if value == 0.0:
        return "0"
    return f"{value:.4g}" if 1e-3 <= abs(value) < 1e4 else f"{value:.3e}"


def band_text(low, high):
    """Return a published band: one number, two, or one with an open side."""
    if low == high:
        return number_text(low)
    if math.isinf(high):
        return f"above {number_text(low)}"
    return f"{number_text(low)} to {number_text(high)}"


def range_keys(checks):
    """Return the common keys of all checks that are ends of a range, each once."""
    return list(dict.fromkeys(check.key.rsplit(" ", 1)[0] for check in checks if check.end))


def outcome(row, checks):
    """Return what a row came to."""
    mine = [check for check in checks if check.row == row]
    if not mine:
        return Outcome(False, (), "not simulated")
    ranges = range_keys(mine)
    outside = [key for key in ranges if not between(checks, key)]
    missed = [check.key for check in mine if check.verdict in ("above", "below")]
    single = sum(1 for check in mine if not check.end)
    parts = []
    if single:
        parts.append(f"{single - len(missed)} of {single} agree")
    if ranges:
        parts.append(f"{len(ranges) - len(outside)} of {len(ranges)} ranges contain it")
    return Outcome(True, (*outside, *missed), "; ".join(parts))


def numbers_table(checks):
    """Return the lines of a table of checks."""
    lines = [NUMBERS, "| --- | --- | --- | --- | --- | --- | --- | --- |"]
    for check in checks:
        cells = (
            check.key,
            check.what,
            check.unit or "–",
            band_text(check.low, check.high),
            f"{100.0 * check.tolerance:g} %" if check.tolerance else "–",
            number_text(check.simulated),
            number_text(check.standard_error),
            check.verdict,
        )
        lines.append("| " + " | ".join(cells) + " |")
    return lines


def read_numbers(page):
    """Return the simulated numbers of a page: key to (mean, standard error)."""
    found = {}
    inside = False
    for line in page.splitlines():
        if line == NUMBERS:
            inside = True
        elif not line.startswith("|"):
            inside = False
        elif inside and not line.startswith("| ---"):
            cells = [cell.strip() for cell in line.strip("|").split("|")]
            found[cells[0]] = (float(cells[5]), float(cells[6]))
    return found


def _row_lines(row, checks):
    result = outcome(row.number, checks)
    lines = [
        f"### {row.number}. {row.title}",
        "",
        f"*Source:* {row.source} ({row.tag}). *Measured:* {row.measured}",
        "",
        f"*Held here:* {row.held}",
    ]
    if result.held:
        lines += ["", f"*Outcome:* {result.text}."]
    if result.misses:
        lines += ["", f"*Miss* ({', '.join(result.misses)}): {row.miss or 'not explained yet.'}"]
    return [*lines, ""]


def _summary_lines(checks):
    lines = ["| row | measurement | outcome |", "| --- | --- | --- |"]
    for row in ROWS:
        result = outcome(row.number, checks)
        lines.append(
            f"| {row.number} | {row.title} | {result.text if result.held else 'not simulated: ' + row.why_not} |"
        )
    return lines


def validation_page(checks, days, seed, command):
    """Return the page as Markdown."""
    formulas = [check for check in checks if check.row is None]
    measured = [check for check in checks if check.row is not None]
    agreeing = sum(check.verdict == "agrees" for check in formulas)
    single = [check for check in measured if not check.end]
    ranges = range_keys(measured)
    outside = {key for row in (0, *(entry.number for entry in ROWS)) for key in outcome(row, checks).misses}
    contained = sum(key not in outside for key in ranges)
    hits = sum(check.verdict == "agrees" for check in single)
    lines = [
        "# Validation: the model beside published numbers",
        "",
        f"Made by `{command}`: {days} simulated days of each random case, seed {seed}. Do not edit; run the "
        "command again.",
        "",
        f"Formulas: {agreeing} of {len(formulas)} agree. Measurements: of {len(single)} numbers held singly "
        f"{hits} agree; of {len(ranges)} ranges (both ends of what a paper leaves open) {contained} contain "
        "the published number.",
        "",
        "How to read this page, and what it does not say:",
        "",
        "- No source gives, in what was read of it, a whole scenario. Its stated settings are used; the rest "
        "are assumptions of class values and of people's hands, named in "
        "`tests/validation/validation_cases.py`. A *range* has an unfavourable and a favourable set of them; "
        "that it contains the measurement shows only that the model does not contradict it.",
        "- *In the field* counts hours with the rig set up at a field, breaks and waits included. *Paid* "
        "counts from the yard to the yard. Many differences between papers are differences of the clock.",
        "- *Agrees* means: within the published band, allowing three standard errors of the simulation and "
        "the tolerance of the check (rounding, whole passes and loads, neighbouring classes).",
        "- *Read* after a source means that the number was seen there; *abstract read* that only the abstract was.",
        "- Misses stay on the page, with the reason where one was found.",
        "- *Slow hands*: fill after the swap, about 2.5 min and 2 min, and a check of 30 s. *Quick hands*: "
        "both at once, about a minute. Both are assumptions; no published table of these seconds was found.",
        "",
        "## Formulas",
        "",
        "Work rate: Baltin 1959, as printed in Matthews, *Pesticide Application Methods* (from memory; no "
        "published worked number was readable, so the numbers are arithmetic of this project): `t = 1e4 [Tr "
        "Q/Qf + 1/(Vs S) + Tw/(S L) + 2 a Q/(Vf Qf) + C/(Vf F)]` s/ha. With Q 20 L/ha, Qf 40 L, Tr 180 s, Vs "
        "6 and Vf 8 m/s, S 8 m, Tw 6 s, L 300 m, a 150 m, C 2000 m, F 8 ha: 90.00 + 208.33 + 25.00 + 18.75 + "
        "31.25 = 373.33 s/ha = 9.643 ha/h. The simulated day flies 34 whole passes where the formula counts "
        "33.3, and no turn where a load ends with a pass or the field ends; with 32 whole passes and those "
        "turns taken off, both are the same.",
        "",
        "Field capacity: `S W E / 8.25` acres/h with mph and ft (ASABE EP496.3, from memory; the worked 30 ft"
        " at 5 mph, 18.2 acres/h, read: Progressive Forage, field efficiency page). Flow: gal/min = gal/acre "
        "x mph x ft / 495 (read: Mesa County weed and pest, stationary calibration). Turns: (L/v) / (L/v + "
        "t), elementary; the simulated field has 99 turns for 100 passes.",
        "",
        *numbers_table(formulas),
        "",
        "## Measurements: all numbers",
        "",
        "Keys begin with the row below; `0` is the band of all rows together: one small-tank multirotor does"
        " 1 to 5 ha/h.",
        "",
        *numbers_table(measured),
        "",
        "## Measurements: row by row",
        "",
        *_summary_lines(checks),
        "",
    ]
    for row in ROWS:
        lines += _row_lines(row, checks)
    lines += ["## What tests hold", "", "| what | where |", "| --- | --- |"]
    lines += [f"| {what} | {', '.join(f'`{name}`' for name in files)} |" for what, files in ELSEWHERE.items()]
    return "\n".join(lines) + "\n"


def main(arguments=None):
    """Simulate the cases of published papers and formulas, and write both numbers side by side."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--days", type=int, default=40, help="days of each random case, at least 4")
    parser.add_argument("--seed", type=int, default=2024, help="seed of the random streams")
    parser.add_argument("--out", type=Path, default=PAGE, help="page to write")
    asked = parser.parse_args(arguments)
    if asked.days < 4:
        parser.error(f"--days: got {asked.days}; allowed is 4 or more, for a standard error")
    command = COMMAND + "".join(
        f" --{name} {getattr(asked, name)}"
        for name in ("days", "seed")
        if getattr(asked, name) != parser.get_default(name)
    )
    checks = validate_model(asked.days, asked.seed)
    asked.out.write_text(validation_page(checks, asked.days, asked.seed, command), encoding="utf-8")
    missed = [check.key for check in checks if check.verdict in ("above", "below")]
    print(f"{asked.out.name}: {len(checks)} numbers; {len(missed)} miss: {', '.join(missed)}; the page says why")


if __name__ == "__main__":
    main()
