"""Studies and quotes: the very commands of the command line, run beside the page, and how far they are."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from simulator.errors import InputError, Problem

MOST_RUNNING = 2
_SHOWN_LINES = 8


@dataclass
class Command:
    """A command that runs or ran: its words, its last line of progress, and how it ended (None: it runs)."""

    title: str
    arguments: Sequence[str]
    target: Path
    said: str = "waiting"
    code: int | None = None
    lines: list[str] = field(default_factory=list)
    process: asyncio.subprocess.Process | None = None

    @property
    def words(self) -> str:
        """What would be typed for the same."""
        import shlex

        return shlex.join(["acreday", *self.arguments])


class Commands:
    """Commands of one server; at most some run at a time."""

    def __init__(self) -> None:
        self.all: dict[str, list[Command]] = {}
        self._turn = asyncio.Semaphore(MOST_RUNNING)
        self._tasks: set[asyncio.Task[None]] = set()
        self.number = 0

    def begin(self, key: str, command: Command, home: Path) -> None:
        """Begin a command in the background."""
        self.all.setdefault(key, []).append(command)
        task = asyncio.get_running_loop().create_task(self._run(command, home))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        self.number += 1

    async def _run(self, command: Command, home: Path) -> None:
        async with self._turn:
            if command.code is None:
                await self.run(command, home)

    async def run(self, command: Command, home: Path) -> None:
        """Run a command to its end."""
        try:
            process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "simulator.cli", *command.arguments,
                cwd=home, stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.DEVNULL,
                stderr=asyncio.subprocess.PIPE,
            )  # fmt: skip
        except OSError as error:
            command.said, command.code = f"cannot be started: {error.strerror or error}", 1
            return
        command.process, command.said = process, "begun"
        if process.stderr is not None:
            async for line in process.stderr:
                text = line.decode(errors="replace").strip()
                if text:
                    command.said = text
                    command.lines = [*command.lines, text][-_SHOWN_LINES:]
                    self.number += 1
        command.code = await process.wait()
        self.number += 1

    def stop(self, key: str, place: int) -> None:
        """Stop a command."""
        command = self.all[key][place]
        if command.code is None:
            command.code, command.said = -1, "stopped"
            if command.process is not None:
                with suppress(ProcessLookupError):
                    command.process.kill()
        self.number += 1

    def close(self) -> None:
        """End every command."""
        for key, found in self.all.items():
            for place in range(len(found)):
                self.stop(key, place)


def refused(command: Command) -> InputError:
    """Return what a command refused, in its own words."""
    lines = [line.removeprefix("acreday: ") for line in command.lines] or ["ended without a word"]
    return InputError([Problem("", line) for line in lines])
