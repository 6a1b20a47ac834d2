"""Pieces of work: every run once, cut where draws are made together, as long as the cost says."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.analysis.summary import columns
from simulator.experiment.pieces import PIECE_S, TRIAL_RUNS, pieces
from simulator.experiment.tables import Tables
from simulator.scenario.streams import BLOCK_RUNS


def runs(piece):
    return piece.last - piece.first


@given(
    plans=st.integers(1, 6),
    first=st.integers(0, 200),
    length=st.integers(0, 700),
    known=st.lists(st.tuples(st.integers(0, 5), st.integers(0, 800), st.integers(1, 100)), max_size=5),
    cost_ms=st.floats(0.05, 3000.0),
    learnt=st.booleans(),
    workers=st.integers(1, 9),
)
def test_every_missing_run_once_and_blocks_are_not_crossed(plans, first, length, known, cost_ms, learnt, workers):
    tables = Tables(plans)
    missing = {(plan, day) for plan in range(plans) for day in range(first, first + length)}
    for plan, start, count in known:
        if plan < plans:
            tables.add(plan, start, np.zeros((count, len(columns()))))
            missing -= {(plan, day) for day in range(start, start + count)}
    costs_s = {plan: cost_ms * 1e-3 * (plan + 1) for plan in range(plans)}
    cost_s = dict(costs_s) if learnt else {}
    seen = Counter()
    for piece in pieces(tables, range(plans), first, first + length, workers, cost_s):
        assert runs(piece) > 0
        assert piece.first // BLOCK_RUNS == (piece.last - 1) // BLOCK_RUNS
        seen.update((piece.plan, day) for day in range(piece.first, piece.last))
        cost_s[piece.plan] = costs_s[piece.plan]
    assert set(seen) == missing
    assert set(seen.values()) <= {1}


@pytest.mark.parametrize("cost_ms", [1.0, 5.0, 40.0, 400.0])
def test_pieces_are_as_long_as_the_cost_says(cost_ms):
    made = list(pieces(Tables(2), (0, 1), 0, 6400, 2, {0: cost_ms * 1e-3, 1: cost_ms * 1e-3}))
    taken = [runs(piece) * cost_ms * 1e-3 for piece in made[: len(made) // 2]]
    assert max(taken) <= PIECE_S + 1e-9
    # pieces end at blocks, so the last of a block is shorter
    assert np.mean(taken) > 0.4 * min(PIECE_S, BLOCK_RUNS * cost_ms * 1e-3)


def test_towards_the_end_pieces_get_smaller():
    """Otherwise one worker would still be busy with a long piece when the others have finished."""
    made = list(pieces(Tables(1), (0,), 0, 1024, 2, {0: 0.008}))
    assert runs(made[0]) > 5 * runs(made[-1])
    assert all(runs(piece) <= 16 for piece in made if piece.first >= 1000)


def test_first_pieces_are_small_and_later_ones_as_the_cost_tells():
    cost_s = {}
    queue = pieces(Tables(1), (0,), 0, 640, 2, cost_s)
    assert runs(next(queue)) == TRIAL_RUNS
    cost_s[0] = 0.002
    assert runs(next(queue)) > 20
