"""The database file of an unfinished result: opened for one process alone, recognised as our own, mended, removed."""

from __future__ import annotations

import os
import sqlite3
import stat
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from simulator.errors import InputError
from simulator.experiment.disk import disk_problem, sync_folder

FORMAT = 3
APPLICATION = 0x41637265
"""Mark in the file's head that tells our databases from others (the letters "Acre")."""
_MAGIC = b"SQLite format 3\0"
_MARK_AT = 68
"""Where the mark stands in the head; source: the SQLite file format."""
DAMAGE = (sqlite3.Error, UnicodeDecodeError)
"""What reading a database may end in: the words of an error may themselves be damaged."""
_CACHE_KB = 4000
_LARGEST_BYTES = 100_000_000_000
_NO_ROOM = "free space there, then give the command again (with --resume where runs were finished), or another --out"
_IN_USE = "another command is writing into this folder; wait for it, or give another --out"
_HELD: set[Path] = set()
"""Databases that this process has."""
_TABLES = (
    "CREATE TABLE made (identity TEXT NOT NULL)",
    # the number of a run is its plan's, times 2^32, and its replication's: one tree, in the order in which it is read
    "CREATE TABLE run (number INTEGER PRIMARY KEY, check_sum INTEGER, row BLOB)",
)
PLAN = 2**32
_MOST_MISSES = 200_000
_MOST_MISSES_HERE = 20_000
"""Places that are tried where a damaged database cannot be read, in all and before the next plan: some seconds."""


def temporary() -> sqlite3.Connection:
    """Return a database that lies in memory while it is small, then in a file without a name."""
    connection = _connect("")
    for statement in (
        f"PRAGMA cache_size = -{_CACHE_KB}",
        "PRAGMA journal_mode = MEMORY",
        "PRAGMA synchronous = OFF",
        *_TABLES,
    ):
        connection.execute(statement)
    return connection


def open_alone(path: Path, identity: str, fresh: bool) -> sqlite3.Connection:
    """Open the database of a result for this process alone, made if need be."""
    # the system forgets a lock as soon as the process that holds it opens and closes the file once more
    if path.resolve() in _HELD:
        raise InputError.single(_IN_USE, file=str(path))
    while True:
        try:
            refuse_foreign(path)
            before = _made(path)
            connection = _locked(path)
            # the process that held it may have ended and removed it just now: what is open has no name any more then
            if not _is_at(path, before):
                connection.close()
                continue
            if not _is_empty(connection) and not _is_marked(connection):
                connection.close()
                raise _foreign(path)
            if fresh and not _is_empty(connection):
                path.unlink()
                connection.close()
                fresh = False
                continue
            _begin(connection, path, identity)
        except OSError as error:
            raise InputError.single(f"cannot be used: {error.strerror or error}", file=str(path)) from error
        _HELD.add(path.resolve())
        return connection


def refuse_foreign(path: Path) -> None:
    """Refuse a file that is not recognisably a database of ours: a link, or what another program wrote."""
    for one in (path, _companion(path)):
        with suppress(FileNotFoundError):  # one look: another process may remove it between two
            if stat.S_ISREG(one.lstat().st_mode):
                continue
            message = "is a link, or no ordinary file; move it away, for an unfinished result is kept under this name"
            raise InputError.single(message, file=str(one))
    # with a companion the head may be half written, and is looked at once SQLite has undone that
    if not _is_ours(path) and not _companion(path).exists() and not _is_ours(path):
        raise _foreign(path)


def _is_ours(path: Path) -> bool:
    """Tell whether the head of a file is that of our databases; so it is when there is nothing yet."""
    try:
        with path.open("rb") as stream:
            head = stream.read(_MARK_AT + 4)
    except FileNotFoundError:
        return True
    return not head or (head.startswith(_MAGIC) and head[_MARK_AT:] == APPLICATION.to_bytes(4, "big"))


def _foreign(path: Path) -> InputError:
    message = "is not the database of an unfinished result, or one of an older version, or damaged; move it away"
    return InputError.single(message, file=str(path))


def is_sound(connection: sqlite3.Connection) -> bool:
    """Tell whether a database is in itself as SQLite left it."""
    try:
        return connection.execute("PRAGMA quick_check(1)").fetchall() == [("ok",)]
    except DAMAGE:
        return False


def mend(
    connection: sqlite3.Connection, path: Path, identity: str, whole: Callable[[tuple[Any, ...]], bool]
) -> sqlite3.Connection:
    """Make a damaged database anew from the runs that can be read, and open it."""
    fresh = path.with_name(f"{path.name}-mended")
    fresh.unlink(missing_ok=True)
    made = _connect(str(fresh))
    try:
        made.execute("PRAGMA synchronous = OFF")
        _create(made, identity)
        made.execute("BEGIN")
        runs = (run for run in _readable(connection) if whole(run))
        made.executemany("INSERT OR IGNORE INTO run VALUES (?, ?, ?)", runs)
        made.execute("COMMIT")
    except DAMAGE as error:
        fresh.unlink(missing_ok=True)
        raise disk_problem(error, str(fresh), "free space there, then go on with --resume") from error
    finally:
        made.close()
        connection.close()
    handle = os.open(fresh, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)
    _companion(path).unlink(missing_ok=True)
    fresh.replace(path)
    sync_folder(path.parent)
    _HELD.discard(path.resolve())
    return open_alone(path, identity, fresh=False)


