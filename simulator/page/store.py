"""The scenarios of a folder, by customer: read, written whole, never over what somebody else wrote meanwhile."""

from __future__ import annotations

import datetime
import hashlib
import re
import shutil
import threading
from dataclasses import dataclass
from pathlib import Path

from simulator.errors import InputError
from simulator.report.writing import plain, write_atomically
from simulator.scenario.files import decoded, read_ordinary_file
from simulator.scenario.loading import LARGEST_FILE_BYTES

BIN = "bin"
"""Folder of what was removed, and of earlier versions."""
WORK = ".acreday"
"""Folder of results that the page is working on; emptied at every start."""
PRICES = "prices.toml"
"""The dealer's price list: no scenario."""
MOST_EARLIER = 200
MOST_SCENARIOS = 2000
_NAME = re.compile(r"[^\W_][\w .,()&'+-]{0,59}")
_TAKEN = {BIN, "reports"}


class ChangedError(Exception):
    """A scenario is not what it was when it was read: it was changed on the disk or in another tab."""


@dataclass(frozen=True)
class Text:
    """A scenario file as it stands."""

    content: str
    version: str


@dataclass(frozen=True)
class Entry:
    """A scenario in the list: where it is, whose it is, and when it was last changed."""

    key: str
    customer: str
    name: str
    changed: str


