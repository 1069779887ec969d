"""Files that the service can still use when root has made them: `sudo brooder restore` and the like
leave what they make in a folder to the folder's owner. Used by whatever makes a file of the
journal.

Only what was made by this very call changes hands: a link that somebody has laid at the place is
never followed, or root would give away another's file."""

import os
from pathlib import Path


def make_file(path: Path, mode: int = 0o600) -> None:
    """An empty file, unless there is one. Raises OSError."""
    try:
        fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, mode)
    except FileExistsError:
        return
    try:
        owner = _other_owner(path.parent)
        if owner is not None:
            os.fchown(fd, *owner)
    finally:
        os.close(fd)


def make_folder(path: Path, mode: int = 0o700) -> None:
    """The folder with those above it, unless they are there. Raises OSError."""
    if path.is_dir():
        return
    make_folder(path.parent, 0o777)  # as usual: less the umask
    try:
        path.mkdir(mode)
    except FileExistsError:
        if path.is_dir():
            return
        raise
    owner = _other_owner(path.parent)
    if owner is not None:
        os.chown(path, *owner, follow_symlinks=False)


def settle(part: Path, to: Path) -> None:
    """Gives a finished file its name, durably. Raises OSError."""
    with part.open("rb") as file:
        os.fsync(file.fileno())
    part.replace(to)
    folder = os.open(to.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def write_whole(path: Path, data: bytes) -> None:
    """The file at once and whole, durably: a power cut leaves the old one or the new one. Raises
    OSError."""
    aside = path.with_suffix(".new")
    aside.unlink(missing_ok=True)
    make_file(aside)
    aside.write_bytes(data)
    settle(aside, path)


def _other_owner(folder: Path) -> tuple[int, int] | None:
    """Who is to have what root makes in this folder; None where it stays with the maker."""
    if os.geteuid() != 0:
        return None
    found = folder.stat()
    return (found.st_uid, found.st_gid) if found.st_uid != 0 else None
