"""The code of the benchmark: every version of the bare loop flies the same day, and each table is whole."""

import sys

import answer
import bench
import memory
import pytest
from bare_loop import draws, handed_over, idiomatic
from other_libraries import in_salabim, in_usim

from simulator.scenario.toml_text import toml_document


@pytest.mark.parametrize("seed", range(5))
def test_every_library_flies_the_same_day(seed):
    times = draws(seed)
    sorties, _ = idiomatic(times)
    assert sorties > 100
    assert [handed_over(times)[0], in_salabim(times), in_usim(times)] == [sorties] * 3


def test_side_by_side_in_one_run(capsys):
    elsewhere = bench.Elsewhere(sys.executable)
    try:
        ratios = bench.against_bare_loops({"here": bench.model_s, "elsewhere": elsewhere}, days=1, tries=1)
    finally:
        elsewhere.close()
    assert ratios["bare loop in SimPy, idiomatic"] == 1.0
    assert len(ratios) == 8
    assert all(ratio > 0.0 for ratio in ratios.values())
    lines = capsys.readouterr().out.strip().splitlines()
    assert [line.split(" | ")[0].removeprefix("| ") for line in lines[2:]] == list(ratios)


def test_growth_with_size(capsys):
    bench.by_size({"here": bench.model_s}, 1, 1, bench.BY_FIELDS[:2])
    lines = capsys.readouterr().out.strip().splitlines()
    assert [line.count("|") for line in lines] == [10, 10, 10, 10]
    assert [line.split(" | ")[3] for line in lines[2:]] == ["1", "20"]


def test_the_time_to_an_answer_is_split(tmp_path):
    (tmp_path / "short.toml").write_text(toml_document(memory.SCENARIO))
    command = ("run", tmp_path / "short.toml", "--runs", 2, "--one-more-runs", 0, "--out", tmp_path / "out")
    parts, moments_s, peaks = answer.measure((*command, "--workers", 1))
    assert list(parts) == [answer.REST, *answer.PARTS]
    assert all(parts[part] > 0.0 for part in ("plan", "rehearse", "simulate", "draw and write"))
    assert (0.0, 0.0) < tuple(moments_s[answer.ANSWER]) <= tuple(moments_s[answer.END])
    assert min(peaks) >= 0.0
