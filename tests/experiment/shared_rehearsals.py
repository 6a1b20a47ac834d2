"""What crews have learnt is kept in files while the tests run, so that no plan is rehearsed by several processes.

A rehearsal hangs on its plan alone and takes most of the time of a short run. Whatever process imports this shares.
"""

import os
import pickle
from pathlib import Path

from simulator.experiment import rehearsal

FOLDER = "ACREDAY_TEST_REHEARSALS"
"""Environment variable: the folder of one run of the tests."""


class Shared(dict):
    """Ways by the digest of a plan; a file each."""

    def __init__(self, folder):
        super().__init__()
        self._folder = Path(folder)

    def __contains__(self, key):
        if not super().__contains__(key) and (path := self._folder / key.hex()).exists():
            super().__setitem__(key, pickle.loads(path.read_bytes()))
        return super().__contains__(key)

    def __setitem__(self, key, ways):
        super().__setitem__(key, ways)
        part = self._folder / f"{key.hex()}.{os.getpid()}"
        part.write_bytes(pickle.dumps(ways))
        part.replace(self._folder / key.hex())


if folder := os.environ.get(FOLDER):
    rehearsal._KNOWN = Shared(folder)
