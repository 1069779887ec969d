"""The board's clock is wrong, or is set, while nobody watches: by what the next start goes."""

from dataclasses import dataclass
from pathlib import Path

import pytest
from support.engine_night import hatched_today
from support.one_box import ONE_BOX

from monitor.events import AlarmName, Moment
from monitor.journal.reader import JournalReader
from monitor.service.startup import open_all
from monitor.settings import Settings, load_settings
from monitor.watch.status import SiteStatus

T0 = 1_770_685_200.0  # 2026-02-10T01:00:00Z
HOUR_S, DAY_S = 3600.0, 86400.0
FLOOR = "brooder/porch/floor"
JUST_ON, LONG_ON = 40.0, 5 * DAY_S


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    file = tmp_path / "brooder.toml"
    file.write_text(f'{ONE_BOX}\n[journal]\nfolder = "{tmp_path}"\n', encoding="utf-8")
    return load_settings(file, {}, check_contacts=False)


@dataclass
class SetClock:
    """As a board's is that begins at `wall`, with steady time going on where the records end."""

    wall: float
    steady: float
    on_for_s: float
    speed = 1.0

    def now(self) -> Moment:
        return Moment(self.wall, self.steady)

    def jump_s(self) -> float:
        return 0.0

    def running_s(self) -> float:
        return self.on_for_s


@dataclass
class Life:
    """What one run of the watch came to."""

    ended_at: float
    clock_sure: bool
    status: SiteStatus
    titles: list[str]

    @property
    def target_c(self) -> float | None:
        box = self.status.brooder("porch")
        return None if box is None else box.target_c

    @property
    def clock_is_wrong(self) -> bool:
        alarms = self.status.all_alarms
        return any(a.active and a.alarm is AlarmName.CLOCK_FAULT for a in alarms)


def life(settings: Settings, begins: float, *, on_for_s: float = LONG_ON) -> Life:
    """Ten minutes of it, by the board's clock, with a sound floor; chicks come in the first."""
    first = not settings.journal_path.exists()
    ended = None
    if not first:
        with JournalReader(settings.journal_path) as reader:
            ended = reader.advanced_to()
    steady = begins if ended is None else max(begins, ended.at)
    clock = SetClock(begins, steady, on_for_s)
    opened = open_all(settings, clock)
    core, journal, titles = opened.core, opened.journal, []
    assert journal is not None
    if first:
        core.enter(hatched_today(begins), clock.now())
    for _ in range(20):
        clock.wall, clock.steady = clock.wall + 30.0, clock.steady + 30.0
        core.advance(clock.now())
        core.hear(FLOOR, b"35.0", clock.now(), clock_sure=opened.clock_sure)
        core.waiting.snapshots = core.snapshots()
        taken = core.take(clock.now())
        titles += [message.title for message in taken.messages]
        journal.commit(taken.batch)
    journal.close()
    return Life(clock.wall, opened.clock_sure, core.status(clock.now()), titles)


def test_a_clock_that_was_set_while_nobody_watched_is_doubted_no_longer(
    settings: Settings,
) -> None:
    """The doubt stayed, and with it the target of that day, at every start after it."""
    first = life(settings, T0)
    behind = life(settings, first.ended_at - 6 * HOUR_S, on_for_s=JUST_ON)
    assert behind.clock_is_wrong
    right = life(settings, first.ended_at + 8 * DAY_S)
    assert right.clock_sure
    assert not right.clock_is_wrong
    assert first.target_c == behind.target_c == pytest.approx(35.0)
    assert right.target_c == pytest.approx(32.22, abs=0.01)


@pytest.mark.parametrize("away_s", [5.0, 300.0])
def test_a_clock_behind_is_no_surer_for_having_been_read_before(
    settings: Settings, away_s: float
) -> None:
    """The records of a start by a wrong clock end at a wrong time: the next start is later."""
    first = life(settings, T0)
    behind = life(settings, first.ended_at - 6 * HOUR_S, on_for_s=JUST_ON)
    again = life(settings, behind.ended_at + away_s, on_for_s=JUST_ON)
    assert not again.clock_sure
    assert again.clock_is_wrong
    assert not [title for title in again.titles if "clock" in title], "told before"
    further = life(settings, again.ended_at - HOUR_S, on_for_s=JUST_ON)
    assert not further.clock_sure
    right = life(settings, first.ended_at + HOUR_S)
    assert right.clock_sure
    assert not right.clock_is_wrong


def test_a_clock_set_back_over_a_restart_is_told_as_set_and_believed(settings: Settings) -> None:
    """Nothing would set it once more: the doubt, and the target, would have stayed for good."""
    first = life(settings, T0)
    set_back = life(settings, first.ended_at - HOUR_S, on_for_s=LONG_ON)
    assert set_back.clock_sure
    assert [title for title in set_back.titles if "clock" in title] == [
        "Brooder: the board's clock was set"
    ]
    later = life(settings, set_back.ended_at + 8 * DAY_S)
    assert later.target_c == pytest.approx(32.22, abs=0.01)