class Store:
    """The scenarios of a folder and of its sub-folders, one a customer; a key is ``name`` or ``customer/name``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self._lock = threading.RLock()

    def entries(self) -> list[Entry]:
        """Return every scenario, by customer and name."""
        found = []
        customers = [one for one in sorted(self.folder.iterdir()) if self._is_customer(one)]
        for home in [self.folder, *customers]:
            customer = "" if home == self.folder else home.name
            for path in sorted(home.glob("*.toml"))[:MOST_SCENARIOS]:
                if path.name != PRICES and not path.is_symlink() and path.is_file():
                    day = datetime.datetime.fromtimestamp(path.stat().st_mtime, datetime.UTC).astimezone()
                    key = f"{customer}/{path.stem}".lstrip("/")
                    found.append(Entry(key, customer, path.stem, f"{day:%Y-%m-%d %H:%M}"))
        return found

    def _is_customer(self, path: Path) -> bool:
        hidden = path.name.startswith(".") or path.name in _TAKEN
        return path.is_dir() and not path.is_symlink() and not hidden and (path / "manifest.json").exists() is False

    def path(self, key: str, suffix: str = ".toml") -> Path:
        """Return the file of a key; no key leads out of the folder, not even through a link."""
        parts = key.split("/")
        if not 1 <= len(parts) <= 2 or any(part.startswith(".") or not part.isprintable() for part in parts):
            raise InputError.single(f"got {plain(key, 80)!r}, which is no scenario of this folder")
        path = self.folder.joinpath(*parts[:-1], f"{parts[-1]}{suffix}")
        if len(path.name) > 200 or parts[0] in _TAKEN or path.resolve() != path:
            raise InputError.single(f"got {plain(key, 80)!r}, which is no scenario of this folder")
        return path

    def read(self, key: str) -> Text:
        """Return a scenario as it stands on the disk."""
        path = self.path(key)
        if not path.is_file():
            raise InputError.single("there is no such scenario; it may have been renamed or removed", file=path.name)
        return self._read(path)

    def _read(self, path: Path) -> Text:
        content = read_ordinary_file(path, LARGEST_FILE_BYTES, "a scenario file (TOML)")
        try:
            return Text(decoded(content), hashlib.sha256(content).hexdigest())
        except UnicodeDecodeError as error:
            raise InputError.single("is not UTF-8 text", file=path.name) from error

    def write(self, key: str, content: str, version: str) -> str:
        """Write a scenario whole in place of the version that was read, which is kept; return the new version."""
        with self._lock:
            present = self.read(key)
            if present.version != version:
                raise ChangedError
            if content == present.content:
                return version
            earlier = self._earlier(key)
            earlier.mkdir(parents=True, exist_ok=True)
            kept = sorted(earlier.glob("*.toml"))
            number = int(kept[-1].stem) + 1 if kept else 1
            write_atomically(earlier / f"{number:06d}.toml", present.content.encode())
            for old in kept[: max(0, len(kept) + 1 - MOST_EARLIER)]:
                old.unlink(missing_ok=True)
            write_atomically(self.path(key), content.encode())
            return self.read(key).version

    def undo(self, key: str, version: str) -> str:
        """Put the version before this one back; return it."""
        with self._lock:
            if self.read(key).version != version:
                raise ChangedError
            kept = sorted(self._earlier(key).glob("*.toml"))
            if not kept:
                raise InputError.single("there is nothing to undo: this is the first version that the page knows")
            write_atomically(self.path(key), self._read(kept[-1]).content.encode())
            kept[-1].unlink()
            return self.read(key).version

    def undoable(self, key: str) -> bool:
        """Tell whether there is an earlier version."""
        return any(self._earlier(key).glob("*.toml"))

    def _earlier(self, key: str) -> Path:
        return self._inside(self.folder / BIN / "earlier" / key.replace("/", " - "))

    def _inside(self, path: Path) -> Path:
        """Return a path of the bin that no link leads out of the folder."""
        if path.resolve() != path:
            raise InputError.single(f"the folder {BIN} leads elsewhere; nothing is written there", file=BIN)
        return path

    def create(self, customer: str, name: str, content: str) -> str:
        """Write a new scenario under a name that is free; return its key."""
        with self._lock:
            key = self._free(customer, name)
            path = self.path(key)
            path.parent.mkdir(exist_ok=True)
            write_atomically(path, content.encode())
            return key

    def _free(self, customer: str, name: str) -> str:
        customer, name = " ".join(customer.split()), " ".join(name.split())
        for where, text in (("customer", customer), ("name", name)):
            allowed = _NAME.fullmatch(text) is not None and not text.endswith((".", " ")) and text not in _TAKEN
            if not allowed and (text or where == "name"):
                message = f"got {plain(text, 60)!r}; allowed are up to 60 letters, digits, spaces and . , ( ) & ' + -"
                raise InputError.single(f"{message}, a letter or digit first", where)
        if not customer and f"{name}.toml" == PRICES:
            raise InputError.single("that is the name of the price list; give another", "name")
        stem, number = name, 1
        while self.path(f"{customer}/{stem}".lstrip("/")).exists():
            number += 1
            stem = f"{name} {number}"
        return f"{customer}/{stem}".lstrip("/")

    def copy(self, key: str) -> str:
        """Copy a scenario under another name; return its key."""
        with self._lock:
            content = self.read(key).content
            customer, _, name = key.rpartition("/")
            return self.create(customer, name[:50], content)

    def rename(self, key: str, customer: str, name: str) -> str:
        """Give a scenario another name or customer; the files that it names are copied along; return its key."""
        with self._lock:
            path, (old, _, stem) = self.path(key), key.rpartition("/")
            if (old, stem) == (" ".join(customer.split()), " ".join(name.split())):
                return key
            new = self._free(customer, name)
            target = self.path(new)
            self.read(key)
            target.parent.mkdir(exist_ok=True)
            if target.parent != path.parent:
                self._bring_files(path, target.parent)
            path.rename(target)
            if self._earlier(key).is_dir():
                self._earlier(new).parent.mkdir(parents=True, exist_ok=True)
                self._earlier(key).replace(self._earlier(new))
            return new

    def _bring_files(self, path: Path, home: Path) -> None:
        content = self._read(path).content
        for beside in path.parent.iterdir():
            named = beside.is_file() and not beside.is_symlink() and beside.suffix != ".toml"
            if named and beside.name in content and not (home / beside.name).exists():
                shutil.copyfile(beside, home / beside.name)

    def remove(self, key: str) -> str:
        """Move a scenario to the bin folder; its key is then none."""
        with self._lock:
            self.read(key)
            stamp = datetime.datetime.now(datetime.UTC).astimezone()
            target = self._inside(self.folder / BIN) / f"{key.replace('/', ' - ')} {stamp:%Y-%m-%d %H.%M.%S.%f}.toml"
            target.parent.mkdir(exist_ok=True)
            self.path(key).rename(target)
            return ""

    def keep_file(self, key: str, name: str, content: bytes) -> str:
        """Keep a file beside a scenario, under its own name where that is free or holds the same; return the name."""
        with self._lock:
            stem, suffix = Path(name).stem, Path(name).suffix.lower()
            stem = re.sub(r"[^\w-]+", "_", stem)[:60].strip("_") or "fields"
            home, number = self.path(key).parent, 1
            while (path := home / f"{stem}{'' if number == 1 else f'_{number}'}{suffix}").exists():
                if path.is_file() and not path.is_symlink() and path.read_bytes() == content:
                    return path.name
                number += 1
            write_atomically(path, content)
            return path.name

    def prices(self) -> str:
        """Return the dealer's price list; empty when there is none."""
        path = self.folder / PRICES
        return self._read(path).content if path.is_file() and not path.is_symlink() else ""

    def write_prices(self, content: str) -> None:
        """Write the price list."""
        if (self.folder / PRICES).is_symlink():
            raise InputError.single("is a link; nothing is written where it leads", file=PRICES)
        write_atomically(self.folder / PRICES, content.encode())
