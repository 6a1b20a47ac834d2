"""Which files of a folder acreday wrote: those whose names and checksums the folder's manifest lists."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from simulator.report.writing import plain, write_atomically

MANIFEST = "manifest.json"
"""The file that makes a folder a result folder."""
WRITTEN = "written"
"""Key of the manifest under which names of files stand with their SHA-256."""
LARGEST_MANIFEST_BYTES = 100_000_000
_SHOWN = 20


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def own_manifest(folder: Path) -> dict[str, Any] | None:
    """Return the manifest of a result folder; None when there is none, or it is another program's."""
    path = folder / MANIFEST
    try:
        if path.is_symlink() or not path.is_file() or path.stat().st_size > LARGEST_MANIFEST_BYTES:
            return None
        content = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return content if isinstance(content, dict) and "acreday_version" in content else None


def foreign_files(folder: Path) -> list[str]:
    """Return what lies in a folder and is not there as acreday wrote it; such things are never replaced."""
    manifest = own_manifest(folder)
    listed = _listed(manifest)
    found = []
    for path in sorted(folder.iterdir()):
        if path.name == MANIFEST and not path.is_symlink():
            found += [] if manifest is not None else [f"{MANIFEST} of another program"]
        elif path.is_symlink() or not path.is_file() or path.name not in listed:
            found.append(plain(path.name, 80))
        elif listed[path.name] != sha256_of(path):
            found.append(f"{plain(path.name, 80)} (changed since it was written)")
    return found


def names_text(names: list[str]) -> str:
    """Return names for a message: the first of many, and how many more."""
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more


def is_own(path: Path) -> bool:
    """Tell whether a file is as acreday wrote it, by the manifest that lies beside it."""
    listed = _listed(own_manifest(path.parent))
    return path.name in listed and not path.is_symlink() and path.is_file() and listed[path.name] == sha256_of(path)


def list_own(paths: Iterable[Path]) -> None:
    """Note files in the manifest beside them, where there is one, so that they may be replaced later."""
    for path in paths:
        manifest = own_manifest(path.parent)
        if manifest is not None:
            manifest[WRITTEN] = {**_listed(manifest), path.name: sha256_of(path)}
            write_atomically(path.parent / MANIFEST, json_bytes(manifest))


def json_bytes(document: Any) -> bytes:
    """Return a document as the JSON files of a result hold it."""
    return (json.dumps(document, indent=1, allow_nan=False) + "\n").encode()


def whose(folder: Path) -> str:
    """Say in a few words whose result lies in a folder: its scenario, when it was made, and by which command."""
    manifest = own_manifest(folder) or {}
    tables = manifest.get("resolved")
    first = next(iter(tables.values()), None) if isinstance(tables, dict) else None
    name = first.get("name") if isinstance(first, dict) else None
    said = f" of the scenario {plain(name, 80)!r}" if name else ""
    said += f", made {plain(manifest['created'], 25)}" if manifest.get("created") else ""
    return said + (f" by: {plain(manifest['command'], 200)}" if manifest.get("command") else "")


def _listed(manifest: dict[str, Any] | None) -> dict[str, str]:
    listed = (manifest or {}).get(WRITTEN)
    return listed if isinstance(listed, dict) else {}
