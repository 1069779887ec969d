"""However a changed configuration comes into force, by a reload, by a stop and a start or by a kill
and a start, the same is told from then on, word for word, and what stands on the page is what was
told and is not over, and what the record knows no end of.

A made-up grower changes boxes, names, probes, limits and contacts while floors go cold and hot and
probes fall silent; the core and the journal are the real ones."""

import os
import random
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_meter, a_probe, a_site

from monitor.events import Change, ChangeKind, Entry, EntryKind, Moment, Priority
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal
from monitor.quantities import COVER
from monitor.service.core import Core
from monitor.service.entry_rules import lost_by
from monitor.service.rebuild import rebuild
from monitor.site import Brooder, Limits, Place, Site
from monitor.tell.contact import Contact
from monitor.tell.policy import Policy

EXAMPLES = 200 if os.environ.get("BROODER_LONG") else 4
STEPS = 14
STATE_EVERY_S = 900.0
HOWS = ("reload", "stop", "kill")
LIMITS = (Limits(), Limits(harm_c=8.0), Limits(band_delay_s=300.0), Limits(harm_delay_s=120.0))
FLOORS_C = (8.0, 24.0, 31.0, 35.0, 35.0, 39.0, 45.0)
Told = tuple[float, str, tuple[str, ...], str, str]


def named(name: str, number: int, like: Brooder) -> Brooder:
    """What a probe says goes on whatever its box is called."""
    topics = (f"{number}/{probe.name}" for probe in like.probes)
    probes = (
        replace(probe, key=f"{name}/{probe.name}", brooder=name, topic=topic)
        for probe, topic in zip(like.probes, topics, strict=True)
    )
    meters = (replace(meter, brooder=name) for meter in like.meters)
    return replace(like, name=name, probes=tuple(probes), meters=tuple(meters))


