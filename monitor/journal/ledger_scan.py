"""The ledger's rows wherever they lie in a damaged file, found by their looks. Called by `salvage`
where the table's tree is broken: of all that a journal holds, the watch can least do without the
entry that says which birds are in which box.

Every page is looked at as a leaf of a table (SQLite file format, sections 1.6 and 2.1). What does
not look like a row of `entries` to the last byte is passed over."""

import json
from collections.abc import Iterator
from mmap import ACCESS_READ, mmap
from pathlib import Path

from monitor.journal.leaf_ranges import varint

_LEAF = 0x0D  # of a table
_LEAF_HEADER_BYTES = 8
_INT_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 8: 0, 9: 0}  # serial types, section 2.1


def ledger_rows(file: Path, page_bytes: int) -> Iterator[tuple[int, int, str]]:
    """(number, at ms, JSON) of every row that is found; one that SQLite has moved comes twice."""
    if file.stat().st_size == 0:
        return
    with file.open("rb") as opened, mmap(opened.fileno(), 0, access=ACCESS_READ) as raw:
        for at in range(0, len(raw), page_bytes):
            yield from _rows_of(raw[at : at + page_bytes], raw, page_bytes)


def _rows_of(page: bytes, file: mmap, page_bytes: int) -> Iterator[tuple[int, int, str]]:
    if not page or page[0] != _LEAF:
        return
    for n in range(int.from_bytes(page[3:5], "big")):
        place = _LEAF_HEADER_BYTES + 2 * n
        cell = int.from_bytes(page[place : place + 2], "big")
        if place < len(page) and cell >= _LEAF_HEADER_BYTES:
            found = _row(page, cell, file, page_bytes)
            if found is not None:
                yield found


def _row(page: bytes, cell: int, file: mmap, page_bytes: int) -> tuple[int, int, str] | None:
    size, at = varint(page, cell)
    number, at = varint(page, at)
    if not 0 < size <= len(file) or number < 1:
        return None
    payload = _payload(page, at, size, file, page_bytes)
    head, at = varint(payload, 0)
    types: list[int] = []
    while 0 < at < head and len(types) < 4:
        kind, at = varint(payload, at)
        types.append(kind)
    # The number is the row's own and stored as NULL; then a whole number and a text.
    if len(types) != 3 or types[0] != 0 or types[1] not in _INT_BYTES or types[2] % 2 == 0:
        return None
    text_at = head + _INT_BYTES[types[1]]
    if text_at + (types[2] - 13) // 2 != size or len(payload) != size:
        return None
    at_ms = types[1] - 8 if types[1] in (8, 9) else int.from_bytes(payload[head:text_at], "big")
    text = payload[text_at:].decode("utf-8", "replace")
    return (number, at_ms, text) if _is_entry(text) else None


def _payload(page: bytes, at: int, size: int, file: mmap, page_bytes: int) -> bytes:
    """What a cell holds, also what had no room on its page."""
    most = page_bytes - 35
    if size <= most:
        return page[at : at + size]
    least = (page_bytes - 12) * 32 // 255 - 23
    here = least + (size - least) % (page_bytes - 4)
    here = here if here <= most else least
    parts = [page[at : at + here]]
    following = int.from_bytes(page[at + here : at + here + 4], "big")
    left = size - here
    while left > 0 and 0 < following <= len(file) // page_bytes:
        start = (following - 1) * page_bytes
        parts.append(file[start + 4 : start + 4 + min(left, page_bytes - 4)])
        following = int.from_bytes(file[start : start + 4], "big")
        left -= page_bytes - 4
    return b"".join(parts)


def _is_entry(text: str) -> bool:
    try:
        said = json.loads(text)
    except ValueError:
        return False
    return isinstance(said, dict) and "entry" in said and "at" in said
