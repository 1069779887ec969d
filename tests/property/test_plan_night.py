"""Whole nights through the real engine and the planner: few messages for one cause, and the same
messages however often the service is killed. Pure: no process, no clock."""

import json
import os
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from random import Random

import pytest
from support.scenarios import Night, make
from support.watched import DAY_0, placed, readings, site_of

from monitor.events import Entry, EntryKind, Moment, Reading
from monitor.journal.records import OutboxRow
from monitor.tell.contact import Contact
from monitor.tell.message import Message, MessageKind
from monitor.tell.notification_plan import NotificationPlan
from monitor.tell.outbox import Outbox, rows
from monitor.watch.engine import Engine

CONTACTS = (
    Contact(name="me", url="json://nowhere"),
    Contact(name="ann", url="json://nowhere", after_minutes=15),
)
HOUR_S = 3600.0
LONG = os.environ.get("BROODER_LONG") == "1"
KILLS = 1000 if LONG else 100
SEEDS = (1, 3, 5, 7, 9, 11) if LONG else (3, 7, 11)
NOT_COUNTED = (
    MessageKind.AGAIN,
    MessageKind.PASSED_ON,
    MessageKind.MORNING,
)  # scheduled, not caused


@cache
def night_of(kind: str, seed: int) -> Night:
    return make(kind, seed, every_s=60)


class Service:
    """Engine and planner as a process holds them; `shift_s` is where its steady clock stands."""

    def __init__(self, night: Night, shift_s: float = 0.0) -> None:
        self.shift_s = shift_s
        start = DAY_0 + night.from_s
        self.now = Moment(start, start + shift_s)
        self.engine = Engine(site_of(night), self.now)
        self.plan = NotificationPlan(
            site_of(night), CONTACTS, look=lambda: self.engine.status(self.now)
        )

    def take(self, item: Entry | Reading) -> list[Message]:
        """One input, at its time."""
        self.now = Moment(item.at, item.at + self.shift_s)
        if isinstance(item, Reading):
            changes = self.engine.reading(item._replace(tick=self.now.tick))
        else:
            changes = self.engine.entry(item, self.now)
        due = self.plan.next_due
        if not changes and due is not None and due > self.now.tick:
            return []
        return self.plan.changes(changes, self.now)


def inputs_of(night: Night) -> list[Entry | Reading]:
    """What comes in, in order, at whole seconds."""
    taken: list[Entry | Reading] = [placed(night)]
    for reading in readings(night):
        at = float(round(reading.at))
        taken.append(reading._replace(at=at, tick=at, temp_c=round(reading.temp_c, 4)))
    return taken


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", ["lamp", "all"])
def test_a_night_with_a_failed_lamp_gives_at_most_three_messages_besides_repeats(kind, seed):
    night = night_of(kind, seed)
    assert night.event_at is not None
    failed_at = DAY_0 + night.event_at
    service = Service(night)
    said = [message for item in inputs_of(night) for message in service.take(item)]
    earlier = {message.thread for message in said if message.at < failed_at}  # another cause
    told = [
        message
        for message in said
        if message.thread not in earlier
        and failed_at <= message.at <= failed_at + 12 * HOUR_S
        and message.kind not in NOT_COUNTED
    ]
    print(f"\n{kind} {seed}: {len(told)} messages")
    assert 1 <= len(told) <= 3


@dataclass
class Disk:
    """What outlives a kill."""

    inputs: list[Entry | Reading] = field(default_factory=list)
    mark: int = 0
    snapshot: str | None = None
    shift_s: float = 0.0  # of the process that wrote the snapshot
    outbox: dict[tuple[str, str], OutboxRow] = field(default_factory=dict)
    sent: set[tuple[str, str]] = field(default_factory=set)

    def unsent(self) -> list[OutboxRow]:
        return [row for key, row in self.outbox.items() if key not in self.sent]


class Killed(Exception):
    """The process is gone."""


