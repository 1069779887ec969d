"""Reads a file that a configuration names: a regular one, not too long, UTF-8. Called by `load`
and `overlay`. A device or a pipe would hold the reader for ever, and with it a reload."""

import os
import stat
from pathlib import Path

LONGEST_CONFIGURATION = 1 << 20
LONGEST_SECRET = 64 * 1024
_MARKS = ((b"\xef\xbb\xbf", "UTF-8"), (b"\xff\xfe", "UTF-16"), (b"\xfe\xff", "UTF-16"))


class Unreadable(Exception):
    """Why, as the rest of a sentence after the file's name."""


def read_text(path: Path, longest: int) -> str:
    """The whole text. Raises Unreadable, or OSError where it cannot be opened."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise Unreadable("is a device, a pipe or a folder; name a regular file")
        with os.fdopen(os.dup(descriptor), "rb") as file:
            data = file.read(longest + 1)
    finally:
        os.close(descriptor)
    if len(data) > longest:
        raise Unreadable(f"is longer than {longest // 1024} KiB, the most that is read")
    for mark, form in _MARKS:
        if data.startswith(mark):
            raise Unreadable(
                f"begins with a byte-order mark ({form}); save it as UTF-8 without that mark"
            )
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Unreadable(f"is not UTF-8 text (byte {error.start})") from None
