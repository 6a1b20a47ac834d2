"""Studies and quotes: the very commands of the command line, run beside the page, and how far they are."""

from __future__ import annotations

import shlex
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from simulator.errors import InputError, Problem

MOST_RUNNING = 2
_SHOWN_LINES = 8


@dataclass
class Command:
    """A command that runs or ran, what it said last, and how it ended (None: it waits or runs)."""

    title: str
    arguments: Sequence[str]
    target: Path
    code: int | None = None
    lines: list[str] = field(default_factory=lambda: ["waiting"])
    process: subprocess.Popen[str] | None = None

    @property
    def words(self) -> str:
        """What would be typed for the same."""
        return shlex.join(["acreday", *self.arguments])


class Commands:
    """Commands of one server; only some run at a time."""

    def __init__(self) -> None:
        self.all: dict[str, list[Command]] = {}
        self._turn = threading.Semaphore(MOST_RUNNING)
        self.number = 0
        """Grows with everything that they say."""

    def begin(self, key: str, command: Command, home: Path) -> None:
        """Begin a command in the background."""
        self.all.setdefault(key, []).append(command)
        threading.Thread(target=self.run, args=(command, home), daemon=True).start()

    def run(self, command: Command, home: Path) -> None:
        """Run a command to its end, when it is its turn."""
        with self._turn:
            if command.code is None:
                nothing, arguments = subprocess.DEVNULL, [sys.executable, "-m", "simulator.cli", *command.arguments]
                command.process = subprocess.Popen(
                    arguments, cwd=home, stdin=nothing, stdout=nothing, stderr=subprocess.PIPE, text=True
                )
                for line in command.process.stderr or ():
                    command.lines = [*command.lines, line.strip()][-_SHOWN_LINES:]
                    self.number += 1
                ended = command.process.wait()
                command.code = ended if command.code is None else command.code
        self.number += 1

    def stop(self, key: str, place: int) -> None:
        """Stop a command."""
        for command in self.all.get(key, [])[place : place + 1]:
            if command.code is None:
                command.code, command.lines = -1, ["stopped"]
                if command.process is not None:
                    with suppress(OSError):
                        command.process.kill()
        self.number += 1

    def close(self) -> None:
        """End every command."""
        for key, found in self.all.items():
            for place in range(len(found)):
                self.stop(key, place)


def refused(command: Command) -> InputError:
    """Return what a command refused, in its own words."""
    return InputError([Problem("", line.removeprefix("acreday: ")) for line in command.lines if line != "waiting"])