class Life:
    """One service's life over a disk, with kills at random moments."""

    def __init__(self, night: Night, rng: Random | None, kills: int) -> None:
        self.night, self.rng = night, rng
        self.inputs = inputs_of(night)
        self.disk = Disk()
        self.arrived: Counter[tuple[str, str]] = Counter()
        self.kills = 0
        self._wanted = kills

    def run(self) -> None:
        """Until every input is on disk and every message sent."""
        while True:
            try:
                self._live()
            except Killed:
                self.kills += 1
            else:
                return

    def _danger(self, chance: float) -> None:
        if self.rng is not None and self.kills < self._wanted and self.rng.random() < chance:
            raise Killed

    def _live(self) -> None:
        self.service, self.outbox = self._rebuilt()
        self._send([])
        pending: list[Entry | Reading] = []
        messages: list[Message] = []
        # The broker keeps what was not acknowledged: everything after what is on disk.
        for item in self.inputs[len(self.disk.inputs) :]:
            self._danger(0.02)
            messages += self.service.take(item)
            pending.append(item)
            if messages or len(pending) >= 20:
                self._commit(pending, messages)
                pending, messages = [], []
        self._commit(pending, messages)

    def _commit(self, pending: list[Entry | Reading], messages: list[Message]) -> None:
        self._danger(0.05)
        disk = self.disk
        disk.inputs += pending
        for message in messages:
            for row in rows(message):
                disk.outbox.setdefault((row.key, row.contact), row)
        if len(disk.inputs) - disk.mark >= 100:
            states = [self.service.engine.kept(), self.service.plan.kept()]
            disk.snapshot, disk.mark = json.dumps(states), len(disk.inputs)
            disk.shift_s = self.service.shift_s
        self._danger(0.05)
        self._send(messages)

    def _send(self, messages: list[Message]) -> None:
        now = self.service.now
        for message in messages:
            self.outbox.add(message, now)
        for contact in self.outbox.contacts:
            while (message := self.outbox.take(contact, now)) is not None:
                self._danger(0.1)
                self.arrived[message.key, contact] += 1
                self._danger(0.1)  # it arrived, and nobody wrote that down
                for outcome in self.outbox.done(contact, None, now):
                    self.disk.sent.add((outcome.key, outcome.contact))

    def _rebuilt(self) -> tuple[Service, Outbox]:
        disk = self.disk
        shift_s = float(self.rng.randrange(-(10**6), 10**6)) if self.rng else 0.0
        service = Service(self.night, shift_s)
        if disk.snapshot is not None:
            engine, plan = json.loads(disk.snapshot)
            service.engine.restore(engine, shift_s - disk.shift_s)
            service.plan.restore(plan, shift_s - disk.shift_s)
        for item in disk.inputs[disk.mark :]:
            for message in service.take(item):
                for row in rows(message):
                    assert (row.key, row.contact) in disk.outbox, f"{row.key} was not told before"
        outbox = Outbox(contact.name for contact in CONTACTS)
        outbox.restore(disk.unsent(), service.now)
        return service, outbox


def test_however_often_it_is_killed_it_sends_the_same_with_at_most_one_extra_copy_for_a_kill():
    night = night_of("lamp", 3)
    whole = Life(night, None, 0)
    whole.run()
    assert set(whole.arrived.values()) == {1}
    kills = copies = 0
    for seed in range(100):
        if kills >= KILLS:
            break
        life = Life(night, Random(seed), KILLS - kills)
        life.run()
        kills += life.kills
        copies += life.arrived.total() - whole.arrived.total()
        assert set(life.arrived) == set(whole.arrived)
        assert life.arrived.total() - whole.arrived.total() <= life.kills
    print(f"\n{kills} kills, {copies} extra copies of {whole.arrived.total()} messages")
    assert kills == KILLS


def test_an_answer_in_the_night_is_kept_over_a_kill():
    night = night_of("lamp", 3)
    service = Service(night)
    said: list[Message] = []
    for item in inputs_of(night):
        said += service.take(item)
        if any(m.kind is MessageKind.AGAIN for m in said):
            break
    now = service.now
    answer = Entry(at=now.at, entry=EntryKind.ACKNOWLEDGE, brooder="porch", number=2, by="me")
    service.take(answer)
    states = json.loads(json.dumps([service.engine.kept(), service.plan.kept()]))
    second = Service(night, 500.0)
    second.engine.restore(states[0], 500.0)
    second.plan.restore(states[1], 500.0)
    second.now = Moment(now.at, now.tick + 500.0)
    late = Moment(now.at + 2 * HOUR_S, now.tick + 500.0 + 2 * HOUR_S)
    assert [m for m in second.plan.advance(late) if m.kind is MessageKind.AGAIN] == []