def release(connection: sqlite3.Connection, path: Path, remove: bool) -> None:
    """Let another process have a database, or delete it; this process can still read it."""
    _HELD.discard(path.resolve())
    with suppress(sqlite3.Error):
        if remove:
            for one in (path, _companion(path)):
                one.unlink(missing_ok=True)
        connection.execute("PRAGMA locking_mode = NORMAL")
        # the lock goes with the end of the next reading
        connection.execute("SELECT count(*) FROM run").fetchall()


def _connect(name: str) -> sqlite3.Connection:
    return sqlite3.connect(name, timeout=0.0, isolation_level=None, check_same_thread=False)


def _locked(path: Path, padded: bool = False) -> sqlite3.Connection:
    connection = _connect(str(path))
    try:
        connection.execute(f"PRAGMA cache_size = -{_CACHE_KB}")
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("BEGIN EXCLUSIVE")
        connection.execute("COMMIT")
    except DAMAGE as error:
        connection.close()
        code = _code(error)
        if code == sqlite3.SQLITE_CORRUPT and not padded and _is_ours(path) and _pad(path):
            return _locked(path, padded=True)
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            message = _IN_USE
        elif code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            message = f"is damaged beyond reading ({error}); move it away"
        else:
            message = f"cannot be written: {error}; {_NO_ROOM}"
        raise InputError.single(message, file=str(path)) from error
    return connection


def _code(error: Exception) -> int:
    """Return the kind of an error; one that the library did not name is of something damaged."""
    return int(getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)) & 0xFF


def _pad(path: Path) -> bool:
    """Give a file that was cut off its length back, without which SQLite does not read what is left; tell if so."""
    with path.open("r+b") as stream:
        head = stream.read(32)
        page = int.from_bytes(head[16:18], "big")
        # 1 stands for 65,536; source: the SQLite file format
        size = (65_536 if page == 1 else page) * int.from_bytes(head[28:32], "big")
        cut = stream.seek(0, os.SEEK_END) < size <= _LARGEST_BYTES
        if cut:
            stream.truncate(size)
    return cut


def _begin(connection: sqlite3.Connection, path: Path, identity: str) -> None:
    """Check whose database it is, or make it ours when it is new."""
    try:
        if _is_empty(connection):
            _create(connection, identity)
            sync_folder(path.parent)
            return
        same = connection.execute("PRAGMA user_version").fetchone() == (FORMAT,)
        found = [row[0] for row in connection.execute("SELECT sql FROM sqlite_master ORDER BY name")]
        if same and found != list(_TABLES):
            raise sqlite3.DatabaseError("its tables are not as they were made")
        same = same and connection.execute("SELECT identity FROM made").fetchall() == [(identity,)]
    except DAMAGE as error:
        connection.close()
        code = _code(error)
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR):
            raise InputError.single(f"is damaged beyond reading ({error}); move it away", file=str(path)) from error
        raise disk_problem(error, str(path), _NO_ROOM) from error
    if not same:
        connection.close()
        raise InputError.single(
            "an unfinished result of another scenario, seed or version is in this folder; give --force to drop it",
            file=str(path),
        )


def _is_empty(connection: sqlite3.Connection) -> bool:
    return bool(connection.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,))


def _is_marked(connection: sqlite3.Connection) -> bool:
    return bool(connection.execute("PRAGMA application_id").fetchone() == (APPLICATION,))


def _create(connection: sqlite3.Connection, identity: str) -> None:
    connection.execute("BEGIN")
    for statement in (f"PRAGMA application_id = {APPLICATION}", f"PRAGMA user_version = {FORMAT}", *_TABLES):
        connection.execute(statement)
    connection.execute("INSERT INTO made VALUES (?)", (identity,))
    connection.execute("COMMIT")


def _readable(connection: sqlite3.Connection) -> Iterator[tuple[Any, ...]]:
    """Yield the runs of a damaged database: where a page cannot be read, what follows is looked for place by place."""
    query = "SELECT number, check_sum, row FROM run WHERE number >= ? AND number < ? ORDER BY number"
    misses, here, start = 0, 0, 0
    while misses < _MOST_MISSES:
        begin = start // PLAN * PLAN
        try:
            for run in connection.execute(query, (start, begin + PLAN)):
                yield run
                start, here = max(start, run[0] + 1), 0
        except DAMAGE:
            misses, here, start = misses + 1, here + 1, start + 1
            if here < _MOST_MISSES_HERE:
                continue
        if start == begin:
            # a plan without a run, and no page that could not be read
            return
        start, here = begin + PLAN, 0


def _made(path: Path) -> os.stat_result:
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o666)
    try:
        return os.fstat(handle)
    finally:
        os.close(handle)


def _is_at(path: Path, status: os.stat_result) -> bool:
    try:
        return os.path.samestat(path.lstat(), status)
    except FileNotFoundError:
        return False


def _companion(path: Path) -> Path:
    """Return where SQLite keeps what it needs to undo a transaction that was cut short."""
    return path.with_name(f"{path.name}-journal")
