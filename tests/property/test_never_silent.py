"""While birds may be in a box, either cold is watched for or somebody is told, urgently, that it is
not: whatever growers write, configurations become, restarts find and probes and clocks do.

A made-up grower keeps chicks in a box that is called one thing or another; the core, the journal
and the second copy are the real ones. The oracle knows only what is true: birds are in the box,
and a floor probe that the configuration has, that is in service and that speaks, has said 8 degC
for five minutes on end."""

import os
import random
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.one_box import stopped_clock

from monitor.brooding.objection import Objection
from monitor.events import Priority
from monitor.service import core_answers
from monitor.service.entry_rules import lost_by
from monitor.service.second_copy import SecondCopy
from monitor.service.startup import open_all
from monitor.settings import load_settings
from monitor.tell.policy import Policy

EXAMPLES = 400 if os.environ.get("BROODER_LONG") else 5
STEPS = 25
T0 = datetime(2026, 2, 10, 1, 0, tzinfo=UTC).timestamp()
WARM_C, COLD_C = 35.0, 8.0
BEYOND_MIN = 6  # a plain alarm's five minutes, and the minute in which the fifth is over
FLOOR, FAR = "b/floor", "b/far"

PROBE = '[[brooders.probes]]\nname = "{name}"\ntopic = "{topic}"\nplace = "{place}"\n'
SIZE = "length_m = 1\nwidth_m = 1\n"
CONFIG = '[journal]\nfolder = "state"\n[[brooders]]\nname = "{box}"\n{more}\n' + SIZE
FLOOR_PROBE = PROBE.format(name="floor", topic=FLOOR, place="floor")
FAR_PROBE = PROBE.format(name="far", topic=FAR, place="floor")
LAMP_PROBE = PROBE.format(name="lamp", topic="b/lamp", place="under-heat")
CONFIGS = [
    (box, more, probes)
    for box, more in (("porch", ""), ("Porch", ""), ("Porch", 'renamed_from = "porch"'))
    for probes in (FLOOR_PROBE, FLOOR_PROBE + FAR_PROBE, LAMP_PROBE, FAR_PROBE + LAMP_PROBE)
]
OTHER_BOX = (
    '[[brooders]]\nname = "shed"\n'
    + SIZE
    + PROBE.format(name="floor", topic="s/floor", place="floor")
)


