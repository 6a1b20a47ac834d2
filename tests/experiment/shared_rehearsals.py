"""What crews have learnt is kept in files while the tests run, so that no plan is rehearsed by several processes.

A rehearsal hangs on its plan alone and takes most of the time of a short run. Whatever process imports this shares.
"""

import os
import pickle
from pathlib import Path

from simulator.experiment import rehearsal

FULL, QUICK = rehearsal._HEATS, ((1, 0.96), (3, 0.999))
"""Days that ways are tried: as it is, and where it is no matter how well a crew has learnt."""
FOLDER = "ACREDAY_TEST_REHEARSALS"
"""Environment variable: the folder of one run of the tests."""


class Shared(dict):
    """Ways by the digest of a plan; a file each."""

    def __init__(self, folder):
        super().__init__()
        self._folder = Path(folder)

    def _path(self, key):
        return self._folder / f"{key.hex()}_{len(rehearsal._HEATS)}"

    def __contains__(self, key):
        path = self._path(key)
        if not super().__contains__(path) and path.exists():
            super().__setitem__(path, pickle.loads(path.read_bytes()))
        return super().__contains__(path)

    def __getitem__(self, key):
        return super().__getitem__(self._path(key))

    def __setitem__(self, key, ways):
        path = self._path(key)
        super().__setitem__(path, ways)
        part = path.with_suffix(f".{os.getpid()}")
        part.write_bytes(pickle.dumps(ways))
        part.replace(path)


if folder := os.environ.get(FOLDER):
    rehearsal._KNOWN = Shared(folder)
