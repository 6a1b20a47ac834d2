"""The page of a study's folder: its answer, figures and table, and at the end what to know and to beware of."""

# ruff: noqa: UP013

from __future__ import annotations

import base64
import itertools
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import Field
from typing_extensions import TypedDict

from simulator.errors import InputError, Problem
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.html_page import clean, manifest_table, render, write
from simulator.report.stored import LARGEST_DAY_BYTES, read_json
from simulator.report.stored_schema import Manifest, Text
from simulator.report.table import DataTable, text_row

STUDY = "study.json"


Said = TypedDict("Said", {
    "sentences": Annotated[list[Text], Field(min_length=1, max_length=1000)],
    "rows": Annotated[list[Annotated[list[Text], Field(min_length=1, max_length=100)]], Field(min_length=1)],
    "notes": Annotated[list[Text], Field(max_length=1000)],
    "figures": Annotated[list[Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,60}$")]], Field(max_length=100)],
})  # fmt: skip
StudyDocument = TypedDict(
    "StudyDocument", {"study": Text, "scenario": Text, "seed": int, "invented": bool, "said": Said}
)


class Picture(NamedTuple):
    """A figure as the address of its own content, and the words for who cannot see it."""

    address: str
    words: str


def write_study(folder: Path, out_html: Path) -> None:
    """Write the page of a study's folder, whole or not at all."""
    write(out_html, study_page(folder))


def study_sentences(folder: Path) -> list[str]:
    """Return the answer of a study's folder; nothing where it cannot be read."""
    document = clean(read_json(folder / STUDY, StudyDocument, []))
    return list(document["said"]["sentences"]) if document else []


def study_page(folder: Path) -> str:
    """Return the page of a study's folder as HTML text."""
    problems: list[Problem] = []
    document = clean(read_json(folder / STUDY, StudyDocument, problems))
    manifest = clean(read_json(folder / "manifest.json", Manifest, problems))
    pictures = []
    for stem in document["said"]["figures"] if document else []:
        path = folder / f"{stem}.svg"
        try:
            if path.stat().st_size > LARGEST_DAY_BYTES:
                raise ValueError(f"is larger than {LARGEST_DAY_BYTES // 1_000_000} MB")
            content = base64.b64encode(path.read_bytes()).decode()
            pictures.append(Picture(f"data:image/svg+xml;base64,{content}", f"Figure: {stem.replace('_', ' ')}"))
        except (OSError, ValueError) as error:
            problems.append(Problem("", f"cannot be read: {getattr(error, 'strerror', None) or error}", path.name))
    if problems:
        raise InputError(problems)
    return render("study.html.j2", **_context(document, manifest, pictures))


def _context(document: dict[str, Any], manifest: dict[str, Any], pictures: list[Picture]) -> dict[str, Any]:
    said, resolved = document["said"], manifest.get("resolved") or {}
    heads, *rows = said["rows"]
    columns = zip(*(row + [""] * len(heads) for row in rows), strict=False)
    worded = itertools.takewhile(lambda column: not all(map(_numeric, column)), columns)
    table = DataTable("The numbers", tuple(heads), tuple(text_row(*row) for row in rows), max(1, len(list(worded))))
    scenario = next((one["title"] for one in resolved.values() if one.get("title")), document["scenario"])
    return {
        "title": f"{document['study'].capitalize()}: {scenario}",
        "sentences": said["sentences"],
        "pictures": pictures,
        "result": table,
        "notes": said["notes"],
        "invented_note": INVENTED_NOTE if document["invented"] else "",
        "cautions": CAUTIONS,
        "simulation_note": SIMULATION_NOTE,
        "manifest_table": manifest_table(document, manifest),
    }


def _numeric(text: str) -> bool:
    return text[:1].isdigit() or text[:1] in "+-–$€£\N{MINUS SIGN}"
