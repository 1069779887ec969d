"""Opens what the service stands on: state folder, journal, clock, core. Called by `run`.

A disk that refuses must not keep the watch from starting: then the journal is opened later, by the
writer, and everything waits in memory meanwhile."""

import itertools
import logging
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.entries import iso_date
from monitor.events import AlarmName, Entry, EntryKind, Facts, Moment
from monitor.journal.opening import about_aside, fault_of
from monitor.journal.ownership import make_folder
from monitor.journal.reader import JournalReader
from monitor.journal.records import StorageFault
from monitor.journal.store import Journal
from monitor.service import second_copy
from monitor.service.clock import Clock, LiveClock
from monitor.service.configured import contacts_of, policy_of
from monitor.service.core import Core
from monitor.service.logs import facts
from monitor.service.rebuild import Rebuilt, from_ledger, rebuild
from monitor.settings import Settings
from monitor.watch.watcher import JUST_ON_S

log = logging.getLogger(__name__)

FATAL = frozenset({"in-use"})  # another service writes here
STALE_S = 5.0  # the wall clock behind the journal's last word by more: it was not set yet
DOWN_WORTH_TELLING_S = 60.0  # a restart is shorter; longer than this, somebody should know
MOST_NAMED = 5
FROM_THE_COPY = "which birds are where is known from the second copy; compare `brooder flock list`"


@dataclass(slots=True, kw_only=True)
class Opened:
    journal: Journal | None
    trouble: StorageFault | None  # why there is no journal yet
    clock: Clock
    clock_sure: bool
    core: Core
    rebuilt: Rebuilt


def open_journal(settings: Settings) -> Journal:
    """The journal, knowing the site's probes. Raises StorageFault."""
    try:
        make_folder(settings.state_folder)
    except OSError as error:
        raise StorageFault(
            "failed", f"the folder {settings.state_folder} cannot be made: {error.strerror}"
        ) from error
    # After a rollback the journal may be in a newer version's form: chicks without a watch would be
    # worse than a record in two files.
    journal = Journal.open(settings.journal_path, replace_newer=True)
    journal.keep_days = settings.file.journal.keep_days
    try:
        journal.know_site(settings.site)
    except StorageFault:
        journal.close()
        raise
    return journal


def core_of(settings: Settings, begin: Moment, next_entry_number: Callable[[], int]) -> Core:
    """A new one, as it is configured."""
    return Core(
        settings.site,
        begin,
        contacts=contacts_of(settings),
        policy=policy_of(settings),
        next_entry_number=next_entry_number,
    )


def open_all(settings: Settings, clock: Clock | None = None) -> Opened:
    """Everything as the journal left it. Raises StorageFault only for what does not mend itself."""
    journal: Journal | None = None
    trouble: StorageFault | None = None
    try:
        journal = open_journal(settings)
    except (StorageFault, OSError) as error:
        fault = error if isinstance(error, StorageFault) else fault_of(error, settings.journal_path)
        if fault.kind in FATAL:
            raise fault from error
        trouble = fault
        log.error("The journal cannot be opened; the watch begins without.", extra=facts(why=fault))
    # A disk that cannot be written can often be read: which birds are where must not be forgotten.
    reader, ended = _readable(settings, journal)
    clock = clock or LiveClock(not_before=ended.at if ended is not None else 0.0)
    now = clock.now()
    copy = second_copy.read(settings.state_folder)
    numbers = journal.next_entry_number if journal is not None else _numbers(reader, now)

    def make(begin: Moment) -> Core:
        return core_of(settings, begin, _after(numbers, copy.entries))

    rebuilt, lost = _rebuilt(make, reader, now)
    core, ended = rebuilt.core, rebuilt.ended
    # First: what nobody watched is not lived through.
    clock_sure = catch_up(core, ended, now, on_for_s=clock.running_s())
    ledger_lost = bool(lost) or (trouble is not None and reader is None)
    if journal is not None and journal.set_aside is not None:
        lost.insert(0, about_aside(journal.set_aside))
        ledger_lost = True
    elif trouble is not None and reader is not None:
        lost.insert(0, trouble.words)
    if copy.damaged and not core.ledger.entries:
        ledger_lost = True  # of birds that this journal, emptied since, knows nothing of
    if core.learn(copy.entries, now, damaged=ledger_lost):
        lost += [*([] if lost else ["the journal has lost entries"]), FROM_THE_COPY]
    core.fit_configuration(now)
    if ledger_lost and not copy.sound:
        # A box without birds has no target, so no alarm: silence would be deadly here.
        core.fault(AlarmName.UNWATCHED, True, now, Facts())
    if trouble is not None and lost:
        trouble, lost = StorageFault(trouble.kind, "; ".join(lost)), []  # told by the caller
    if lost:
        about = Facts(reason="; ".join(lost))
        core.fault(AlarmName.STORAGE_FAULT, True, now, about)  # the watcher ends it, once read
    return Opened(
        journal=journal,
        trouble=trouble,
        clock=clock,
        clock_sure=clock_sure,
        core=core,
        rebuilt=rebuilt,
    )


