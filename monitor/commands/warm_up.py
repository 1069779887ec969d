"""`brooder warm-up`: is the empty box ready for chicks, and if not, what is missing?"""

import time

import typer

from monitor.commands.ask import brooder_or_exit, request
from monitor.commands.common import NOT_WELL, ConfigOption, out, settings_or_exit
from monitor.commands.flock_entry import BrooderOption
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.settings import Settings
from monitor.watch.switched_off import OwnFall, own_falls

_COLUMN_S, _BACK_S = 300.0, 86400.0
_MARKS = {True: "[x]", False: "[ ]", None: " - "}


def warm_up(brooder: BrooderOption = None, config: ConfigOption = None) -> None:
    """Whether the empty box is ready for chicks. Is it warm and steady, will it hold, how warm do
    its watts make it, which probe lies under which lamp? Exit code 1 if something is missing."""
    settings = settings_or_exit(config)
    name = brooder_or_exit(settings.site, brooder)
    falls = [list(fall) for fall in _falls(settings, name)]
    said = request(settings, "warm-up", brooder=name, falls=falls)
    out().print(f"{name}: {said['answer']}.")
    for words, right in said["checks"]:
        out().print(f"{_MARKS[right]} {words}")
    if not said["ready"]:
        raise typer.Exit(NOT_WELL)


def _falls(settings: Settings, name: str) -> tuple[OwnFall, ...]:
    """What was switched off in the last day, by the record. Without one: nothing."""
    box, now = settings.site.brooder(name), time.time()
    columns: dict[str, dict[int, tuple[float, float]]] = {}
    try:
        with JournalReader(settings.journal_path) as reader:
            keys = [probe.key for probe in box.probes]
            for key, column, low_c, high_c in reader.columns(keys, now - _BACK_S, now, _COLUMN_S):
                columns.setdefault(key, {})[column] = (low_c, high_c)
    except StorageFault:
        return ()
    return own_falls(box, columns, _COLUMN_S)
