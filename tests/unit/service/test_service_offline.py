"""A command while no service runs: it enters what it is told, and blames nobody for the silence."""

import time
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.one_box import settings_of, started

from monitor.events import AlarmName, Moment
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal
from monitor.service import offline
from monitor.service.core import Core
from monitor.service.rehearsed_night import SITE_FILE
from monitor.settings import Settings

AWAY_S = 3600.0


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return settings_of(tmp_path, SITE_FILE.format(timezone="America/Chicago", units="celsius"))


def ended(settings: Settings, at: float) -> None:
    """A service that watched a warm floor until then."""
    begun = at - 600.0
    with Journal.open(settings.journal_path) as journal:
        core = Core(
            settings.site, Moment(begun, begun), next_entry_number=journal.next_entry_number
        )
        placed = chicks_in(begun, hatched=time.strftime("%Y-%m-%d", time.gmtime(begun - 86400)))
        core.enter(placed, Moment(begun, begun))
        for second in range(0, 600, 10):
            core.hear("brooder/porch/floor", b"35.0", Moment(begun + second, begun + second))
        core.waiting.snapshots = core.snapshots()
        journal.commit(core.take(Moment(at, at)).batch)


def test_an_entry_while_nobody_watches_raises_no_silence_and_the_gap_stays_one(
    settings: Settings,
) -> None:
    left = round(time.time() - AWAY_S, 3)
    ended(settings, left)
    said = offline.answer(settings, "entry", {"entry": "loss", "brooder": "porch", "count": 2})
    assert said["changes"] == []
    assert said["head_count"] == 98
    with JournalReader(settings.journal_path) as reader:
        assert reader.changes() == []
    offline.answer(settings, "entry", {"entry": "note", "brooder": "porch", "note": "again"})
    there = started(settings)
    now = there.clock.now()
    later = Moment(now.at + 130, now.tick + 130)
    there.core.advance(later)
    (gap,) = (c for c in there.core.take(later).batch.changes if c.change.value == "raised")
    assert gap.alarm is AlarmName.WAS_DOWN
    assert gap.facts["down_from"] == left
    assert gap.facts["before_c"] == 35.0
    night = there.core.status(later).brooders[0].night
    assert night.unseen_s == pytest.approx(AWAY_S, abs=200) or night.since_at > left


def test_a_journal_that_a_command_sets_aside_is_told_at_the_next_start(settings: Settings) -> None:
    ended(settings, round(time.time() - AWAY_S, 3))
    raw = bytearray(settings.journal_path.read_bytes())
    raw[:100] = bytes(100)
    settings.journal_path.write_bytes(raw)
    [placed] = offline.answer(settings, "ledger", {})["entries"]
    assert placed["count"] == 100
    with JournalReader(settings.journal_path) as reader:
        told = [c for c in reader.changes() if c.alarm is AlarmName.STORAGE_FAULT]
    assert "is kept as journal.db.damaged" in str(told[0].facts.get("reason"))
