"""How warm the floor was as the chicks came, by the record, for the hatchery's sheet. Called by the
command and by the page."""

from pathlib import Path

from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.site import Brooder, Place

_ABOUT_S = 900.0  # before and after


def arrival_floor(path: Path, box: Brooder, at: float) -> tuple[float, float] | None:
    """The lowest and the highest of the floor probes about then (Unix s), degC. None: nothing was
    read, or the record at `path` cannot be."""
    keys = [probe.key for probe in box.probes if probe.place is Place.FLOOR]
    try:
        with JournalReader(path) as reader:
            found = reader.columns(keys, at - _ABOUT_S, at + _ABOUT_S, 2 * _ABOUT_S)
    except StorageFault:
        return None
    lows, highs = [low for *_, low, _ in found], [high for *_, high in found]
    return (min(lows), max(highs)) if found else None
