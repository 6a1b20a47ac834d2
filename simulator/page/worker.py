"""The process that simulates one scenario: the same run as ``acreday run``, told about while it goes on."""

from __future__ import annotations

import os
import signal
import threading
import time
import tomllib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as wait_for_any
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from simulator.experiment.result import Result
    from simulator.scenario.loading import LoadedScenario

EVERY_S = 0.5
"""How often the result so far is sent."""


@dataclass(frozen=True)
class Task:
    """What is to be simulated, and where the result and the finished runs go."""

    text: str
    file: Path
    target: Path
    workers: int
    runs: int | None = None


def serve(link: Connection) -> None:
    """Wait for one task and do it; messages are pairs of a kind and what belongs to it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(OSError):
        os.nice(10)
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_with, args=(parent.sentinel,), daemon=True).start()
    import simulator.experiment.run
    import simulator.report.result_folder  # noqa: F401  imported before there is a task, so that it starts at once
    from simulator.errors import AcredayError, InputError

    with suppress(EOFError, BrokenPipeError):
        task = link.recv()
        try:
            _simulate(task, lambda *message: link.send(message))
        except InputError as error:
            link.send(("refused", [str(problem) for problem in error.problems]))
        except AcredayError as error:
            link.send(("refused", [f"fault of the model, please report it: {error}"]))


def _leave_with(sentinel: int) -> None:
    wait_for_any([sentinel])
    os._exit(1)


def _simulate(task: Task, send: Callable[..., None]) -> None:
    from simulator.experiment.run import Options, open_store, run
    from simulator.report.folder import ResultFolder
    from simulator.report.result_folder import result_document, write_result_folder
    from simulator.scenario.loading import load_scenario

    begun_s, last_s, told_s, whole = time.monotonic(), 0.0, 0.0, False
    loaded: LoadedScenario = load_scenario(tomllib.loads(task.text), folder=task.file.parent)
    loaded = replace(loaded, file=str(task.file))

    def report(stage: str, done: int, total: int) -> None:
        nonlocal told_s, whole
        now, whole = time.monotonic(), done >= total
        if now - told_s > 0.2 or done >= total:
            told_s = now
            send("progress", stage.partition("; ")[0], done, total)

    def watch(look: Callable[[], Result | None]) -> None:
        nonlocal last_s
        if (whole or time.monotonic() - last_s > EVERY_S) and (so_far := look()) is not None:
            send("so far", result_document(loaded, so_far))
            last_s = time.monotonic()

    store = open_store(loaded, task.target.with_suffix(".runs"))
    try:
        options = Options(runs=task.runs, workers=task.workers, store=store)
        result = run(loaded, options, report, watch)
        document: dict[str, Any] = result_document(loaded, result)
        send("done", document)
        with ResultFolder(task.target, force=True) as folder:
            write_result_folder(loaded, result, document, folder, begun_s, report, f"acreday run {task.file.name}")
        store.close(remove=True)
        send("ready")
    finally:
        store.close()
