"""Named random streams: common random numbers for every replication, whatever runs it.

A draw depends on (seed, replication, work day, name of the stream, its place in the stream) and on nothing else: not on
which streams were made before, in which order days were simulated, or in which process. So a third pack or a faster
charger leaves every other draw of the day as it was, sets that are compared meet the same weather and the same bad
mornings on the same date however far each has come, and differences between equipment sets are sharp.

The numbers come from the counter-based generator Philox-4x64 (Salmon, Moraes, Dror & Shaw 2011, "Parallel random
numbers: as easy as 1, 2, 3"), whose key is a hash of seed and name and whose counter holds the place; a value is made
by inverse transform. For speed one call makes the draws of a stream for a *block* of consecutive replications, so
replications are best handed to workers in runs of `BLOCK_RUNS`.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from functools import lru_cache, partial
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from simulator.scenario.distributions import Distribution

Draws = Callable[[], float]
"""Calling it returns the next value of a stream, a plain float."""

BLOCK_RUNS = 64
"""Consecutive replications whose draws are made together. Part of what a draw is: changing it changes results."""

FIRST_DRAWS = 16
"""Draws a day made at first; each later segment doubles. Part of what a draw is: changing it changes results."""

_SHARED_SEGMENTS = 5
"""Segments (16, 32, 64, 128, 256 draws) made for a whole block; a rare longer stream goes on for its own day alone."""

_SHARED_WORK_DAYS = 16
"""Work days of a run whose draws are made for a whole block; on later ones a run makes its own alone."""

_OVERFLOW_DRAWS = 1024
_SHARED, _OVERFLOW = 0, 1


def _check_count(name: str, value: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or not 0 <= value < 2**63:
        raise ValueError(f"got {name} = {value!r}; allowed is a whole number from 0 to 2^63 - 1")
    return int(value)


def _uniforms(key: int, counter: tuple[int, int, int], count: int, skip: int = 0) -> NDArray[np.float64]:
    """Return numbers in the open interval (0, 1), 52 bits and a half; the first ``skip``, a multiple of 4, left out."""
    segment, place, kind = counter
    generator = np.random.Philox(counter=np.array([skip // 4, segment, place, kind], dtype=np.uint64), key=key)
    bits: NDArray[np.uint64] = generator.random_raw(count)
    return ((bits >> np.uint64(12)).astype(np.float64) + 0.5) * 2.0**-52


class _BlockStream:
    """One named stream with one distribution, for all replications of a block."""

    __slots__ = ("_block", "_distribution", "_key", "_segments", "_shared")

    def __init__(self, key: int, block: int, distribution: Distribution | None, shared: bool) -> None:
        self._key = key
        self._block = block
        self._distribution = distribution
        self._segments: list[list[list[float]]] = []
        self._shared = shared

    def draws(self, row: int) -> Draws:
        """Return one day's draws from the beginning."""
        # built-in iterators throughout: a draw then costs no Python frame
        rest = itertools.chain.from_iterable(self._later_segments(row))
        return itertools.chain(self._segment(0, row), rest).__next__

    def _segment(self, number: int, row: int) -> list[float]:
        """Return one day's draws of a segment, making those of the whole block the first time where they are shared."""
        draws = FIRST_DRAWS << number
        if not self._shared:
            return self._values(_uniforms(self._key, (number, self._block, _SHARED), draws, skip=row * draws))
        while len(self._segments) <= number:
            made, draws = len(self._segments), FIRST_DRAWS << len(self._segments)
            values = self._values(_uniforms(self._key, (made, self._block, _SHARED), BLOCK_RUNS * draws))
            self._segments.append([values[begin : begin + draws] for begin in range(0, len(values), draws)])
        return self._segments[number][row]

    def _later_segments(self, row: int) -> Iterator[list[float]]:
        """Yield one day's segments after the first, without end."""
        for number in range(1, _SHARED_SEGMENTS):
            yield self._segment(number, row)
        replication = self._block * BLOCK_RUNS + row
        for number in itertools.count():
            yield self._values(_uniforms(self._key, (number, replication, _OVERFLOW), _OVERFLOW_DRAWS))

    def _values(self, u: NDArray[np.float64]) -> list[float]:
        values: list[float] = (u if self._distribution is None else self._distribution.ppf(u)).tolist()
        return values


class StreamBank:
    """All streams of an experiment.

    Those of one block of replications are kept ready, at most ``memory_streams`` of them (about 35 kB each and more for
    long ones): runs come in order, so a block that has passed is not asked for again. What is kept changes no draw.
    """

    def __init__(self, seed: int, memory_streams: int = 2048) -> None:
        self.seed = _check_count("seed", seed)
        self._block = 0
        self._shared = lru_cache(memory_streams)(partial(_BlockStream, shared=True))

    def day(self, replication: int, work_day: int = 0) -> DayStreams:
        """Return the streams of one work day of a replication, both from 0, at their beginning."""
        day = DayStreams(self, _check_count("replication", replication), _check_count("work_day", work_day))
        if day.block != self._block:
            self._block = day.block
            self._shared.cache_clear()
        return day

    def stream(self, block: int, work_day: int, name: str, distribution: Distribution | None) -> _BlockStream:
        """Return a stream for a block of replications and a work day."""
        key = _key(self.seed, f"{name}\0{work_day}" if work_day else name)
        if work_day >= _SHARED_WORK_DAYS:
            return _BlockStream(key, block, distribution, shared=False)
        return self._shared(key, block, distribution)


@lru_cache(maxsize=65536)
def _key(seed: int, name: str) -> int:
    # the seed holds no NUL, so no two pairs of seed and name make the same text
    return int.from_bytes(blake2b(f"{seed}\0{name}".encode(), digest_size=16).digest(), "little")


class DayStreams:
    """The streams of one work day of a replication; asking twice for a name gives the same, going on where it was."""

    def __init__(self, bank: StreamBank, replication: int, work_day: int) -> None:
        self._bank = bank
        self.block, self._row = divmod(replication, BLOCK_RUNS)
        self._work_day = work_day
        self._made: dict[str, tuple[Distribution | None, Draws]] = {}

    def draws(self, name: str, distribution: Distribution) -> Draws:
        """Return the stream of a purpose and entity, such as ``"fill_time/main/aircraft-1"``."""
        return self._get(name, distribution)

    def uniforms(self, name: str) -> Draws:
        """Return the stream of a name as numbers in the open interval (0, 1), for choices and events."""
        return self._get(name, None)

    def _get(self, name: str, distribution: Distribution | None) -> Draws:
        made = self._made.get(name)
        if made is None:
            if distribution is not None and distribution.is_constant:
                draws: Draws = itertools.repeat(distribution.mean()).__next__
            else:
                draws = self._bank.stream(self.block, self._work_day, name, distribution).draws(self._row)
            made = self._made[name] = (distribution, draws)
        elif made[0] is not distribution and made[0] != distribution:
            raise ValueError(f"stream {name!r}: got {distribution!r}; the day already draws {made[0]!r} from it")
        return made[1]
