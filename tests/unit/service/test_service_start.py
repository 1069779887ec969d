"""What the service stands on when it starts: a record from elsewhere, one that ended long ago, one
with a damaged time in it. None of them may keep the watch from starting."""

from collections.abc import Callable
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.one_box import settings_of, started, stopped_clock

from monitor.events import AlarmName, Moment, Reading
from monitor.journal.bringing_in import Arrivals
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit
from monitor.journal.store import Journal
from monitor.service.core import Core
from monitor.service.rehearsed_night import SITE_FILE
from monitor.service.startup import Opened
from monitor.settings import Settings
from monitor.watch.quarter_hours import QuarterHours

NOW = 1_780_000_000.0
DAY_S = 86400.0
YEAR_S = 365 * DAY_S
PLACED = chicks_in(NOW - 3 * DAY_S, hatched="2026-05-25")


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return settings_of(tmp_path, SITE_FILE.format(timezone="America/Chicago", units="celsius"))


@pytest.fixture(autouse=True)
def bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """A start looks at the boxes a few thousand times at most; here it is stopped at that."""
    looks = iter(range(10_000))
    review: Callable[..., None] = QuarterHours.review

    def counted(self: QuarterHours, *about: object) -> None:
        if next(looks, None) is None:
            pytest.fail("the start lives through more than it can")
        review(self, *about)

    monkeypatch.setattr(QuarterHours, "review", counted)


def opened(settings: Settings) -> Opened:
    return started(settings, stopped_clock(NOW))


def a_run(settings: Settings, ended_at: float, *more: Reading) -> None:
    """A service that placed chicks, heard a cold floor and ended soon after."""
    at = ended_at - 600.0
    with Journal.open(settings.journal_path) as journal:
        journal.know(settings.site.all_probes)
        core = Core(settings.site, Moment(at, at), next_entry_number=journal.next_entry_number)
        core.enter(PLACED, Moment(at, at))
        for second in range(0, 600, 10):
            core.advance(Moment(at + second, at + second))
            core.hear("brooder/porch/floor", b"20.0", Moment(at + second, at + second))
        core.waiting.snapshots = core.snapshots()
        journal.commit(core.take(Moment(ended_at, ended_at)).batch)
        if more:
            journal.commit(Commit(inputs=list(more), advanced_to=Moment(ended_at, ended_at)))


def test_a_record_brought_into_an_empty_journal_is_no_time_in_which_nobody_watched(
    settings: Settings,
) -> None:
    arrivals = Arrivals(entries=[PLACED])
    arrivals.add("porch/floor", NOW - 2 * DAY_S, 33.4)
    with Journal.open(settings.journal_path) as journal:
        journal.know(settings.site.all_probes)
        journal.bring_in(arrivals)
    with JournalReader(settings.journal_path) as reader:
        assert reader.advanced_to() is None
    there = opened(settings)
    assert there.rebuilt.ended is None
    batch = there.core.ledger.running("porch")
    assert batch is not None
    assert batch.head_count() == 100
    there.core.advance(Moment(NOW + 600, NOW + 600))
    told = {change.alarm for change in there.core.waiting.changes}
    assert AlarmName.WAS_DOWN not in told


@pytest.mark.parametrize("years", [1, 30, 56])
def test_a_run_that_ended_decades_ago_does_not_keep_the_watch_from_starting(
    settings: Settings, years: int
) -> None:
    ended_at = max(1.0, NOW - years * YEAR_S)
    a_run(settings, ended_at)
    there = opened(settings)
    assert there.rebuilt.ended == Moment(ended_at, ended_at)
    there.core.advance(Moment(NOW + 130, NOW + 130))
    happened = there.core.take(Moment(NOW + 130, NOW + 130))
    down = [c for c in happened.batch.changes if c.alarm is AlarmName.WAS_DOWN]
    assert down[0].facts["down_from"] == ended_at
    again = [m for m in happened.messages if m.kind.value == "again"]
    assert len(again) <= 1, "of what was due meanwhile the last is enough"


def test_a_time_from_the_future_in_the_record_does_not_carry_the_watch_away(
    settings: Settings,
) -> None:
    ended_at = NOW - 10.0
    damaged = Reading(NOW + 40 * YEAR_S, NOW + 40 * YEAR_S, "porch/floor", 20.0)
    a_run(settings, ended_at, damaged)
    there = opened(settings)
    assert there.core.engine.kept()["_timers"]["tick"] <= NOW
    there.core.hear("brooder/porch/floor", b"21.5", Moment(NOW + 1, NOW + 1))
    floor = there.core.status(Moment(NOW + 1, NOW + 1)).brooders[0].temp_c
    assert floor == 21.5, "what is said now is not late"


def test_without_a_state_no_more_is_lived_through_again_than_a_batch_lasts(
    settings: Settings,
) -> None:
    with Journal.open(settings.journal_path) as journal:
        journal.know(settings.site.all_probes)
        old = Reading(NOW - 50 * YEAR_S, NOW - 50 * YEAR_S, "porch/floor", 20.0)
        late = Moment(NOW - 10, NOW - 10)
        journal.commit(Commit(inputs=[old], advanced_to=late))
    assert opened(settings).rebuilt.ended == late
