"""Stopped or killed, and started with another configuration: the record since the last state is
lived through by the one under which it was heard, and only then the new one is taken, as a reload
does. What comes of that is told, once."""

import json
from dataclasses import replace
from datetime import time
from functools import partial
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_meter, a_site, plugged

from monitor.events import ChangeKind, Entry, EntryKind, Moment, Priority
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal
from monitor.kept import freeze, thaw
from monitor.measures import Price
from monitor.quantities import MAINS, POWER
from monitor.service.core import Core
from monitor.service.in_force import InForce
from monitor.service.rebuild import rebuild
from monitor.site import Limits, ScheduleRow, Site, Steps
from monitor.tell.contact import Contact
from monitor.tell.message import MessageKind
from monitor.tell.policy import Policy

PRICE, URGENT_ALONE = Price(0.17, "$", ""), frozenset({Priority.URGENT})
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
        self.people = PHONE
        self.journal = Journal.open(path)
        self.journal.know(site.all_probes)
        self.core = self._made(site, self.now)
        self.keep(state=True)  # with the first commit, as the service does

    @property
    def now(self) -> Moment:
        return Moment(self.at, self.at)

    def _made(self, site: Site, begin: Moment) -> Core:
        numbers = self.journal.next_entry_number
        return Core(site, begin, contacts=self.people, next_entry_number=numbers)

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
        self.core.fit_configuration(self.now)
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
    killed.enter(chicks_in(EVENING))
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
    porch.enter(chicks_in(EVENING))
    porch.floor(28.0, 1200.0)
    assert not any("dangerously" in title for _, title in porch.told)
    porch.starts_with(PORCH)
    porch.floor(28.0, 120.0)
    told = [(kind, title) for kind, title in porch.told if "dangerously" in title]
    assert told == [(MessageKind.RAISED, "porch: dangerously cold")]


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


@pytest.mark.parametrize("state", [True, False], ids=["stopped", "killed"])
def test_who_is_new_among_the_contacts_hears_at_once_of_what_nobody_has_answered(
    porch: Killed, state: bool
) -> None:
    """It was passed on to them while the start read its journal, and that message was dropped."""
    porch.floor(21.0, 300.0)
    porch.keep(state=state)
    porch.people = (*PHONE, Contact(name="neighbour", url="json://b"))
    told = porch.starts_with(PORCH)
    assert [kind for kind, _ in told] == [MessageKind.PASSED_ON]


def test_what_was_told_of_a_box_that_has_another_name_since_is_over_in_the_record_too(
    porch: Killed,
) -> None:
    """What was raised after the last state had no end, neither told nor kept."""
    porch.floor(21.0, 300.0)
    told = porch.starts_with(a_site(replace(a_brooder("shed"), renamed_from="porch")))
    assert (MessageKind.OVER, "porch: alarm ended") in told
    with JournalReader(porch.path) as reader:
        newest = {change.occurrence: change for change in reader.changes()}
    assert {change.change for change in newest.values()} == {ChangeKind.CLEARED}
    assert {change.facts["reason"] for change in newest.values()} == {"the box is called shed now"}


def test_the_configuration_in_force_is_read_back_as_it_was_without_secrets() -> None:
    rows = (ScheduleRow(from_day=0.0, target_c=35.0), ScheduleRow(from_day=7.0, target_c=32.0))
    box = replace(plugged(a_brooder(floors=2)), own_schedule=rows, steps=Steps.STRAIGHT)
    site = replace(a_site(box, outside=True), meters=(a_meter(MAINS, None),), price_per_kwh=PRICE)
    me = Contact(name="me", url="json://secret", quiet_from=time(22), priorities=URGENT_ALONE)
    in_force = InForce.of(site, (me,), Policy(morning_at=time(6, 30)))
    kept = json.dumps(freeze(in_force))
    back = thaw(InForce, json.loads(kept), 0.0)
    assert back == in_force
    assert {id(m.quantity) for m in back.site.all_meters} == {id(POWER), id(MAINS)}
    assert "secret" not in kept
