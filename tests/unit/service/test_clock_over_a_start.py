"""The board's clock is wrong, or is set, while nobody watches: by what the next start goes."""

from dataclasses import dataclass
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.one_box import HandClock, settings_of

from monitor.events import AlarmName
from monitor.journal.reader import JournalReader
from monitor.service.startup import open_all
from monitor.settings import Settings
from monitor.tell.message import Message, MessageKind
from monitor.watch.status import SiteStatus

T0 = 1_770_685_200.0  # 2026-02-10T01:00:00Z
HOUR_S, DAY_S = 3600.0, 86400.0
FLOOR = "brooder/porch/floor"
JUST_ON, LONG_ON = 40.0, 5 * DAY_S


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return settings_of(tmp_path)


@dataclass
class Life:
    """What one run of the watch came to."""

    ended_at: float
    clock_sure: bool
    status: SiteStatus
    said: list[Message]

    @property
    def titles(self) -> list[str]:
        return [message.title for message in self.said]

    @property
    def target_c(self) -> float | None:
        box = self.status.brooder("porch")
        return None if box is None else box.target_c

    @property
    def clock_is_wrong(self) -> bool:
        alarms = self.status.all_alarms
        return any(a.active and a.alarm is AlarmName.CLOCK_FAULT for a in alarms)


def life(
    settings: Settings,
    begins: float,
    *,
    on_for_s: float = LONG_ON,
    lasts_s: float = 600.0,
    temp_c: float = 35.0,
    set_by_s: float = 0.0,
) -> Life:
    """It begins by the board's clock, which is set after a minute; chicks come in the first."""
    first = not settings.journal_path.exists()
    ended = None
    if not first:
        with JournalReader(settings.journal_path) as reader:
            ended = reader.advanced_to()
    # Steady time goes on where the records end.
    steady = begins if ended is None else max(begins, ended.at)
    clock = HandClock(begins, steady, on_for_s)
    opened = open_all(settings, clock)
    core, journal, said, sure = opened.core, opened.journal, [], opened.clock_sure
    assert journal is not None
    if first:
        core.enter(chicks_in(begins), clock.now())
    for second in range(30, int(lasts_s) + 1, 30):
        clock.goes_on(30.0)
        if second == 60 and set_by_s:
            clock.wall, sure = clock.wall + set_by_s, True
            core.clock_jumped(clock.now(), set_by_s, on_for_s=on_for_s + second)
        core.advance(clock.now())
        core.hear(FLOOR, str(temp_c).encode(), clock.now(), clock_sure=sure)
        core.waiting.snapshots = core.snapshots()
        taken = core.take(clock.now())
        said += taken.messages
        journal.commit(taken.batch)
    journal.close()
    return Life(clock.wall, opened.clock_sure, core.status(clock.now()), said)


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


def flickers(settings: Settings, *, times: int, is_set: bool) -> list[str]:
    """What is told where the power fails for two minutes every twenty. The clock begins half
    an hour behind; where nothing sets it, at the same time again and again."""
    at, said = life(settings, T0).ended_at, []
    for _ in range(times):
        woke, at = (at - 1800.0 if is_set else T0), at + 120.0
        one = life(
            settings,
            woke,
            on_for_s=JUST_ON,
            lasts_s=1080.0,
            set_by_s=at - woke if is_set else 0.0,
        )
        at = one.ended_at if is_set else at + 1080.0
        said += one.titles
    return [title for title in said if "watched" in title or "clock" in title]


def test_a_night_of_power_cuts_on_a_board_without_a_clock_battery_is_a_few_words(
    settings: Settings,
) -> None:
    """Of twenty there were forty words: each start had a wrong clock, and the power was out."""
    assert flickers(settings, times=20, is_set=True) == [
        "Brooder: nobody watched for 2 min",
        "Brooder: nobody watched 3 times",
        "Brooder: nobody watched 7 times",
    ]


def test_where_nothing_sets_the_clock_power_cuts_are_told_all_the_same(settings: Settings) -> None:
    """Nobody heard of any: by the board's clock no time had passed."""
    assert flickers(settings, times=8, is_set=False) == [
        "Brooder: nobody watched for a while",
        "Brooder: the board's clock is wrong",
        "Brooder: nobody watched 3 times",
    ]


@pytest.mark.parametrize("behind_s", [1800.0, -5.0])
def test_after_an_outage_of_unknown_length_a_cold_floor_is_no_probe_that_fell(
    settings: Settings, behind_s: float
) -> None:
    """Three hours without power were a moment by its clock, in which no floor cools so far."""
    first = life(settings, T0, lasts_s=7200.0)
    woke = first.ended_at - behind_s
    cold = life(
        settings,
        woke,
        on_for_s=JUST_ON,
        lasts_s=1200.0,
        temp_c=17.0,
        set_by_s=behind_s + 3 * HOUR_S,
    )
    assert "Brooder: nobody watched for 3 h" in cold.titles
    urgent = [message for message in cold.said if message.title.startswith("porch")]
    assert urgent[0].kind is MessageKind.RAISED
    assert "Check the probe" not in " ".join(message.body for message in urgent)
    again = next(message for message in urgent if message.kind is MessageKind.AGAIN)
    assert "Still not answered after 10 min." in again.body, "not three hours and a half"


def test_a_clock_that_was_hours_ahead_at_a_start_and_is_set_back_was_no_outage(
    settings: Settings,
) -> None:
    first = life(settings, T0)
    ahead = life(
        settings,
        first.ended_at + 30.0 + 3 * HOUR_S,
        on_for_s=JUST_ON,
        set_by_s=-3 * HOUR_S,
    )
    assert ahead.titles == ["Brooder: the board's clock was set"]


CHILL_C = 24.0


def chill_began(of: Life) -> float:
    """The floor is dangerously cold, and nobody answers."""
    [chill] = [a for a in of.status.all_alarms if a.active and a.alarm is AlarmName.CHILL]
    return chill.since


def reminders(of: Life) -> str:
    return " ".join(said.body for said in of.said if said.kind is MessageKind.AGAIN)


@pytest.mark.parametrize("off_by_h", [-3.0, -3.5, 5.0])
def test_what_began_before_a_cut_of_three_hours_began_when_it_did(
    settings: Settings, off_by_h: float
) -> None:
    """The board starts at its last time, at an older one, or hours ahead, and its clock is set at
    once: what it was told in the life before, by a right clock, stays, and those hours count."""
    before = life(settings, T0, temp_c=CHILL_C)
    after = life(
        settings,
        before.ended_at + (3.0 + off_by_h) * HOUR_S,
        on_for_s=JUST_ON,
        lasts_s=1200.0,
        temp_c=CHILL_C,
        set_by_s=-off_by_h * HOUR_S,
    )
    assert chill_began(after) == pytest.approx(chill_began(before), abs=1.0)
    assert "Still not answered after 3 h " in reminders(after)
    assert " since 01:0" in reminders(after)


@pytest.mark.parametrize("on_for_s", [JUST_ON, LONG_ON])
def test_what_began_by_a_clock_that_was_ahead_all_along_is_set_back_with_it(
    settings: Settings, on_for_s: float
) -> None:
    before = life(settings, T0 + 5 * HOUR_S, temp_c=CHILL_C)
    after = life(
        settings,
        before.ended_at + 90.0,
        on_for_s=on_for_s,
        lasts_s=1200.0,
        temp_c=CHILL_C,
        set_by_s=-5 * HOUR_S,
    )
    assert chill_began(after) == pytest.approx(chill_began(before) - 5 * HOUR_S, abs=1.0)
    assert " h " not in reminders(after).partition("not answered after")[2].partition(".")[0]
