"""Which key ranges lie on which page of a table, read from the file itself. Called by `salvage`: a
range that SQLite cannot read is then one page's, not half of all that was ever kept.

The layout is that of the SQLite file format, section 1.6, b-tree pages. What is read here only
chooses where to cut; a damaged page that says nonsense costs cuts in odd places, never a row."""

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

LAST_KEY = 2**62
_INTERIOR = 0x05  # of a table
_HEADER_BYTES = 12


def leaf_ranges(file: Path, root: int, page_bytes: int) -> list[tuple[int, int]]:
    """The keys from 0 to LAST_KEY, both included, in ranges that follow one another, one for each
    leaf of the table whose tree begins at page `root` (counted from 1)."""
    with file.open("rb") as pages:
        lasts = list(_Walk(pages, page_bytes).last_keys(root, 0, LAST_KEY))
    starts = [0, *(key + 1 for key in lasts)]
    return list(zip(starts, [*lasts, LAST_KEY], strict=True))


class _Walk:
    """One walk down a tree, each page once: a damaged one may point back at itself."""

    def __init__(self, pages: BinaryIO, page_bytes: int) -> None:
        self._pages = pages
        self._page_bytes = page_bytes
        self._seen: set[int] = set()

    def last_keys(self, page: int, low: int, high: int) -> Iterator[int]:
        """The last key of each leaf under `page` but the rightmost, whose end nobody writes down,
        rising, from `low` to below `high`."""
        if page in self._seen or page < 1:
            return
        self._seen.add(page)
        self._pages.seek((page - 1) * self._page_bytes)
        raw = self._pages.read(self._page_bytes)
        if len(raw) < self._page_bytes or raw[0] != _INTERIOR:
            return
        for n in range(int.from_bytes(raw[3:5], "big")):
            at = int.from_bytes(raw[_HEADER_BYTES + 2 * n : _HEADER_BYTES + 2 * n + 2], "big")
            child, key = int.from_bytes(raw[at : at + 4], "big"), varint(raw, at + 4)[0]
            if low <= key < high:
                yield from self.last_keys(child, low, key)
                yield key
                low = key + 1
        yield from self.last_keys(int.from_bytes(raw[8:12], "big"), low, high)


def varint(raw: bytes, at: int) -> tuple[int, int]:
    """SQLite's big-endian number of one to nine bytes, and where it ends; -1 and 0: it runs over
    the end of the page."""
    value = 0
    for n, byte in enumerate(raw[at : at + 9], start=1):
        if n == 9:
            return value << 8 | byte, at + n
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + n
    return -1, 0
