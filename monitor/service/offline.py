"""Commands while no service runs: this process is the journal's one writer for a moment.

The entry goes through the same core as in the service. Messages that come of it wait in the outbox
and go out at the next start."""

import time
from typing import Any

from monitor.brooding.objection import Objection
from monitor.events import AlarmName, Facts, Moment
from monitor.journal.opening import about_aside
from monitor.journal.ownership import make_folder
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal
from monitor.service import core_answers, second_copy
from monitor.service.core import Core
from monitor.service.rebuild import rebuild
from monitor.service.startup import catch_up, core_of
from monitor.settings import Settings


def answer(settings: Settings, what: str, details: dict[str, Any]) -> Any:
    """What the service would answer. Raises Objection, StorageFault."""
    make_folder(settings.state_folder)
    at = round(time.time(), 3)
    with Journal.open(settings.journal_path) as journal, JournalReader(journal.path) as reader:
        ended = reader.advanced_to()
        now = Moment(at, max(at, ended.at if ended is not None else at))

        def make(begin: Moment) -> Core:
            return core_of(settings, begin, journal.next_entry_number)

        core = rebuild(make, reader, now).core
        # Nor does anybody watch now: a probe that was not heard is not to blame.
        catch_up(core, ended, now, on_for_s=time.monotonic())
        core.learn(second_copy.read(settings.state_folder).entries, now)
        core.fit_configuration(now)
        if journal.set_aside is not None:  # told with the next start's messages
            about = Facts(reason=about_aside(journal.set_aside))
            core.fault(AlarmName.STORAGE_FAULT, True, now, about)
            core.waiting.snapshots = core.snapshots()
            journal.commit(core.take(now).batch)
        if (question := core_answers.QUESTIONS.get(what)) is not None:
            return question(core, now, **details)
        if what != "entry":
            raise Objection(f"{what} needs the running service; start it with: brooder watch")
        said = core_answers.asked(core, details, now)
        core.waiting.snapshots = core.snapshots()
        journal.commit(core.take(now).batch)
        second_copy.SecondCopy(settings.state_folder).keep(core.ledger)
        return said
