"""The answers of the scenarios that are open: one simulating process each, its messages, and what became of it."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from simulator.page.check import Checked
from simulator.page.worker import Task, serve

_SPAWN = multiprocessing.get_context("spawn")
MOST_AT_ONCE = 3
"""Scenarios simulated at the same time; the one that was begun first is stopped for another."""
MOST_KEPT = 40
"""Results kept, so that undoing shows the old answer at once."""


@dataclass
class Answer:
    """What is known of a scenario's answer."""

    phase: str = "nothing"
    """``nothing``, ``running``, ``writing``, ``ready``, ``stopped``, ``refused`` or ``broken``."""
    digest: str = ""
    """Of the scenario that is or was simulated."""
    document: dict[str, Any] | None = None
    document_of: str = ""
    """Digest that the document belongs to: another than ``digest`` while its numbers are old."""
    final: bool = False
    stage: str = ""
    done: int = 0
    total: int = 0
    said: tuple[str, ...] = ()
    number: int = 0
    """Grows with every change."""

    @property
    def old(self) -> bool:
        """Whether the numbers are those of before the last change."""
        return self.document is not None and self.document_of != self.digest


@dataclass
class _Work:
    process: BaseProcess
    link: Connection
    begun_s: float = field(default_factory=time.monotonic)


class Live:
    """Simulates scenarios in processes of their own; nothing that happens there reaches the page but messages."""

    def __init__(self, folder: Path, workers: int | None = None, runs: int | None = None) -> None:
        self.folder, self.runs = folder, runs
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        self.workers = workers or max(1, cores - 1)
        self._answers: dict[str, Answer] = {}
        self._work: dict[str, _Work] = {}
        self._known: dict[str, dict[str, Any]] = {}
        self._lock = threading.RLock()
        self._spare: _Work | None = None
        self._closed = False
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True, exist_ok=True)

    def warm(self) -> None:
        """Have a process ready, so that the first numbers come soon."""
        with self._lock:
            if self._spare is None and not self._closed:
                here, there = _SPAWN.Pipe()
                process = _SPAWN.Process(target=serve, args=(there,), daemon=False)
                process.start()
                there.close()
                self._spare = _Work(process, here)

    def answer(self, key: str) -> Answer:
        """Return what is known of a scenario."""
        with self._lock:
            return self._answers.setdefault(key, Answer())

    def result_folder(self, key: str) -> Path | None:
        """Return the result folder of a scenario as it stands; None while it is not done."""
        answer = self.answer(key)
        return self.folder / answer.digest if answer.phase == "ready" else None

    def begin(self, key: str, checked: Checked, text: str, file: Path, again: bool = False) -> None:
        """Simulate a scenario as it stands now, unless that is being done or was done; other work on it ends."""
        with self._lock:
            answer, digest = self.answer(key), checked.digest
            same = answer.digest == digest and answer.phase not in ("nothing", "refused")
            if same and not (again and answer.phase in ("stopped", "broken")):
                return
            self._end(key)
            answer.digest, answer.stage, answer.done, answer.total, answer.said = digest, "", 0, 0, ()
            if digest in self._known and (self.folder / digest / "manifest.json").is_file():
                answer.document, answer.document_of, answer.final = self._known[digest], digest, True
                self._tell(answer, "ready")
                return
            answer.final = False
            if not digest:
                answer.said = tuple(map(str, checked.problems))
                self._tell(answer, "refused")
                return
            while len(self._work) >= MOST_AT_ONCE:
                self.stop(min(self._work, key=lambda one: self._work[one].begun_s))
            self.warm()
            work, self._spare = self._spare, None
            if work is None:
                return
            self._work[key] = work
            work.begun_s = time.monotonic()
            self._tell(answer, "running")
            task = Task(text, file, self.folder / digest, self.workers, self.runs)
            threading.Thread(target=self._follow, args=(key, digest, work, task), daemon=True).start()

    def stop(self, key: str) -> None:
        """Stop simulating a scenario; what was found so far stays, and is gone on from."""
        with self._lock:
            if key in self._work:
                self._end(key)
                self._tell(self.answer(key), "stopped")

    def forget(self, key: str) -> None:
        """Forget a scenario that is there no more under that key."""
        with self._lock:
            self._end(key)
            self._answers.pop(key, None)

    def close(self) -> None:
        """End every process."""
        with self._lock:
            self._closed = True
            for key in list(self._work):
                self._end(key)
            if self._spare is not None:
                _kill(self._spare)
        shutil.rmtree(self.folder, ignore_errors=True)

    def pid(self, key: str) -> int | None:
        """Return the process that simulates a scenario."""
        work = self._work.get(key)
        return work.process.pid if work else None

    def _end(self, key: str) -> None:
        work = self._work.pop(key, None)
        if work is not None:
            _kill(work)

    def _tell(self, answer: Answer, phase: str) -> None:
        answer.phase = phase
        answer.number += 1

    def _follow(self, key: str, digest: str, work: _Work, task: Task) -> None:
        """Take the messages of a process until it ends."""
        with suppress(OSError, ValueError):
            work.link.send(task)
        # the next one is made ready while this one works
        self.warm()
        while True:
            try:
                message = work.link.recv()
            except (EOFError, OSError, ValueError):
                message = ("gone",)
            with self._lock:
                if self._work.get(key) is not work:
                    return
                self._take(key, self.answer(key), digest, message)
                if message[0] in ("gone", "ready", "refused"):
                    self._work.pop(key, None)
                    _kill(work, 5.0)
                    return

    def _take(self, key: str, answer: Answer, digest: str, message: tuple[Any, ...]) -> None:
        kind = message[0]
        if kind == "progress":
            answer.stage, answer.done, answer.total = message[1:]
            answer.number += 1
        elif kind in ("so far", "done"):
            answer.document, answer.document_of, answer.final = message[1], digest, kind == "done"
            self._tell(answer, "writing" if kind == "done" else "running")
            if kind == "done":
                self._known[digest] = message[1]
                for old in list(self._known)[:-MOST_KEPT]:
                    shutil.rmtree(self.folder / old, ignore_errors=True)
                    del self._known[old]
        elif kind == "refused":
            answer.said = tuple(message[1])
            self._tell(answer, "refused")
        elif kind == "ready":
            self._tell(answer, "ready")
        else:
            answer.said = ("The process that simulated this has ended by itself. Nothing of yours is lost.",)
            self._tell(answer, "broken")


def _kill(work: _Work, wait_s: float = 0.0) -> None:
    """End a process, and its own with it: they leave when they see it gone."""
    if wait_s:
        work.process.join(wait_s)
    with suppress(OSError, AttributeError):
        work.process.kill()
    with suppress(OSError):
        work.link.close()
    threading.Thread(target=work.process.join, daemon=True).start()
