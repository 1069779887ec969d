"""What a probe sends is no number: told of the probe, in the morning while temperatures come in
between and at once when none does; one such message is told nowhere."""

from itertools import count, cycle
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.one_box import settings_of

from monitor.events import AlarmName, Change, ChangeKind, Moment, Priority
from monitor.service.core import Core
from monitor.service.rehearsed_night import SITE_FILE

START = 1_770_000_000.0


@pytest.fixture
def core(tmp_path: Path) -> Core:
    site = settings_of(tmp_path, SITE_FILE.format(timezone="America/Chicago", units="celsius")).site
    start = Moment(START, START)
    core = Core(site, start, next_entry_number=count(1).__next__)
    placed = chicks_in(START, hatched="2026-02-01")
    core.enter(placed, start)
    return core


def said_of_probes(core: Core, *payloads: bytes, minutes: int = 30) -> list[Change]:
    """What is raised and renewed of probes while these come over and over, every ten seconds."""
    rows = cycle(payloads)
    for second in range(0, 60 * minutes, 10):
        now = Moment(START + second, START + second)
        core.hear("brooder/porch/floor", next(rows), now)
        core.hear("brooder/porch/outside", b"5.0", now)
    changes = core.take(now).batch.changes
    about = (AlarmName.PROBE_FAULT, AlarmName.NO_READINGS)
    return [
        c
        for c in changes
        if c.alarm in about and c.change is ChangeKind.RAISED and c.probe in (None, "porch/floor")
    ]


def test_garbage_between_readings_is_told_of_its_probe_and_waits_for_the_morning(core: Core):
    (found,) = said_of_probes(core, b"ERR", b"35.0", b"35.1")
    assert (found.probe, found.priority) == ("porch/floor", Priority.ADVICE)
    assert found.facts["reason"] == 'what it sends cannot be read: it is "ERR", not a number'
    assert found.at <= START + 120.0


def test_garbage_alone_is_told_at_once(core: Core):
    found = said_of_probes(core, b"null")
    assert [(c.alarm, c.priority) for c in found] == [
        (AlarmName.PROBE_FAULT, Priority.WARNING),
        (AlarmName.NO_READINGS, Priority.URGENT),
    ]
    assert found[0].at <= START + 120.0
    assert "is heard, but what it sends cannot be read: it is " in found[1].facts["reason"]


def test_one_message_that_is_no_number_is_told_nowhere(core: Core):
    assert said_of_probes(core, *[b"35.0"] * 90, b"ERR", *[b"35.0"] * 89) == []


def test_however_much_garbage_comes_little_of_it_is_kept(core: Core):
    for thousandth in range(20_000):
        at = START + thousandth / 1000.0
        core.hear("brooder/porch/floor", b"ERR", Moment(at, at))
    assert len(core.take(Moment(at, at)).batch.inputs) <= 3
