"""Disks that misbehave, for fault tests: a small one that can be filled, one that turns read-only.

with small_disk(tmp_path / "disk", kib=2048) as disk:
    disk.fill()      # not a byte is left
    disk.empty()     # there is room again
    disk.read_only() / disk.writable()"""

import contextlib
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

BALLAST = "ballast"


class SmallDisk:
    """A mounted tmpfs."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def fill(self) -> None:
        """Until the last byte."""
        with (self.path / BALLAST).open("ab", buffering=0) as file:
            for size in (65536, 4096, 1):
                with contextlib.suppress(OSError):
                    while True:
                        file.write(bytes(size))

    def empty(self) -> None:
        """Room again."""
        (self.path / BALLAST).unlink()

    def read_only(self) -> None:
        """As a kernel that has seen an error on the card does (files open for writing: forced)."""
        subprocess.run(["mount", "-o", "remount,ro", str(self.path)], check=True)

    def writable(self) -> None:
        """Mended."""
        subprocess.run(["mount", "-o", "remount,rw", str(self.path)], check=True)


@contextmanager
def small_disk(path: Path, *, kib: int) -> Iterator[SmallDisk]:
    """A disk of that size. Skips the test where mounting is not allowed."""
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    path.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kib}k,mode=700", "tmpfs", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        pytest.skip(f"a small disk cannot be mounted here: {done.stderr.strip()}")
    try:
        yield SmallDisk(path)
    finally:
        subprocess.run(["umount", "-l", str(path)], check=False)


@contextmanager
def read_only_view(path: Path) -> Iterator[None]:
    """A folder that cannot be written for a while, for everybody: bound onto itself, read-only."""
    if os.geteuid() != 0:
        pytest.skip("a read-only mount needs root")
    for options in (["--bind"], ["-o", "remount,bind,ro"]):
        done = subprocess.run(
            ["mount", *options, str(path), str(path)], capture_output=True, text=True, check=False
        )
        if done.returncode:
            pytest.skip(f"a read-only mount cannot be made here: {done.stderr.strip()}")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(path)], check=False)
