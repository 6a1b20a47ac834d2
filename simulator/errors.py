"""The project's exceptions: every problem a user can cause ends in one of these."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from simulator.clean import visible


@dataclass(frozen=True)
class Problem:
    """One thing wrong with what the user gave."""

    where: str
    message: str
    file: str = ""

    def __str__(self) -> str:
        """Return ``file: key: message`` on one line, with the empty parts left out."""
        return visible(": ".join(part for part in (self.file, self.where, self.message) if part), kept="")


class AcredayError(Exception):
    """Base of all errors that acreday raises on purpose."""


class InputError(AcredayError):
    """What the user gave cannot be used; carries every problem found."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))

    @classmethod
    def single(cls, message: str, where: str = "", file: str = "") -> InputError:
        """Make an error of one problem."""
        return cls([Problem(where, message, file)])


class Problems:
    """Collects what is wrong, of one file up to a number that a person will read; more are counted."""

    def __init__(self, file: str = "", most: int = 20) -> None:
        self.found: list[Problem] = []
        self._file, self._most, self._more = file, most, 0

    def add(self, where: str, message: str) -> None:
        """Note one."""
        if len(self.found) < self._most:
            self.found.append(Problem(where, message, self._file))
        else:
            self._more += 1

    @property
    def full(self) -> bool:
        """Whether more would only be counted."""
        return len(self.found) >= self._most

    @contextmanager
    def of(self, case: str = "", file: str = "") -> Iterator[None]:
        """Note what is wrong with a case meanwhile, put down to the case where it is named."""
        try:
            yield
        except InputError as error:
            for one in error.problems:
                message = f"{one.where}: {one.message}" if case and one.where else one.message
                self.found.append(Problem(case or one.where, message, file or one.file))

    def refuse(self) -> None:
        """Raise `InputError` where there are any."""
        if self._more:
            self.found.append(Problem("", f"and {self._more} more problems", self._file))
        if self.found:
            raise InputError(list(dict.fromkeys(self.found)))
