"""A disk whose every write and sync is known, and what of it is left when the power fails.

    moves = recorded(tmp_path, "commits = ...; said(n)")   # in a process of its own
    for side, raw in left(moves[:n], dice).items(): ...     # as a disk may leave it there

A write is on the disk once a sync of its file has followed. Of what was written since, any part may
be there, in any order, by the page or torn."""

import os
import random
import shutil
import struct
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

_SHIM = Path(__file__).with_name("disk_watch.c")
_HEAD = struct.Struct("<cHQI")
_SECTOR = 512  # what a disk writes whole (SQLite's atomic write assumptions, atomiccommit.html)


@dataclass(frozen=True, slots=True)
class Move:
    """One thing that happened to a file, or a word of the program ('said')."""

    kind: str  # write | cut | sync | gone | said
    side: str  # "", "-wal"; or the word
    at: int = 0
    data: bytes = b""


def recorded(folder: Path, program: str) -> list[Move]:
    """What a Python program does to `folder`/journal.db; `said(word)` marks where it is. Skips the
    test where there is no C compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        pytest.skip("recording a disk needs a C compiler")
    folder.mkdir(parents=True)
    shim, notes, journal = folder / "watch.so", folder / "notes", folder / "journal.db"
    words = [compiler, "-shared", "-fPIC", "-O1", "-o", str(shim), str(_SHIM), "-ldl"]
    if subprocess.run(words, check=False).returncode:
        pytest.skip("the C compiler here has no headers")
    with notes.open("wb", buffering=0) as file:
        head = (
            "import os, struct\n"
            "def said(word):\n"
            "    word = str(word).encode()\n"
            f"    os.write({file.fileno()}, struct.pack('<cHQI', b'c', len(word), 0, 0) + word)\n"
            f"PATH = {str(journal)!r}\n"
        )
        subprocess.run(
            [sys.executable, "-c", head + program],
            check=True,
            pass_fds=[file.fileno()],
            env={
                **os.environ,
                "LD_PRELOAD": str(shim),
                "JOURNAL_NOTES": str(file.fileno()),
                "PYTHONPATH": os.pathsep.join(sys.path),
            },
        )
    return list(_read(notes.read_bytes(), str(journal)))


def _read(raw: bytes, journal: str) -> list[Move]:
    kinds = {b"w": "write", b"t": "cut", b"s": "sync", b"u": "gone", b"c": "said"}
    moves = []
    place = 0
    while place < len(raw):
        kind, size, at, length = _HEAD.unpack_from(raw, place)
        place += _HEAD.size
        path = raw[place : place + size].decode()
        data = raw[place + size : place + size + length]
        place += size + length
        side = path if kind == b"c" else path.removeprefix(journal)
        if kind == b"c" or path.startswith(journal):
            moves.append(Move(kinds[kind], side, at, data))
    return moves


def left(moves: Sequence[Move], dice: random.Random) -> dict[str, bytes]:
    """The files after a power cut behind these moves, by side."""
    files: dict[str, bytearray] = {}
    unsure: dict[str, list[Move]] = {}
    for move in moves:
        if move.kind == "said":
            continue
        if move.kind == "gone":  # a folder's own change is taken to be in order: it is journalled
            files.pop(move.side, None)
            unsure.pop(move.side, None)
        elif move.kind == "sync":
            for one in unsure.pop(move.side, []):
                _do(files, one, None)
        else:
            unsure.setdefault(move.side, []).append(move)
            files.setdefault(move.side, bytearray())
    for waiting in unsure.values():
        share = dice.choice((0.0, 0.3, 0.7, 1.0))
        for one in waiting:
            if dice.random() < share:
                _do(files, one, dice)
    return {side: bytes(raw) for side, raw in files.items()}


def _do(files: dict[str, bytearray], move: Move, dice: random.Random | None) -> None:
    raw = files.setdefault(move.side, bytearray())
    if move.kind == "cut":
        del raw[move.at :]
        raw.extend(bytes(max(0, move.at - len(raw))))
        return
    begin, end = move.at, move.at + len(move.data)
    if dice is not None and dice.random() < 0.3:  # torn where a sector ends
        first = begin // _SECTOR * _SECTOR
        edges = range(first, end + _SECTOR, _SECTOR)
        end = max(begin, min(end, dice.choice(edges)))
    raw.extend(bytes(max(0, end - len(raw))))
    raw[begin:end] = move.data[: end - begin]
