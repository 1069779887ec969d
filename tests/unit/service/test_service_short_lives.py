"""A board whose power flickers: the watch lives for a minute or less, and is away for minutes."""

from itertools import pairwise
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.one_box import settings_of, stopped_clock

from monitor.events import Entry, EntryKind, Moment
from monitor.service.startup import open_all
from monitor.settings import Settings
from monitor.tell.message import Message

T0 = 1_770_685_200.0  # 2026-02-10T01:00:00Z
COLD_C, WARM_C = 12.0, 35.0
FLOOR = "brooder/porch/floor"


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return settings_of(tmp_path)


def life(
    settings: Settings,
    begins: float,
    lasts_s: float,
    temp_c: float,
    *,
    first: bool = False,
    every_s: int = 15,
) -> list[Message]:
    """What is told from a start until the power goes. A word of the floor each `every_s`."""
    opened = open_all(settings, stopped_clock(begins))
    core, journal, told = opened.core, opened.journal, []
    assert journal is not None
    if first:
        core.enter(chicks_in(begins), Moment(begins, begins))
    for second in range(0, int(lasts_s) + 1, every_s // 3):
        now = Moment(begins + second, begins + second)
        core.advance(now)
        if second % every_s == every_s * 2 // 3:
            wavers_c = now.at // every_s % 3 / 10  # one that stood still for a day would be stuck
            core.hear(FLOOR, f"{temp_c + wavers_c:.1f}".encode(), now)
        taken = core.take(now)
        told += taken.messages
        journal.commit(taken.batch)
    journal.close()
    return told


@pytest.mark.parametrize("lasts_s", [20, 45, 90, 200])
@pytest.mark.parametrize("away_s", [100, 330, 1200])
def test_an_urgent_alarm_is_repeated_though_no_life_is_long_and_floods_nobody(
    settings: Settings, away_s: float, lasts_s: float
) -> None:
    """Each start put the next reminder off by two minutes and the time away: it never came."""
    raised = life(settings, T0, 600.0, COLD_C, first=True)
    assert [m.priority.value for m in raised].count("urgent") == 1
    at, said = T0 + 600.0, []
    while at < T0 + 2 * 3600.0:
        at += away_s
        said += life(settings, at, lasts_s, COLD_C)
        at += lasts_s
    urgent = [m.at for m in said if m.priority.value == "urgent"]
    between = [after - before for before, after in pairwise(urgent)]
    # Two lives may pass unused, and of the third nothing but its end.
    assert max([urgent[0] - T0, *between]) <= 600.0 + 3 * (away_s + lasts_s)
    assert min(between) >= 600.0
    away = [m for m in said if "nobody watched" in m.title]
    assert away, "that nobody watched is told as well"
    assert len(away) <= 3 or lasts_s > 120, "and of short lives about once an hour"


def test_what_nobody_answers_for_a_day_is_repeated_hourly_over_starts_too(
    settings: Settings,
) -> None:
    """The nights that are foretold as cold while it is so, raised and ended twice a day, made it a
    new trouble each time: it was repeated every ten minutes for ever."""
    day_s, hour_s = 86400.0, 3600.0
    long = life(settings, T0, day_s + 2 * hour_s, COLD_C, first=True, every_s=90)
    said = [*long]
    for begins, lasts_s in ((2.1, 1.9), (4.1, 0.2), (4.5, 3.0)):  # hours after the first day
        begins_at = T0 + day_s + begins * hour_s
        said += life(settings, begins_at, lasts_s * hour_s, COLD_C, every_s=90)
    cold = [m.at - T0 for m in said if m.title.startswith("porch: dangerously cold")]
    between = [after - before for before, after in pairwise(cold)]
    assert between[:140] == [600.0] * 140, "the case in question"
    late = [after - before for before, after in pairwise(cold) if before > day_s + 600.0]
    assert len(late) >= 5
    assert all(hour_s <= gap_s <= 1.5 * hour_s for gap_s in late), "the last one over a gap"


def test_a_night_of_short_power_cuts_over_a_warm_floor_is_a_few_words(settings: Settings) -> None:
    """Each was told, seventeen in a night: whoever is woken so switches it off."""
    life(settings, T0, 600.0, WARM_C, first=True)
    at, said = T0 + 600.0, []
    for _ in range(24):
        at += 120.0
        said += [(at, m) for m in life(settings, at, 1200.0, WARM_C)]
        at += 1200.0
    away = [m for _, m in said if "nobody watched" in m.title]
    assert [m.title for m in away] == [
        "Brooder: nobody watched for 2 min",
        "Brooder: nobody watched 2 times",
        "Brooder: nobody watched 6 times",
        "Brooder: nobody watched 11 times",
    ]
    assert "For 12 min in all, between " in away[2].body
    cold = life(settings, at + 120.0, 1200.0, COLD_C)
    assert "Brooder: nobody watched 5 times" in [m.title for m in cold], "at once where it is cold"


def test_before_the_first_start_nobody_was_to_watch(settings: Settings) -> None:
    """An entry made the day before was taken for a watch that had been down since."""
    opened = open_all(settings, stopped_clock(T0))
    now, journal = Moment(T0, T0), opened.journal
    assert journal is not None
    opened.core.enter(Entry(at=T0, entry=EntryKind.NOTE, brooder="porch", note="new litter"), now)
    journal.commit(opened.core.take(now).batch)
    journal.close()
    assert life(settings, T0 + 3600.0, 600.0, WARM_C) == []
    assert [m.title for m in life(settings, T0 + 7800.0, 600.0, WARM_C)] == [
        "Brooder: nobody watched for 60 min"
    ]


@pytest.mark.parametrize("away_s", [330.0, 7200.0])
def test_a_floor_that_is_warm_again_after_the_gap_is_not_asked_for(
    settings: Settings, away_s: float
) -> None:
    life(settings, T0, 600.0, COLD_C, first=True)
    said = life(settings, T0 + 600.0 + away_s, 3600.0, WARM_C)
    assert [m.title for m in said if m.priority.value == "urgent"] == []


@pytest.mark.parametrize("then_c", [WARM_C, COLD_C, 31.5])
def test_that_it_is_over_is_not_said_after_a_gap_by_what_was_before_it(
    settings: Settings, then_c: float
) -> None:
    """Back to normal, right for 70 min: that was the first word after a power cut, by the readings
    of before it; half a minute later the floor was dangerously cold."""
    life(settings, T0, 600.0, COLD_C, first=True)
    life(settings, T0 + 605.0, 900.0, WARM_C)
    back_at = T0 + 5105.0
    said = [m for m in life(settings, back_at, 1200.0, then_c) if m.title.startswith("porch")]
    if then_c == WARM_C:
        [over] = said
        assert over.title == "porch: back to normal"
        assert over.at >= back_at + 120.0
        assert "right for 2 min" in over.body
    else:
        assert said
        assert "over" not in {message.kind.value for message in said}