def _readable(
    settings: Settings, journal: Journal | None
) -> tuple[JournalReader | None, Moment | None]:
    """A reader of the records, and how far they go; nothing where there are none to read."""
    if journal is None and not os.path.exists(settings.journal_path):
        return None, None
    reader = JournalReader(settings.journal_path)
    try:
        return reader, reader.advanced_to()
    except StorageFault as fault:
        log.error("When the last run ended cannot be read.", extra=facts(why=fault))
        return reader, None


def _numbers(reader: JournalReader | None, now: Moment) -> Callable[[], int]:
    """Entry numbers without a journal to ask: after those it holds, or else seconds of the clock,
    which no journal has come to."""
    first = int(now.at)
    if reader is not None:
        with suppress(StorageFault):
            first = max((entry.number for entry in reader.entries()), default=0) + 1
    numbers = itertools.count(first)
    return lambda: next(numbers)


def _after(numbers: Callable[[], int], known: list[Entry]) -> Callable[[], int]:
    """The same numbers, but none that an entry of the second copy has or that was given before."""
    last = max((entry.number for entry in known), default=0)

    def following() -> int:
        nonlocal last
        last = max(numbers(), last + 1)
        return last

    return following


def _rebuilt(
    make: Callable[[Moment], Core], reader: JournalReader | None, now: Moment
) -> tuple[Rebuilt, list[str]]:
    """What the journal knows, or as much of it as can be had; and what of it is lost, in words."""
    lost: list[str] = []
    if reader is not None:
        with reader:
            for how in (rebuild, from_ledger):
                try:
                    rebuilt = how(make, reader, now)
                    return rebuilt, lost + _left_out(rebuilt.core, reader)
                except Exception:
                    log.exception("The journal cannot be used (%s).", how.__name__)
                    lost = ["what it held before cannot be used"]
    return Rebuilt(core=make(now)), lost


def _left_out(core: Core, reader: JournalReader) -> list[str]:
    """Ledger entries of which the watch does not know what they said."""
    known = {entry.number for entry in core.ledger.entries}
    numbers = set(reader.damaged_entries()) - known  # a snapshot may know it still
    numbers |= {entry.number for entry in core.ledger.entries if _says_nothing(entry)}
    if not numbers:
        return []
    said = ", ".join(str(number) for number in sorted(numbers)[:MOST_NAMED])
    return [f"ledger entry {said} is damaged and left out; compare `brooder flock list`"]


def _says_nothing(entry: Entry) -> bool:
    """Birds of a date or a kind that is none: no such entry was ever taken."""
    if entry.entry is not EntryKind.PLACED:
        return False
    no_date = entry.hatched is not None and iso_date(entry.hatched) is None
    return no_date or (entry.kind is not None and entry.kind not in KINDS)


def catch_up(core: Core, ended: Moment | None, now: Moment, *, on_for_s: float) -> bool:
    """Tells it that nobody watched since the records end, and what the clock did meanwhile. Can the
    clock be right? `on_for_s`: so long the machine has been on."""
    if ended is None:
        return True
    clock_sure = _see_clock(core, ended, now, just_on=on_for_s < JUST_ON_S)
    if not clock_sure:
        why = Facts(reason="the board's clock is behind its own records; it was not set yet")
        core.fault(AlarmName.CLOCK_FAULT, True, now, why)
    if now.at - ended.at >= DOWN_WORTH_TELLING_S:
        _say_gap(core, ended, now, Facts(down_from=ended.at, down_to=now.at))
    elif not clock_sure and now.at - ended.at < -STALE_S:
        _say_gap(core, now, now, Facts())  # it was off, for longer than it knows
    if clock_sure and core.engine.watcher.doubted_s is not None:
        core.fault(AlarmName.CLOCK_FAULT, False, now, Facts())  # it was set while nobody watched
    return clock_sure


def _see_clock(core: Core, ended: Moment, now: Moment, *, just_on: bool) -> bool:
    """A board that has just started with a time before the end of its records, or of those that it
    kept by a sure clock, was not set yet. The clock of one that is on for long was set back."""
    jump_s = now.at - ended.at
    if jump_s < -STALE_S:
        core.clock_jumped(now, jump_s, sure=not just_on)
        return not just_on
    doubted_s = core.engine.watcher.doubted_s
    return doubted_s is None or jump_s + doubted_s >= -STALE_S


def _say_gap(core: Core, ended: Moment, now: Moment, gap: Facts) -> None:
    if not core.ledger.open and not _has_heard(core, now):
        core.pass_over(ended, now)  # entries made before the watch ran for the first time
    else:
        core.fault(AlarmName.WAS_DOWN, True, now, gap)


def _has_heard(core: Core, now: Moment) -> bool:
    status = core.status(now)
    probes = (*status.probes, *(probe for box in status.brooders for probe in box.probes))
    return any(probe.at is not None for probe in probes)
