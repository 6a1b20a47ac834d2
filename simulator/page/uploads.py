"""Files that are dropped on the page: parsed first in a process of their own, with little time and memory."""

from __future__ import annotations

import multiprocessing
import tempfile
from multiprocessing.connection import Connection
from pathlib import Path

from simulator.errors import InputError, Problem

CSV = ".csv"
MOST_S = 30.0
MOST_MEMORY_BYTES = 3_000_000_000


def check_boundaries(content: bytes, name: str, folder: Path) -> None:
    """Refuse a file that the scenario's reader of boundaries refuses, or that takes it too long or too much memory."""
    suffix = Path(name).suffix.lower()
    with tempfile.TemporaryDirectory(dir=folder) as temporary:
        path = Path(temporary) / f"dropped{suffix}"
        path.write_bytes(content)
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe(duplex=False)
        process = context.Process(target=_read, args=(there, str(path)), daemon=True)
        process.start()
        there.close()
        try:
            said = here.recv() if here.poll(MOST_S) else [("", f"takes more than {MOST_S:.0f} s to read")]
        except EOFError:
            said = [("", "cannot be read: it takes too much memory or time, or is damaged")]
        finally:
            process.kill()
            process.join()
    if said:
        raise InputError([Problem(where, message.replace(str(path), name), name) for where, message in said])


def _read(link: Connection, path: str) -> None:
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CPU, (int(MOST_S), int(MOST_S)))
    except (ImportError, ValueError, OSError):
        pass
    from simulator.scenario.boundaries import read_boundaries
    from simulator.scenario.field_list import fields_given
    from simulator.scenario.files import BOUNDARIES, ScenarioFolder

    try:
        if path.endswith(CSV):
            fields_given(path)
        else:
            read_boundaries(ScenarioFolder(Path(path).parent).file(Path(path).name, BOUNDARIES))
    except InputError as error:
        link.send([(problem.where, problem.message) for problem in error.problems])
    except MemoryError:
        link.send([("", "takes too much memory to read")])
    else:
        link.send([])
