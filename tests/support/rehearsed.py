"""The birds of the rehearsal's night."""

from monitor.events import Entry, EntryKind
from monitor.service.rehearsed_night import RehearsedNight


def placed(night: RehearsedNight) -> Entry:
    return Entry(
        at=night.at(night.story.starts),
        entry=EntryKind.PLACED,
        brooder="porch",
        count=100,
        hatched=night.hatched.isoformat(),
        kind="broiler",
    )
