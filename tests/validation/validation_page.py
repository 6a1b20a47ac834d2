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
TEMPLATE = Path(__file__).with_name("validation_page.md")
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
    single = [check for check in measured if not check.end]
    ranges = range_keys(measured)
    outside = {key for row in (0, *(entry.number for entry in ROWS)) for key in outcome(row, checks).misses}
    return TEMPLATE.read_text("utf-8").format(
        command=command,
        days=days,
        seed=seed,
        formulas=len(formulas),
        agreeing=sum(check.verdict == "agrees" for check in formulas),
        single=len(single),
        hits=sum(check.verdict == "agrees" for check in single),
        ranges=len(ranges),
        contained=sum(key not in outside for key in ranges),
        formula_numbers="\n".join(numbers_table(formulas)),
        measured_numbers="\n".join(numbers_table(measured)),
        summary="\n".join(_summary_lines(checks)),
        rows="\n".join(line for row in ROWS for line in _row_lines(row, checks)),
    )


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