class Life:
    """Two boxes, lived through with one way of changing the configuration."""

    def __init__(self, path: Path, how: str, seed: int) -> None:
        self.path, self.how, self.rng = path, how, random.Random(seed)
        self.at = self.kept_at = EVENING
        self.told: list[Told] = []
        self.open: dict[str, Change] = {}  # by the record
        self.said_c: dict[str, float | None] = {}
        self.boxes = [named(f"box {n}", n, a_brooder(floors=2)) for n in range(2)]
        self.people: tuple[Contact, ...] = (Contact(name="ann", url="json://a"),)
        self.journal = Journal.open(path)
        self.core = self.made(self.now)
        self.keep(state=True)
        for box in self.boxes:
            self.core.enter(chicks_in(EVENING, brooder=box.name), self.now)

    @property
    def now(self) -> Moment:
        return Moment(self.at, self.at)

    @property
    def site(self) -> Site:
        return a_site(*self.boxes, outside=True)

    def made(self, begin: Moment) -> Core:
        numbers = self.journal.next_entry_number
        return Core(self.site, begin, contacts=self.people, next_entry_number=numbers)

    def keep(self, *, state: bool = False) -> None:
        if state or self.core.snapshot_wanted or self.at - self.kept_at >= STATE_EVERY_S:
            self.core.snapshot_wanted, self.kept_at = False, self.at
            self.core.waiting.snapshots = self.core.snapshots()
        output = self.core.take(self.now)
        self.journal.commit(output.batch)
        self.told += [(self.at, m.kind.value, m.contacts, m.title, m.body) for m in output.messages]
        for change in output.batch.changes:
            if change.change is ChangeKind.RAISED:
                self.open[change.occurrence] = change
            elif change.change in (ChangeKind.CLEARED, ChangeKind.SHELVED):
                self.open.pop(change.occurrence, None)

    def minutes(self, count: int) -> None:
        for _ in range(2 * count):
            self.at += 30.0
            self.core.advance(self.now)
            for number, probe in enumerate(self.core.site.all_probes):
                temp_c = self.said_c.get(probe.topic, 5.0 if probe.brooder is None else 35.0)
                if temp_c is not None:
                    said = f"{temp_c + self.at % (70 + 30 * number) / 400:.2f}"
                    self.core.hear(probe.topic, said.encode(), self.now)
            self.core.advance(self.now)
            self.keep()
        status = self.core.status(self.now)
        shown = {alarm.occurrence for alarm in status.all_alarms if alarm.active}
        assert shown == self.open.keys(), "on the page, and by the record"

    # -- the grower and the world

    def floors(self) -> None:
        topics = [probe.topic for box in self.boxes for probe in box.probes]
        for topic in self.rng.sample(topics, self.rng.choice([1, 2, len(topics)])):
            self.said_c[topic] = self.rng.choice(FLOORS_C)

    def silent(self) -> None:
        self.said_c[self.rng.choice(self.rng.choice(self.boxes).probes).topic] = None

    def acts(self) -> None:
        kind, alarm = self.rng.choice(
            [
                (EntryKind.ACKNOWLEDGE, None),
                (EntryKind.SHELVE, "chill"),
                (EntryKind.OUT_OF_SERVICE, None),
                (EntryKind.IN_SERVICE, None),
            ]
        )
        box = self.rng.choice(self.boxes)
        self.core.enter(Entry(at=self.at, entry=kind, brooder=box.name, alarm=alarm), self.now)

    def changes(self) -> None:
        """One to three things at once."""
        boxes, people = list(self.boxes), self.people
        for _ in range(self.rng.choice([1, 1, 2, 3])):
            self.rng.choice(self.CHANGES)(self)
        wanted = self.site
        if lost_by(self.core.ledger, self.core.site, wanted):
            self.boxes, self.people = boxes, people
            return
        if self.how == "reload":
            self.core.reconfigured(wanted, self.people, Policy(), self.now)
        else:
            self.keep(state=self.how == "stop")
            self.journal.close()
            self.journal = Journal.open(self.path)
            with JournalReader(self.path) as reader:
                self.core = rebuild(partial(Life.made, self), reader, self.now).core
            self.core.fit_configuration(self.now)
        self.core.advance(self.now)
        self.keep(state=True)

    def another(self, number: int, box: Brooder) -> None:
        self.boxes[number] = named(box.name, number, box)

    def renamed(self) -> None:
        number = self.rng.randrange(2)
        box, taken = self.boxes[number], {box.name for box in self.boxes}
        name = self.rng.choice([n for n in ("porch", "shed", "barn", "box 0") if n not in taken])
        self.another(number, replace(box, name=name, renamed_from=box.name))
        other = self.boxes[1 - number]
        if other.renamed_from in {name, box.name}:  # as the settings ask for
            self.boxes[1 - number] = replace(other, renamed_from=None)

    def another_probe(self) -> None:
        number = self.rng.randrange(2)
        box = self.boxes[number]
        place = self.rng.choice([Place.FLOOR, Place.COOL_END, Place.UNDER_HEAT, Place.OUTSIDE])
        more = (a_probe(box.name, "more", place),)
        self.another(number, replace(box, probes=(box.probes[0], *self.rng.choice([(), more]))))

    def another_meter(self) -> None:
        number = self.rng.randrange(2)
        box = self.boxes[number]
        self.another(number, replace(box, meters=() if box.meters else (a_meter(COVER, box.name),)))

    def another_limit(self) -> None:
        number = self.rng.randrange(2)
        self.another(number, replace(self.boxes[number], limits=self.rng.choice(LIMITS)))

    def other_people(self) -> None:
        ann, ben, cat = (Contact(name=name, url="json://x") for name in ("ann", "ben", "cat"))
        late = replace(ben, after_minutes=15.0)
        urgent = replace(cat, priorities=frozenset({Priority.URGENT}))
        self.people = self.rng.choice([(ann,), (ben,), (ann, late), (ann, urgent), (cat, ben)])

    CHANGES: tuple[Callable[["Life"], None], ...] = (
        renamed, another_probe, another_probe, another_meter, another_limit, other_people,
        other_people,
    )  # fmt: skip
    ACTIONS: tuple[Callable[["Life"], None], ...] = (
        floors, floors, silent, acts, changes, changes, changes,
    )  # fmt: skip


def told_of(how: str, seed: int) -> list[Told]:
    with tempfile.TemporaryDirectory() as folder:
        life = Life(Path(folder) / "journal.db", how, seed)
        try:
            for _ in range(STEPS):
                life.rng.choice(life.ACTIONS)(life)
                life.minutes(life.rng.choice([1, 3, 8, 25]))
        finally:
            life.journal.close()
        return life.told


@given(seed=st.integers(0, 2**32))
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_same_is_told_however_a_configuration_comes_into_force(seed: int) -> None:
    reloaded, stopped, killed = (told_of(how, seed) for how in HOWS)
    assert reloaded == stopped
    assert reloaded == killed
