"""The ledger as the watch knows it: the entries that came, and what follows from them. Held by
watch.engine."""

from monitor.brooding.ledger import Ledger, fold
from monitor.events import Entry, EntryKind
from monitor.kept import Kept, part


@part
class LedgerWatch(Kept):
    """Of one site. `ledger` is folded anew after a restart."""

    _entries: list[Entry]

    def __init__(self) -> None:
        self._entries = []
        self.ledger = Ledger()

    def write(self, entry: Entry) -> None:
        """Takes one more entry."""
        self._entries.append(entry)
        self.ledger = self.ledger.with_entry(entry)

    def season_closed(self, brooder: str | None = None) -> bool:
        """There have been birds (in that box; None: in any), and there are none now."""
        if brooder is None:
            return bool(self.ledger.batches) and not self.ledger.open
        return brooder not in self.ledger.open and bool(self.ledger.of(brooder))

    def heat_changed(self, entry: Entry) -> tuple[str | None, float | None] | None:
        """Of an entry that the heat was changed, or that undoes one: the box (None: every one), and
        when it was (Unix s; None: it was not). None: it says nothing of the heat."""
        undone = None if entry.undoes is None else self.ledger.entry(entry.undoes)
        said = entry if undone is None else undone
        if said.entry is not EntryKind.HEAT_CHANGED:
            return None
        return said.brooder, None if entry.entry is EntryKind.UNDO else said.at

    def resume(self) -> None:
        self.ledger = fold(self._entries)
