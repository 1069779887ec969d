"""Killed, and started with another configuration: the record since the last state is lived through
by a configuration under which it was not heard. What comes of that and stands is told, once."""

from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from support.engine_night import EVENING, a_brooder, a_site, hatched_today

from monitor.events import Entry, EntryKind, Moment
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal
from monitor.service.core import Core
from monitor.service.rebuild import rebuild
from monitor.site import Limits, Site
from monitor.tell.contact import Contact
from monitor.tell.message import MessageKind
from monitor.tell.policy import Policy

PHONE = (Contact(name="phone", url="json://a"),)
PORCH = a_site(a_brooder())
RENAMED = a_site(a_brooder("Porch"))
LOOSER = a_site(a_brooder(limits=replace(Limits(), harm_c=20.0)))
SOONER = a_site(a_brooder(limits=replace(Limits(), harm_delay_s=20.0)))


class Killed:
    """One journal, and a run after the other on it, each killed."""

    def __init__(self, path: Path, site: Site) -> None:
        self.path = path
        self.at = EVENING
        self.told: list[tuple[MessageKind, str]] = []
        self.journal = Journal.open(path)
        self.journal.know(site.all_probes)
        self.core = self._made(site, self.now)
        self.keep(state=True)  # with the first commit, as the service does

    @property
    def now(self) -> Moment:
        return Moment(self.at, self.at)

    def _made(self, site: Site, begin: Moment) -> Core:
        numbers = self.journal.next_entry_number
        return Core(site, begin, contacts=PHONE, next_entry_number=numbers)

    def keep(self, *, state: bool = False) -> None:
        if state or self.core.snapshot_wanted:
            self.core.snapshot_wanted = False
            self.core.waiting.snapshots = self.core.snapshots()
        output = self.core.take(self.now)
        self.told += [(message.kind, message.title) for message in output.messages]
        self.journal.commit(output.batch)

    def floor(self, temp_c: float, for_s: float) -> None:
        end = self.at + for_s
        while self.at < end:
            self.at += 10.0
            self.core.advance(self.now)
            said = f"{temp_c + self.at % 70 / 1000:.3f}"
            self.core.hear("brooder/porch/floor", said.encode(), self.now)
            self.keep()

    def enter(self, entry: Entry) -> None:
        self.core.enter(entry, self.now)
        self.keep()

    def starts_with(self, site: Site) -> list[tuple[MessageKind, str]]:
        """What is told in the first minute."""
        self.journal.close()
        self.journal = Journal.open(self.path)
        self.journal.know(site.all_probes)
        before = len(self.told)
        with JournalReader(self.path) as reader:
            rebuilt = rebuild(partial(self._made, site), reader, self.now)
        self.core = rebuilt.core
        self.core.fit_configuration(self.now, rebuilt.untold)
        self.at += 60.0
        self.core.advance(self.now)
        self.keep(state=True)
        return self.told[before:]

    def reminded_of(self, for_s: float) -> list[tuple[MessageKind, str]]:
        before, end = len(self.told), self.at + for_s
        while self.at < end:
            self.at += 60.0
            self.core.advance(self.now)
            self.keep()
        return self.told[before:]


@pytest.fixture
def porch(tmp_path: Path) -> Killed:
    killed = Killed(tmp_path / "journal.db", PORCH)
    killed.enter(hatched_today())
    return killed


def test_birds_whose_box_has_another_name_since_are_told_of_once(porch: Killed) -> None:
    """The watch had "raised" that they are not watched while it read its journal, told nobody, and
    reminded of it a quarter of an hour later."""
    porch.floor(35.0, 300.0)
    unwatched = (MessageKind.RAISED, "Hillside: cold is not watched for")
    assert porch.starts_with(RENAMED) == [unwatched]
    assert porch.starts_with(RENAMED) == []
    again = porch.reminded_of(3600.0)
    assert {kind for kind, _ in again} == {MessageKind.AGAIN}, "of one that is told"


@pytest.mark.parametrize("site", [PORCH, SOONER], ids=["as it was", "another delay"])
def test_what_was_told_before_the_kill_is_not_told_again(porch: Killed, site: Site) -> None:
    porch.floor(21.0, 300.0)
    assert [kind for kind, _ in porch.told] == [MessageKind.RAISED]
    assert porch.starts_with(site) == []


def test_a_floor_that_is_dangerously_cold_by_the_new_limits_is_told(tmp_path: Path) -> None:
    porch = Killed(tmp_path / "journal.db", LOOSER)
    porch.enter(hatched_today())
    porch.floor(28.0, 1200.0)
    assert not any("dangerously" in title for _, title in porch.told)
    told = porch.starts_with(PORCH)
    assert [kind for kind, _ in told] == [MessageKind.RAISED], told
    assert "dangerously cold" in told[0][1]


def test_after_a_reload_nothing_is_judged_anew(porch: Killed) -> None:
    """A record from before a reload is another configuration's: no start lives through it."""
    porch.floor(35.0, 300.0)
    out = Entry(at=porch.at, entry=EntryKind.MOVED, brooder="porch", count=100)
    porch.enter(out)
    shed = a_site(a_brooder("shed"))
    porch.core.reconfigured(shed, PHONE, Policy(), porch.now)
    porch.keep()
    with JournalReader(porch.path) as reader:
        snapshot = reader.snapshot("engine")
        assert snapshot is not None
        assert not list(reader.inputs_since(snapshot.mark))
    assert porch.starts_with(shed) == []
