"""Which birds are in which box, a second time and outside the journal: where that is damaged, gone
or not to be read, the watch must still know whom it keeps warm.

One small file a box with birds (`birds/porch.json` in the state folder): the entries that its batch
is made of, and a checksum. It is replaced as a whole (written aside, forced to the disk, renamed),
so a power cut leaves the old one or the new one. Written by the journal's thread and by commands
while no service runs, read when either begins."""

import hashlib
import json
import logging
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from monitor.brooding.ledger import Ledger
from monitor.events import Entry, EntryKind
from monitor.journal.ownership import make_folder, write_whole
from monitor.journal.records import entry_fields
from monitor.service.logs import facts

log = logging.getLogger(__name__)

FOLDER = "birds"
_FORM = 1
_LONGEST_NAME = 150  # of a file; a longer name of a box is cut, and told apart by its hash
_LARGEST = 1 << 20  # bytes of one file; a batch of a thousand entries has 150 kB


@dataclass(slots=True, kw_only=True)
class CopiedBirds:
    """What the second copy says."""

    kept: bool  # has there ever been one?
    entries: list[Entry] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)  # files that cannot be believed

    @property
    def sound(self) -> bool:
        """Can it be believed that a box without a file has no birds?"""
        return self.kept and not self.damaged


class SecondCopy:
    """Keeps the copy in step with the ledger. Not for two threads at once."""

    def __init__(self, state_folder: Path) -> None:
        self._folder = state_folder / FOLDER
        self._ledger: Ledger | None = None  # as kept last
        self._kept: dict[str, tuple[Entry, ...]] = {}
        self._said: str | None = None

    def keep(self, ledger: Ledger) -> bool:
        """Writes what has changed. False: the disk refused it; it is tried again at the next
        call."""
        if ledger is self._ledger:
            return True
        try:
            self._keep(ledger)
        except OSError as error:
            if self._said != error.strerror:
                self._said = error.strerror
                log.error(
                    "The second copy of which birds are where cannot be kept.",
                    extra=facts(where=self._folder, why=error.strerror),
                )
            return False
        self._ledger, self._said = ledger, None
        return True

    def _keep(self, ledger: Ledger) -> None:
        make_folder(self._folder)
        numbered = {entry.number: entry for entry in ledger.entries}
        for box in ledger.open:
            batch = ledger.running(box)
            if batch is None:
                continue
            entries = tuple(numbered[tally.number] for tally in batch.tallies)
            if self._kept.get(box) != entries:
                write_whole(self._folder / _file_name(box), _text(box, entries))
                self._kept[box] = entries
        # Only where it is known that the birds left: an unknown box keeps what its file says.
        for box in {batch.brooder for batch in ledger.batches} - ledger.open.keys():
            (self._folder / _file_name(box)).unlink(missing_ok=True)
            self._kept.pop(box, None)


def read(state_folder: Path) -> CopiedBirds:
    """What the second copy says. Never raises."""
    folder = state_folder / FOLDER
    try:
        files = sorted(folder.glob("*.json"))
        known = CopiedBirds(kept=folder.is_dir())
    except OSError:
        return CopiedBirds(kept=False)
    for file in files:
        try:
            known.entries += _entries(file)
        except Exception as error:
            log.exception("A second copy cannot be read.", extra=facts(file=file, why=error))
            known.damaged.append(file.name)
    return known


def _entries(file: Path) -> list[Entry]:
    if not file.is_file() or file.stat().st_size > _LARGEST:
        raise ValueError("it is no small file")
    said = json.loads(file.read_bytes())
    kept = said["entries"]
    if said["sum"] != _sum(kept):
        raise ValueError("its checksum is another one")
    return [Entry(**{**row, "entry": EntryKind(row["entry"])}) for row in kept]


def _text(box: str, entries: tuple[Entry, ...]) -> bytes:
    rows = [entry_fields(entry) for entry in entries]
    said = {"form": _FORM, "brooder": box, "entries": rows, "sum": _sum(rows)}
    return json.dumps(said, indent=1, ensure_ascii=False).encode()


def _sum(rows: list[dict[str, object]]) -> str:
    return hashlib.sha256(json.dumps(rows, sort_keys=True).encode()).hexdigest()


def _file_name(box: str) -> str:
    name = quote(box, safe=" ")
    if len(name) > _LONGEST_NAME:
        name = f"{name[:_LONGEST_NAME]}-{hashlib.sha256(box.encode()).hexdigest()[:16]}"
    return f"{name}.json"
