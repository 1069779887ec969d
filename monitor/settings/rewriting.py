"""Changes to the configuration file by the program itself: comments and order stay, the result is
checked before it counts, and the file before is kept beside it. Called by `probes add` and by the
guided set-up.

A proposal is read by the very loader that every command uses, from a file beside the old one, so
that nothing is written that `brooder check` would refuse."""

import contextlib
import difflib
import os
import re
import stat
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from monitor.settings.faults import SECRETS, SettingsFault, WrongSetting
from monitor.settings.load import Settings, load_settings
from monitor.settings.reading import LONGEST_CONFIGURATION, Unreadable, read_text

BEFORE = ".before"  # beside the file: as it was before the last change
_SECRET_LINE = re.compile(rf"\b({'|'.join(sorted(SECRETS))})(\s*=\s*).*")


class NotWritten(Exception):
    """The file is as it was; the message is one line with the way out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileChange:
    """A proposal that has passed the checks. Nothing is written yet."""

    source: Path
    before: str
    after: str
    settings: Settings  # as they will be

    @property
    def difference(self) -> str:
        """What changes, as lines with + and -, secrets hidden; empty where nothing does."""
        lines = difflib.unified_diff(_shown(self.before), _shown(self.after), n=1, lineterm="")
        shown = "\n".join(line for line in lines if not line.startswith(("---", "+++", "@@")))
        return shown.strip("\n")

    def write(self) -> None:
        """The file before is kept as NAME.before. Raises NotWritten, also where somebody has
        changed the file since this was proposed."""
        try:
            if read_text(self.source, LONGEST_CONFIGURATION) != self.before:
                raise NotWritten(f"{self.source} was changed meanwhile; look at it and try again")
            kept = self.source.with_name(self.source.name + BEFORE)
            replace_text(kept, self.before, like=self.source)
            replace_text(self.source, self.after)
        except (OSError, Unreadable) as fault:
            raise NotWritten(_why(self.source, fault)) from fault


def propose(source: Path, edit: Callable[[tomlkit.TOMLDocument], None]) -> FileChange:
    """`edit` changes the document in place. Raises SettingsFault for a result that is wrong,
    NotWritten where the file cannot be read or its folder not be written."""
    try:
        before = read_text(source, LONGEST_CONFIGURATION)
        document = tomlkit.parse(before)
    except (OSError, Unreadable) as fault:
        raise NotWritten(f"{source} cannot be read ({fault})") from fault
    except TOMLKitError as fault:
        raise SettingsFault(
            str(source), [WrongSetting("", f"is not valid TOML: {fault}.")]
        ) from fault
    edit(document)
    after = tomlkit.dumps(document)
    try:
        with _laid_beside(source, after) as trial:
            settings = load_settings(trial, check_contacts=False)
    except SettingsFault as fault:
        raise SettingsFault(str(source), fault.faults) from fault
    except OSError as fault:
        raise NotWritten(_why(source, fault)) from fault
    return FileChange(
        source=source, before=before, after=after, settings=replace(settings, source=source)
    )


def replace_text(path: Path, text: str, *, like: Path | None = None, mode: int = 0o640) -> None:
    """The file at once and whole, with the owner and the rights it had (or those of `like`; a new
    one: `mode`, and of its folder's owner where root makes it). Raises OSError."""
    model = path if path.exists() else like
    found = model.stat() if model is not None else None
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fchmod(file.fileno(), stat.S_IMODE(found.st_mode) if found is not None else mode)
            owner = found if found is not None else path.parent.stat()
            with contextlib.suppress(PermissionError):  # only root can give a file away
                os.fchown(file.fileno(), owner.st_uid, owner.st_gid)
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


@contextlib.contextmanager
def _laid_beside(source: Path, text: str) -> Iterator[Path]:
    """In the same folder, from which the names of secret files count."""
    handle, name = tempfile.mkstemp(prefix=f".{source.name}.", suffix=".toml", dir=source.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)


def _shown(text: str) -> list[str]:
    return [_SECRET_LINE.sub(r"\1\2(hidden)", line) for line in text.splitlines()]


def _why(path: Path, fault: Exception) -> str:
    if isinstance(fault, PermissionError):
        return (
            f"{path} may not be changed by this user; put sudo before the command, or let root "
            "run it"
        )
    words = fault.strerror if isinstance(fault, OSError) else str(fault)
    return f"{path} could not be written: {words}"
