"""The journal's file in the writer's hands: opened anew where the disk refused it, where it was
found damaged or where somebody took it away. Owned by `writer`, in its thread."""

import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from monitor.journal.opening import about_aside
from monitor.journal.records import StorageFault
from monitor.journal.store import Journal

_TAKEN = "the journal's file was taken away while it was written; a new one is begun without it"


class JournalFile:
    """`journal`: the open one; None while there is none."""

    def __init__(self, journal: Journal | None, reopen: Callable[[], Journal]) -> None:
        self.journal = journal
        self.opened_anew = False  # its ledger is still to be compared with the watch's
        self._reopen = reopen
        self._damaged: Path | None = None
        self._inode = _inode(journal)

    def opened(self, say: Callable[[StorageFault], None]) -> Journal:
        """The journal, opened anew if need be; `say` hears of one that was set aside. Raises
        StorageFault."""
        if self.journal is not None and _inode(self.journal) != self._inode:
            self.put_away()
            say(StorageFault("damaged", _TAKEN))
        if self.journal is None:
            aside = None
            if self._damaged is not None:
                with Journal.open(self._damaged, distrust=True) as fresh:
                    aside = fresh.set_aside
                self._damaged = None
            self.journal = journal = self._reopen()
            self._inode = _inode(journal)
            self.opened_anew = True
            aside = aside or journal.set_aside
            if aside is not None:
                say(StorageFault("damaged", about_aside(aside)))
        return self.journal

    def put_away(self, *, damaged: bool = False) -> None:
        """Closes it; the next try opens what is there then."""
        journal, self.journal = self.journal, None
        if journal is None:
            return
        if damaged:
            self._damaged = journal.path
        with suppress(Exception):  # it is let go in any case
            journal.close()


def _inode(journal: Journal | None) -> int | None:
    """Which file lies at the journal's path; None: none."""
    if journal is None:
        return None
    try:
        return os.stat(journal.path).st_ino
    except OSError:
        return None
