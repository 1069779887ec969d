"""Before the first write: one writer only, a sound file, a known version. Called by `store`.

The check at start is SQLite's quick_check. Of a file that a small board cannot read within a second
(two weeks of 8 probes) the readings are left out, by far the largest table. Damage there is met by
whoever reads it; what the watch itself needs is checked at every start."""

import fcntl
import os
import sqlite3
import time
from contextlib import suppress
from pathlib import Path

from monitor.journal import ownership, schema
from monitor.journal.records import StorageFault

WHOLE_CHECK_BYTES = 32 * 1024 * 1024  # 0.8 s at the 40 MB/s of a usual SD card
# In the name of a journal set aside, why: what is not said here was damaged.
NEWER, EARLIER = "newer", "earlier-form"
# What reading a damaged file raises. SQLite's own words about damaged text may be no text.
UNREADABLE = (sqlite3.DatabaseError, UnicodeDecodeError)
SIDE_FILES = ("", "-wal", "-shm", "-tail")  # the last one beside a journal of an earlier form


class WriterLock:
    """An advisory lock on a file beside the journal; the kernel drops it when the process dies,
    however it dies."""

    def __init__(self, journal_path: Path) -> None:
        self._path = journal_path.with_name(journal_path.name + ".lock")
        try:
            ownership.make_folder(self._path.parent, 0o777)
            ownership.make_file(self._path, 0o640)
            self._fd = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
        except OSError as error:
            raise fault_of(error, journal_path) from error
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.pread(self._fd, 32, 0).decode("ascii", "replace").strip()
            os.close(self._fd)
            raise StorageFault(
                "in-use",
                f"another brooder service is using {journal_path}"
                + (f" (process {holder})" if holder else ""),
            ) from error
        with suppress(OSError):  # who holds it is a help to people; a full disk has no room for it
            os.ftruncate(self._fd, 0)
            os.pwrite(self._fd, str(os.getpid()).encode(), 0)

    def release(self) -> None:
        """Gives the journal free. The empty file stays: removing it would race with a new owner."""
        os.close(self._fd)


def connect_to_write(path: Path) -> sqlite3.Connection:
    """A connection without implicit transactions; the thread that opens it may hand it on. A file
    that is not there is made, for its owner alone. Raises OSError, sqlite3.Error."""
    ownership.make_file(path)
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=10.0)
    connection.text_factory = text_of
    return connection


def is_damaged(error: Exception) -> bool:
    """Is it what the file says that is broken, rather than the disk that is full, locked or out of
    reach? Also what no check of SQLite's sees: a table whose name was overwritten."""
    if isinstance(error, StorageFault):
        return error.kind == "damaged"
    if isinstance(error, OSError | MemoryError):
        return False
    if not isinstance(error, sqlite3.Error):
        return True
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return code in (
        0,  # pysqlite's own: what it read is of no type that it knows
        sqlite3.SQLITE_ERROR,
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_NOTADB,
        sqlite3.SQLITE_CONSTRAINT,
        sqlite3.SQLITE_MISMATCH,
    )


def damage(path: Path) -> str | None:
    """What is wrong with the file, or None. Bounded as the module says."""
    if not path.exists() or path.stat().st_size == 0:
        return None
    connection = connect_to_write(path)
    try:
        connection.execute("PRAGMA schema_version").fetchone()
        if path.stat().st_size <= WHOLE_CHECK_BYTES:
            checks = ["3"]
        else:
            names = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
            checks = [name for (name,) in names if name != "readings"]
        for check in checks:
            found = [str(row[0]) for row in connection.execute(f"PRAGMA quick_check({check})")]
            if found != ["ok"]:
                return "; ".join(found).replace("\n", " ")
        return schema.unlike_its_version(connection)
    except Exception as error:
        if is_damaged(error):
            return str(error)
        raise
    finally:
        connection.close()


def set_aside(path: Path, at: float, why: str = "damaged") -> Path:
    """Moves a journal and its side files to a dated name and returns it."""
    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(at))
    for number in range(1, 1000):
        suffix = "" if number == 1 else f"-{number}"
        aside = path.with_name(f"{path.name}.{why}-{stamp}{suffix}")
        if not aside.exists():
            break
    for side in SIDE_FILES:
        part = path.with_name(path.name + side)
        if part.exists():
            part.rename(aside.with_name(aside.name + side))
    return aside


def about_aside(aside: Path) -> str:
    """One clause for the grower: why the journal before this one was set aside, and where it is."""
    if f".{EARLIER}-" in aside.name:
        return (
            "the old one is in the form of an earlier version of brooder and is kept as"
            f" {aside.name}: enter the birds anew, or bring the record over with `brooder export`"
            " of that version and then `brooder import`"
        )
    why = (
        "was written by a newer version of brooder" if f".{NEWER}-" in aside.name else "was damaged"
    )
    return f"the old one {why} and is kept as {aside.name}"


def fault_of(error: Exception, path: Path) -> StorageFault:  # noqa: PLR0911 - one cause a line
    """The fault in words that a grower can act on."""
    if isinstance(error, StorageFault):
        return error
    if path.is_dir():
        return StorageFault("failed", f"{path} is a folder where a file belongs; move it away")
    code = getattr(error, "sqlite_errorcode", 0)
    number = getattr(error, "errno", 0)
    primary = code & 0xFF
    if primary == sqlite3.SQLITE_FULL or number in (28, 122):  # ENOSPC, EDQUOT
        return StorageFault("full", f"the disk that holds {path} is full")
    if not path.parent.is_dir():
        return StorageFault("failed", f"{path} could not be used: there is no folder {path.parent}")
    if number in (1, 13):  # EPERM, EACCES: as after `sudo cp`
        return StorageFault(
            "read-only",
            f"{path} is not this user's to read and write; see whose it is (ls -l) and give it "
            "back (chown), with what lies beside it",
        )
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM) or number == 30:  # EROFS
        return StorageFault("read-only", f"{path} cannot be written: the disk or file is read-only")
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or isinstance(
        error, UnicodeDecodeError
    ):
        return StorageFault("damaged", f"{path} is damaged ({error})")
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StorageFault("in-use", f"another program is holding {path} locked")
    return StorageFault("failed", f"{path} could not be used ({error})")


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A read-only connection. On a medium that cannot be written (a copied card), where SQLite
    cannot make its -shm file, the file is read as one that nobody changes."""
    uri = path.absolute().as_uri()
    for mode in ("mode=ro", "mode=ro&immutable=1"):
        connection = sqlite3.connect(
            f"{uri}?{mode}", uri=True, isolation_level=None, check_same_thread=False, timeout=10.0
        )
        try:
            connection.execute("PRAGMA schema_version").fetchone()
        except sqlite3.OperationalError as error:
            connection.close()
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_CANTOPEN or "immutable" in mode:
                raise
        else:
            connection.text_factory = text_of
            return connection
    raise AssertionError("unreachable")


def text_of(raw: bytes) -> str:
    """Text of a damaged row may be no text; it must not stop the reading of the others."""
    return raw.decode("utf-8", "replace")
