"""The commands of the studies: what they print, and what their folders hold."""

from __future__ import annotations

import importlib
import importlib.util
import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from short_days import PRICED, SCENARIOS, SHORT, THIRD_PACK, table

from simulator.errors import InputError
from simulator.scenario.toml_text import toml_document

PRICES = (str(PRICED), *(part for setting in SHORT for part in ("--set", setting)))
RUNS = ("--runs", "12")
SWAP, PACKS = "rig.main.crew.tasks.swap.time=40..90 s", "rig.main.packs.large_pack=2..4"


def call(name: str, *arguments: str) -> Result:
    command = importlib.import_module(f"simulator.command.{name}").command
    return CliRunner().invoke(command, [*arguments], standalone_mode=False, catch_exceptions=False)


@pytest.fixture
def plain(tmp_path: Path) -> str:
    """Return the file of a scenario without prices."""
    file = tmp_path / "short.toml"
    file.write_text(toml_document(table()), encoding="utf-8")
    return str(file)


@pytest.fixture
def few_days(tmp_path: Path) -> str:
    file = tmp_path / "few.csv"
    head = (SCENARIOS / "past_days.csv").read_text(encoding="utf-8").splitlines()[:5]
    file.write_text("\n".join(head) + "\n", encoding="utf-8")
    return str(file)


PRICED_CASES = [
    ("payoff", (THIRD_PACK, *RUNS, "--one-more-runs", "0"), "With one more 1,800 Wh pack this set does",
     {"payoff.csv", "futures.csv", "cash.csv"}),
    ("ladder", ("--runs", "10", "--rungs", "1"), "Buy", {"ladder.csv", "tried.csv"}),
    ("size", ("--choose", "rig.main.packs.large_pack=2..3", "--acres-per-day", "30 acre", "--runs", "50"),
     "30 acres a day on 90 % of days", {"size.csv"}),
    ("season", ("--acres", "600 acre", "--workable-days", "20..30", *RUNS), "third_pack_costs: expect",
     {"season.csv", "by_date.csv", "cost_by_size.csv"}),
]  # fmt: skip
PLAIN_CASES = [
    ("fragmentation", ("two", "--acres", "60 acre", "--number", "1,3", "--runs", "3"), "Januszewski",
     {"runs.csv", "cases.csv"}),
    ("crossover", ("four", "two", "--sizes", "79..80 acre", "--rates", "2 gal/acre", "--runs", "3", "--most-runs", "3"),
     "Every cell was looked at once", {"cells.csv"}),
    ("sensitivity", ("four", "--range", SWAP, "--range", PACKS, "--runs", "3", "--sobol", "2", "--sobol-runs", "2"),
     "count it", {"inputs.csv", "to_measure.csv", "sobol.csv"}),
]  # fmt: skip


def folder_of(name: str, said: str, tables: set[str], tmp_path: Path, *arguments: str) -> Result:
    """Return what a command printed, its folder and document checked."""
    file, target = tmp_path / "a.json", tmp_path / "out"
    done = call(name, *arguments, "--out", str(target), "--json", str(file))
    assert " ".join(said.split()) in " ".join(done.stdout.split())
    written = {path.name for path in target.iterdir()}
    assert tables | {"study.json", f"{name}.svg", f"{name}.png", "summary.md", "manifest.json"} == written
    document = json.loads(file.read_text(encoding="utf-8"))
    stored = json.loads((target / "study.json").read_text(encoding="utf-8"))
    assert stored.pop("said")["sentences"][0] == document["sentence"]
    assert stored == document
    assert document["study"] == name
    assert document["sentence"]
    # the summary holds the table that the terminal shows
    head = (target / "summary.md").read_text(encoding="utf-8").split("\n| ", 1)[1].split("\n")[0]
    assert all(word in done.stdout for word in head.replace("|", " ").split())
    return done


@pytest.mark.parametrize(("name", "arguments", "said", "tables"), PRICED_CASES, ids=[one[0] for one in PRICED_CASES])
def test_a_study_with_prices_writes_its_folder(name, arguments, said, tables, tmp_path):
    folder_of(name, said, tables, tmp_path, *PRICES, *arguments)


@pytest.mark.parametrize(("name", "arguments", "said", "tables"), PLAIN_CASES, ids=[one[0] for one in PLAIN_CASES])
def test_a_study_without_prices_writes_its_folder(name, arguments, said, tables, tmp_path, plain):
    folder_of(name, said, tables, tmp_path, plain, *arguments)


def test_past_days_and_times_write_their_folders(tmp_path, plain, few_days):
    third = str(SCENARIOS / "third_pack.toml")
    folder_of("hindcast", "past days", {"past_days.csv"}, tmp_path, third, few_days, "--runs", "20")
    (tmp_path / "fit").mkdir()
    times = str(SCENARIOS / "stopwatch_times.csv")
    folder_of("fit", "quantities fitted", {"fits.csv"}, tmp_path / "fit", third, times)


def test_a_second_run_wants_force(tmp_path, plain):
    arguments = (plain, "two", "--acres", "20 acre", "--number", "1", "--runs", "2", "--out", str(tmp_path / "out"))
    assert call("fragmentation", *arguments).exception is None
    with pytest.raises(InputError, match="--force"):
        call("fragmentation", *arguments)


def test_runs_are_written_as_parquet(tmp_path, plain):
    file = tmp_path / "days.parquet"
    arguments = (plain, "two", "--acres", "20 acre", "--number", "1,2", "--runs", "3", "--parquet", str(file))
    if importlib.util.find_spec("pyarrow") is None:
        with pytest.raises(InputError, match="pyarrow"):
            call("fragmentation", *arguments)
    else:
        call("fragmentation", *arguments)
        assert len(pd.read_parquet(file)) == 6


@pytest.mark.parametrize(
    ("name", "arguments", "said"),
    [
        ("size", ("--choose", PACKS, "--acres-per-day", "30"), "--acres-per-day"),
        ("size", ("--choose", PACKS, "--within", "4.5 days"), "--within"),
        ("size", ("--choose", "packs", "--within", "4 days"), "--choose"),
        ("size", ("--choose", PACKS), "allowed is one of --acres-per-day, --season-acres and --within"),
        ("size", ("--choose", PACKS, "--within", "4", "--share", "2"), "--share"),
        *(("season", ("--workable-days", days), "--workable-days") for days in ("0", "50..30", "x", "400", "nan")),
        ("season", ("--acres", "4000"), "--acres"),
        ("fragmentation", ("--number", "1,x"), "--number"),
        ("fragmentation", ("--uneven", "2"), "--uneven"),
        ("fragmentation", ("--latin", "0"), "--latin"),
        ("crossover", ("a", "b", "--sizes", "10,,x"), "--sizes"),
        ("crossover", ("a", "b", "--distance", "3 kg"), "--distance"),
        ("sensitivity", ("--target", "2"), "--target"),
    ],
)
def test_what_cannot_be_read_is_refused_by_its_option(name, arguments, said):
    with pytest.raises(InputError, match=said):
        call(name, str(PRICED), *arguments)
