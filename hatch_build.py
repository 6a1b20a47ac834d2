"""Around the hook that compiles the model: how the C compiler is called, and a clean source tree afterwards."""

from __future__ import annotations

import os
import sysconfig
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class Surroundings(BuildHookInterface[Any]):
    """What comes before and after compiling."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Forbid the C compiler to fuse a product into a sum, which changes last digits, and to stop at a warning."""
        if os.name == "posix":
            flags = os.environ.get("CFLAGS", sysconfig.get_config_var("CFLAGS") or "")
            os.environ["CFLAGS"] = f"{flags} -ffp-contract=off -w"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove the libraries, which the wheel holds now: left beside the sources they would be run instead."""
        for pattern in ("*__mypyc*", "simulator/**/*"):
            for path in Path(self.root).glob(pattern):
                if path.suffix in {".so", ".pyd"}:
                    path.unlink()
