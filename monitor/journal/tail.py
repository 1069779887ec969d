"""The last commits, beside the database: a small file of fixed size that is written in place. Used
by `store`, which moves its rows into the database about once an hour; readers read both.

Why: over real time at 8 probes every 10 s, 18 readings a commit, through SQLite's log alone the
process writes 2.1 MB an hour and the device 3.1 MB: a page or two of the -wal, two or three of
the -shm (which the kernel writes back within 30 s) and the file system's own journal. Here the
same commits cost 0.8 MB and 1.2 MB: the one 4 KiB page that each lies in. Only commits of plain
readings go this way; whatever else happens is an SQLite transaction, which takes the tail's rows
in first, so the order and the whole are the same.

A frame counts if its checksum fits this journal and its number follows the one before; so a frame
cut by a power failure is no frame, and an older round's frames behind it are none either. It is
durable when fdatasync has returned. Like SQLite's own log (its `powersafe overwrite` assumption,
sqlite.org/psow.html) this relies on a disk that does not damage neighbouring bytes when the power
fails while it writes."""

import os
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple
from zlib import crc32

from monitor.journal.ownership import make_file

SIZE = 65536
PAGE = 4096
SUFFIX = "-tail"
_HEAD = struct.Struct("<IIQ")  # length of what follows, checksum, log number
_BODY = struct.Struct("<qqI")  # at ms, tick ms, length of the readings; then readings and marks


class Row(NamedTuple):
    """One row of the table `log`, as its columns are."""

    seq: int
    at_ms: int
    tick_ms: int
    readings: bytes
    marks: bytes


class Tail:
    """The writer's side."""

    def __init__(self, journal_path: Path, journal_id: int) -> None:
        self._path = path_of(journal_path)
        self._id = journal_id
        self._at = 0
        self.rows: list[Row] = []  # not in the database yet
        make_file(self._path, 0o640)
        self._fd = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
        try:
            if os.fstat(self._fd).st_size != SIZE:
                # Written in full once: later writes then change no metadata and need no space.
                os.ftruncate(self._fd, 0)
                for place in range(0, SIZE, PAGE):  # page by page: see `_page_by_page`
                    os.pwrite(self._fd, bytes(PAGE), place)
                os.fsync(self._fd)
            _page_by_page(self._fd)
        except OSError:
            os.close(self._fd)
            raise

    def takes(self, row: Row) -> bool:
        """Is there room? If not the database must take all of it."""
        return self._place(len(_frame(row, self._id))) is not None

    def append(self, row: Row) -> None:
        """Writes a row; durable when this returns. After an OSError nothing has changed: the same
        or another row with the same number is written over it."""
        frame = _frame(row, self._id)
        place = self._place(len(frame))
        if place is None:
            raise ValueError("the tail is full")
        written = os.pwrite(self._fd, frame, place)
        if written != len(frame):
            raise OSError(28, "only a part could be written")
        os.fdatasync(self._fd)
        self._at = place + len(frame)
        self.rows.append(row)

    def taken(self) -> None:
        """The database has every row durably; the next frame begins the file anew."""
        self._at = 0
        self.rows = []

    def close(self) -> None:
        """Closes the file."""
        os.close(self._fd)

    def _place(self, length: int) -> int | None:
        """Where a frame goes: within one page if it can, so that it wears one page."""
        place = self._at
        if length <= PAGE and place // PAGE != (place + length - 1) // PAGE:
            place = (place // PAGE + 1) * PAGE
        return place if place + length <= SIZE else None


def path_of(journal_path: Path) -> Path:
    """The tail's file."""
    return journal_path.with_name(journal_path.name + SUFFIX)


def read(journal_path: Path, journal_id: int, after: int) -> list[Row]:
    """The rows with numbers above `after`. The first may not be `after + 1`: then the database has
    moved on since, and the caller looks again."""
    try:
        fd = os.open(path_of(journal_path), os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return []
    try:
        _page_by_page(fd)
        raw = os.pread(fd, SIZE, 0)
    finally:
        os.close(fd)
    return [row for row in frames(raw, journal_id) if row.seq > after]


def frames(raw: bytes, journal_id: int) -> Iterator[Row]:
    """The unbroken run of frames from the beginning of the file."""
    place, wanted = 0, 0
    while True:
        found = _parse(raw, place, journal_id)
        # In the rest of a page that the next frame was too long for, a whole frame of an earlier
        # round may still lie.
        if (found is None or (wanted and found[0].seq != wanted)) and place % PAGE:
            found = _parse(raw, (place // PAGE + 1) * PAGE, journal_id)
        if found is None or (wanted and found[0].seq != wanted):
            return
        row, place = found
        wanted = row.seq + 1
        yield row


def _page_by_page(fd: int) -> None:
    """Keeps the file in the cache as single pages. Read ahead or written in one piece it would lie
    there in one of 64 KiB, and some kernels then call all of that dirty at each small write."""
    os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_RANDOM)


def _frame(row: Row, journal_id: int) -> bytes:
    body = _BODY.pack(row.at_ms, row.tick_ms, len(row.readings)) + row.readings + row.marks
    return _HEAD.pack(len(body), _sum(row.seq, body, journal_id), row.seq) + body


def _sum(seq: int, body: bytes, journal_id: int) -> int:
    return crc32(body, crc32(seq.to_bytes(8, "little"), journal_id))


def _parse(raw: bytes, place: int, journal_id: int) -> tuple[Row, int] | None:
    if place + _HEAD.size > len(raw):
        return None
    length, checksum, seq = _HEAD.unpack_from(raw, place)
    start = place + _HEAD.size
    if length < _BODY.size or start + length > len(raw):
        return None
    body = raw[start : start + length]
    if _sum(seq, body, journal_id) != checksum:
        return None
    at_ms, tick_ms, size = _BODY.unpack_from(body)
    split = _BODY.size + size
    if split > length:
        return None
    return Row(seq, at_ms, tick_ms, body[_BODY.size : split], body[split:]), start + length
