"""Pieces of work: every day once, cut where draws are made together, as long as the cost says."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.analysis.summary import columns
from simulator.experiment.pieces import MOST_BLOCKS, PIECE_S, Pieces
from simulator.experiment.tables import Tables
from simulator.scenario.streams import BLOCK_RUNS


def add(tables, plan, first, last):
    if last > first:
        tables.add(plan, first, np.zeros((last - first, len(columns()))))


@given(
    plans=st.integers(1, 6),
    first=st.integers(0, 200),
    length=st.integers(0, 700),
    known=st.lists(st.tuples(st.integers(0, 5), st.integers(0, 800), st.integers(0, 100)), max_size=5),
    cost_ms=st.floats(0.05, 3000.0),
    learnt=st.booleans(),
    workers=st.integers(1, 9),
)
def test_every_missing_run_once_and_blocks_are_not_crossed(plans, first, length, known, cost_ms, learnt, workers):
    tables = Tables(plans)
    missing = {(plan, day) for plan in range(plans) for day in range(first, first + length)}
    for plan, start, count in known:
        if plan < plans:
            add(tables, plan, start, start + count)
            missing -= {(plan, day) for day in range(start, start + count)}
    cost_s = {plan: cost_ms * 1e-3 * (plan + 1) for plan in range(plans)} if learnt else {}
    pieces = Pieces(tables, range(plans), first, first + length, workers, cost_s)
    seen = Counter()
    for piece in pieces:
        assert piece.runs == len(piece.plans) * (piece.last - piece.first) > 0
        seen.update((plan, day) for plan in piece.plans for day in range(piece.first, piece.last))
        within = piece.first // BLOCK_RUNS == (piece.last - 1) // BLOCK_RUNS
        whole = piece.first % BLOCK_RUNS == 0 and piece.last - piece.first <= MOST_BLOCKS * BLOCK_RUNS
        assert within or whole
        pieces.learn(piece, [cost_ms * 1e-3 * (plan + 1) * (piece.last - piece.first) for plan in piece.plans])
    assert set(seen) == missing
    assert set(seen.values()) <= {1}


@pytest.mark.parametrize("cost_ms", [0.2, 1.0, 5.0, 40.0, 400.0])
def test_pieces_are_as_long_as_the_cost_says(cost_ms):
    cost_s = {0: cost_ms * 1e-3, 1: cost_ms * 1e-3}
    pieces = list(Pieces(Tables(2), (0, 1), 0, 64_000, 2, cost_s))
    early = pieces[: len(pieces) // 2]
    taken = [piece.runs * cost_ms * 1e-3 for piece in early]
    assert max(taken) <= max(PIECE_S, 2 * cost_ms * 1e-3) + 1e-9
    # pieces end at blocks, so the last of a block is shorter
    assert np.mean(taken) > 0.4 * min(PIECE_S, 2 * MOST_BLOCKS * BLOCK_RUNS * cost_ms * 1e-3)


def test_towards_the_end_pieces_get_smaller():
    """Otherwise one worker would still be busy with a long piece when the others have finished."""
    pieces = list(Pieces(Tables(1), (0,), 0, 1024, 2, {0: 0.004}))
    assert pieces[0].runs > 5 * pieces[-1].runs
    assert all(piece.runs <= 16 for piece in pieces if piece.first >= 1000)


def test_dear_plans_are_split_and_cheap_ones_kept_together():
    dear = next(iter(Pieces(Tables(8), range(8), 0, 640, 2, dict.fromkeys(range(8), 0.2))))
    cheap = next(iter(Pieces(Tables(8), range(8), 0, 640, 2, dict.fromkeys(range(8), 0.001))))
    assert 2 <= len(dear.plans) <= 4
    assert dear.last - dear.first == 1
    assert cheap.plans == tuple(range(8))
    assert cheap.last - cheap.first > 20


def test_first_pieces_are_small_and_teach_the_cost():
    cost_s = {}
    pieces = Pieces(Tables(1), (0,), 0, 640, 2, cost_s)
    queue = iter(pieces)
    first = next(queue)
    assert first.runs <= 8
    pieces.learn(first, [0.002 * first.runs])
    assert cost_s == {0: pytest.approx(0.002)}
    pieces.learn(first, [0.004 * first.runs])
    assert cost_s == {0: pytest.approx(0.003)}
    assert [next(queue).runs for _ in range(2)][1] > 20
