"""The alarm measures against published definitions and counts worked by hand.

Sources: ANSI/ISA-18.2-2016 and IEC 62682:2022 (definitions as quoted by trade pages; the standards'
own tables from memory); EEMUA Publication 191 (levels as quoted in the same pages);
ProSys, "What is an alarm flood?", https://www.prosys.com/services/alarm-management/eliminate-alarm-floods
(read: begins above 10 in any 10 minutes, ends below 5 in any 10 minutes; four measures of a flood:
count, duration, alarms, peak); PAS, "Taming the Wild Alarm System", part 3,
https://resources.pas.com/articles-blogs/shut-up-fixing-chattering-and-fleeting-alarms (read:
chattering occurs and clears three or more times in a minute)."""

import pytest

from monitor.events import AlarmName, Change, ChangeKind, Facts, Priority
from monitor.watch.measures import DAY_S, measure

COLD, HOT, CHILL = AlarmName.COLD, AlarmName.HOT, AlarmName.CHILL
_PRIORITY = {COLD: Priority.WARNING, HOT: Priority.WARNING, CHILL: Priority.URGENT}


def change(
    at: float,
    kind: ChangeKind = ChangeKind.RAISED,
    alarm: AlarmName = COLD,
    *,
    occurrence: str | None = None,
    folded: bool = False,
) -> Change:
    facts = Facts(folded=True) if folded else Facts()
    return Change(
        at=at,
        brooder="porch",
        alarm=alarm,
        change=kind,
        priority=_PRIORITY.get(alarm, Priority.ADVICE),
        occurrence=occurrence or f"porch/{alarm}/{at}",
        facts=facts,
    )


def test_the_average_is_alarms_by_days() -> None:
    """30 alarms in 2 days are 15 a day."""
    changes = [change(k * 5000.0) for k in range(30)]
    found = measure(changes, 0.0, 2 * DAY_S)
    assert (found.alarms, found.a_day) == (30, 15.0)


def test_the_standards_acceptable_150_a_day_is_about_one_in_ten_minutes() -> None:
    """ISA-18.2: about 150 a day, about 1 in 10 minutes (144)."""
    found = measure([change(k * 600.0) for k in range(144)], 0.0, DAY_S)
    assert found.a_day == 144
    assert found.most_in_10_min == 1
    assert found.floods == ()


def test_three_in_a_minute_chatter_and_three_in_longer_do_not() -> None:
    """PAS: three or more times in a minute."""
    assert measure([change(t) for t in (0, 30, 60)], 0.0, DAY_S).chattering == (
        ("porch", "cold", None),
    )
    assert measure([change(t) for t in (0, 30, 61)], 0.0, DAY_S).chattering == ()
    mixed = [change(0), change(20, alarm=HOT), change(40)]  # not the same alarm
    assert measure(mixed, 0.0, DAY_S).chattering == ()


def test_ten_in_ten_minutes_are_a_flood_and_nine_are_none() -> None:
    """EEMUA 191: 10 in 10 minutes. The tenth at 540 s after the first."""
    ten = [change(k * 60.0) for k in range(10)]
    (flood,) = measure(ten, 0.0, DAY_S).floods
    assert (flood.from_at, flood.alarms, flood.most_in_10_min) == (0.0, 10, 10)
    assert measure(ten[:9], 0.0, DAY_S).floods == ()
    slower = [change(k * 67.0) for k in range(10)]  # the tenth after 603 s
    assert measure(slower, 0.0, DAY_S).floods == ()


def test_a_flood_ends_when_fewer_than_five_are_within_ten_minutes() -> None:
    """Ten alarms at 0, 60, ... 540 s. The window of ten minutes loses the first at 600 s; after the
    sixth has left, at 300 + 600 s, four are in it: the flood lasted 900 s."""
    (flood,) = measure([change(k * 60.0) for k in range(10)], 0.0, DAY_S).floods
    assert flood.to_at == 900.0
    found = measure([change(k * 60.0) for k in range(10)], 0.0, 9000.0)
    assert found.flood_share == pytest.approx(0.1)


def test_a_flood_goes_on_while_five_remain_and_counts_its_peak() -> None:
    """20 alarms 30 s apart (0 ... 570 s), then ten more, one each 115 s: five or six in any ten
    minutes, so it is one flood; the peak is the twenty of the first ten minutes."""
    times = [k * 30.0 for k in range(20)] + [690.0 + k * 115.0 for k in range(10)]
    (flood,) = measure([change(t) for t in times], 0.0, DAY_S).floods
    assert flood.alarms == 30
    assert flood.most_in_10_min == 20
    assert flood.to_at == 690.0 + 5 * 115.0 + 600.0  # when the fifth last leaves the window


def test_stale_is_more_than_a_day_without_a_break() -> None:
    """ISA-18.2: active for more than 24 h."""
    changes = [
        change(0.0, occurrence="a"),
        change(100.0, occurrence="b", alarm=HOT),
        change(DAY_S, ChangeKind.CLEARED, occurrence="a"),
        change(DAY_S + 101.0, ChangeKind.CLEARED, occurrence="b", alarm=HOT),
        change(DAY_S + 200.0, occurrence="c", alarm=CHILL),
    ]
    found = measure(changes, 0.0, 3 * DAY_S)
    assert found.stale == (
        (("porch", "hot", None), DAY_S + 1.0),
        (("porch", "chill", None), 2 * DAY_S - 200.0),  # still active at the end
    )


def test_shares_of_priorities_are_of_the_told_alarms() -> None:
    """ISA-18.2 wants about 80 % low, 15 % medium, 5 % high; here 2 of 8, 5 of 8 and 1 of 8."""
    changes = [change(k * 1000.0, alarm=AlarmName.CROWDED) for k in range(2)]
    changes += [change(5000.0 + k * 1000.0) for k in range(5)]
    changes += [change(20000.0, alarm=CHILL), change(20001.0, folded=True)]
    found = measure(changes, 0.0, DAY_S)
    assert found.shares == {
        Priority.ADVICE: 0.25,
        Priority.WARNING: 0.625,
        Priority.URGENT: 0.125,
    }
    assert found.folded == 1


def test_the_most_frequent_come_first() -> None:
    changes = [change(k * 700.0, alarm=HOT) for k in range(3)] + [change(9000.0)]
    found = measure(changes, 0.0, DAY_S)
    assert found.most_frequent == ((("porch", "hot", None), 3), (("porch", "cold", None), 1))


def test_the_time_to_an_answer_counts_what_was_answered_while_active() -> None:
    changes = [
        change(0.0, occurrence="a"),
        change(300.0, ChangeKind.ACKNOWLEDGED, occurrence="a"),
        change(1000.0, occurrence="b"),
        change(1050.0, ChangeKind.CLEARED, occurrence="b"),
        change(1100.0, ChangeKind.ACKNOWLEDGED, occurrence="b"),
    ]
    found = measure(changes, 0.0, DAY_S)
    assert (found.acknowledged, found.median_answer_s) == (1, 300.0)


def test_nothing_recorded_is_a_quiet_day_and_no_division_by_nothing() -> None:
    found = measure([], 0.0, 0.0)
    assert (found.alarms, found.flood_share, found.median_answer_s) == (0, 0.0, None)