class Life:
    """One grower's box, lived through minute by minute."""

    def __init__(self, folder: Path, rng: random.Random) -> None:
        self.folder, self.rng = folder, rng
        self.clock = stopped_clock(T0)
        self.config = CONFIGS[1]
        self.birds = False
        self.temp_c = {FLOOR: WARM_C, FAR: WARM_C, "b/lamp": 40.0}
        self.speaks = {FLOOR: True, FAR: True, "b/lamp": True}
        self.cold_min = {FLOOR: 0, FAR: 0}  # minutes on end that were said, with birds in
        self.done: list[str] = []
        self.start()

    # -- the program

    def start(self) -> None:
        self.opened = open_all(self.settings(), self.clock)
        self.core = self.opened.core
        self.copy = SecondCopy(self.folder / "state")
        self.commit()

    def settings(self):
        box, more, probes = self.config
        file = self.folder / "brooder.toml"
        file.write_text(CONFIG.format(box=box, more=more) + probes + OTHER_BOX)
        return load_settings(file, {}, check_contacts=False)

    def commit(self) -> None:
        if self.rng.random() < 0.2:
            self.core.waiting.snapshots = self.core.snapshots()
        out = self.core.take(self.clock.now())
        assert self.opened.journal is not None
        self.opened.journal.commit(out.batch)
        self.copy.keep(self.core.ledger)

    def minute(self) -> None:
        """Readings twice, then what is due."""
        for _ in range(2):
            self.clock.goes_on(30.0)
            for topic, temp_c in self.temp_c.items():
                if self.speaks[topic]:
                    said = f"{temp_c + self.rng.gauss(0, 0.1):.2f}"
                    self.core.hear(topic, said.encode(), self.clock.now())
            self.core.hear("s/floor", b"20.5", self.clock.now())
        self.core.advance(self.clock.now())
        self.commit()
        out = set(self.out_of_service())
        for topic in self.cold_min:
            shown = (
                self.birds
                and self.speaks[topic]
                and topic in self.config[2]
                and topic not in out
                and self.temp_c[topic] == COLD_C
            )
            self.cold_min[topic] = self.cold_min[topic] + 1 if shown else 0
        if max(self.cold_min.values()) >= BEYOND_MIN:
            assert self.told(), f"silent over a cold floor, after {self.done}"

    def minutes(self, count: int) -> None:
        for _ in range(count):
            self.minute()

    def out_of_service(self) -> Iterator[str]:
        status = self.core.status(self.clock.now())
        for box in status.brooders:
            for probe in box.probes:
                if probe.out_of_service:
                    yield {"floor": FLOOR, "far": FAR}.get(probe.name, "")

    def told(self) -> bool:
        """Is anything urgent open for the box, or for the whole site?"""
        return any(
            alarm.active and alarm.priority is Priority.URGENT and alarm.brooder != "shed"
            for alarm in self.core.status(self.clock.now()).all_alarms
        )

    # -- the grower, the board, the world

    def box(self) -> str:
        return self.config[0]

    def enter(self, entry: str, **details: object) -> bool:
        asked = {"entry": entry, "brooder": self.box(), "yes": True, **details}
        try:
            core_answers.asked(self.core, asked, self.clock.now())
        except Objection:
            return False
        self.commit()  # what is answered with success is on the disk
        return True

    def place(self) -> None:
        day = (datetime.fromtimestamp(self.clock.now().at, UTC) - timedelta(days=1)).date()
        known = self.core.ledger.running(self.box()) is not None
        if self.enter("placed", count=50, hatched=day.isoformat(), kind="broiler"):
            self.birds = True
            if not known:
                self.begins_anew()

    def one_dead(self) -> None:
        self.enter("loss", count=1)

    def move_out(self) -> None:
        if self.enter("moved"):
            self.birds = False

    def wrongly_all_lost_and_taken_back(self) -> None:
        batch = self.core.ledger.running(self.box())
        if batch is not None and self.enter("loss", count=batch.head_count()):
            # Not the last in order of time: a clock that was set, or damage, dates others later.
            number = max(entry.number for entry in self.core.ledger.entries)
            assert self.enter("undo", undoes=number, brooder=None)

    def answer(self) -> None:
        self.enter("acknowledge", brooder=None)

    def take_out(self) -> None:
        probe = self.rng.choice([None, "floor", "far"])
        key = None if probe is None else f"{self.box()}/{probe}"
        self.enter("out-of-service", probe=key)

    def put_back(self) -> None:
        for probe in (None, "floor", "far"):
            self.enter("in-service", probe=probe and f"{self.box()}/{probe}")

    def falls_cold(self) -> None:
        self.temp_c[FLOOR] = COLD_C
        self.temp_c[FAR] = self.rng.choice([COLD_C, WARM_C])

    def is_warm(self) -> None:
        self.temp_c[FLOOR] = self.temp_c[FAR] = WARM_C

    def falls_silent(self) -> None:
        self.speaks[self.rng.choice([FLOOR, FAR])] = False

    def speaks_again(self) -> None:
        self.speaks = dict.fromkeys(self.speaks, True)

    def reload(self) -> None:
        known = self.core.ledger.running(self.box())
        before, self.config = self.config, self.rng.choice(CONFIGS)
        site = self.settings().site
        if lost_by(self.core.ledger, self.core.site, site):
            self.config = before
            return
        self.core.reconfigured(site, (), Policy(), self.clock.now())
        if self.core.ledger.running(self.box()) is not known:
            self.begins_anew()

    def restart(self) -> None:
        self.stop()
        self.start()

    def restart_with_another_configuration(self) -> None:
        self.stop()
        self.config = self.rng.choice(CONFIGS)
        self.start()

    def restart_on_a_damaged_journal(self) -> None:
        self.stop()
        path = self.folder / "state" / "journal.db"
        raw = bytearray(path.read_bytes())
        how = self.rng.choice(["all", "some", "gone", "empty"])
        if how == "gone":
            path.unlink()
        elif how == "empty":
            path.write_bytes(b"")
        else:
            for _ in range(len(raw) if how == "all" else 2000):
                raw[self.rng.randrange(len(raw))] = self.rng.randrange(256)
            path.write_bytes(b"\xa5" * len(raw) if how == "all" else raw)
        if self.rng.random() < 0.4 and how in ("all", "some"):
            for copy in (self.folder / "state").glob("birds/*.json"):
                copy.write_text("{}")
        self.start()

    def stop(self) -> None:
        assert self.opened.journal is not None
        if self.rng.random() < 0.5:  # else it was killed
            self.core.waiting.snapshots = self.core.snapshots()
            self.commit()
        self.opened.journal.close()
        self.clock.goes_on(self.rng.choice([2.0, 30.0, 3600.0]))
        self.begins_anew()

    def begins_anew(self) -> None:
        """Nobody was there to hear the floor, or to know the birds, until now."""
        self.cold_min = dict.fromkeys(self.cold_min, 0)

    def clock_jumps(self) -> None:
        jump_s = self.rng.choice([3600.0, -10800.0, 86400.0, 7 * 86400.0, -7 * 86400.0])
        self.clock.wall += jump_s
        self.core.clock_jumped(self.clock.now(), jump_s)
        self.core.waiting.snapshots = self.core.snapshots()  # as the watch does after a jump
        self.commit()

    ACTIONS = (
        place, place, one_dead, move_out, wrongly_all_lost_and_taken_back, answer, take_out,
        put_back, falls_cold, falls_cold, falls_cold, is_warm, falls_silent, speaks_again, reload,
        restart, restart_with_another_configuration, restart_on_a_damaged_journal, clock_jumps,
    )  # fmt: skip


@contextmanager
def lived(seed: int) -> Iterator[Life]:
    with tempfile.TemporaryDirectory() as folder:
        life = Life(Path(folder), random.Random(seed))
        try:
            yield life
        finally:
            if life.opened.journal is not None:
                life.opened.journal.close()


@given(seed=st.integers(0, 2**32))
@settings(max_examples=EXAMPLES, deadline=None)
def test_birds_in_the_cold_are_told_of_or_that_nobody_watches_over_them(seed: int) -> None:
    with lived(seed) as life:
        life.place()
        for _ in range(STEPS):
            action = life.rng.choice(life.ACTIONS)
            life.done.append(action.__name__)
            action(life)
            life.minutes(life.rng.choice([1, 3, 8, 20]))


def test_the_oracle_itself_sees_a_watch_that_sleeps() -> None:
    """What it is for: a core that forgets its birds is found out."""
    with lived(1) as life:
        life.place()
        life.falls_cold()
        known = life.core.engine._ledger
        known.ledger = type(known.ledger)()
        known._entries.clear()  # as no entry can do it
        for box in life.core.engine._boxes.values():
            box.begin_batch(None, life.clock.steady)
        with pytest.raises(AssertionError, match="silent over a cold floor"):
            life.minutes(10)
