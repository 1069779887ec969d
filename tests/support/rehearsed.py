"""The birds of the rehearsal's night."""

from support.birds import chicks_in

from monitor.events import Entry
from monitor.service.rehearsed_night import RehearsedNight


def placed(night: RehearsedNight) -> Entry:
    return chicks_in(night.at(night.story.starts), hatched=night.hatched.isoformat())
