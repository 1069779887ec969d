"""An alarm that a grower put aside: what the record makes of it."""

import pytest
from support.review_journal import at
from support.short_record import placed, recorded

from monitor.events import (
    AlarmName,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Priority,
)
from monitor.review.alarm_text import rows
from monitor.review.loss_review import losses
from monitor.review.loss_words import alarm_words

RAISED, ASIDE, AGAIN = "2026-02-09 05:00", "2026-02-09 05:06", "2026-02-09 06:05"
DATES = {"start": "2026-02-08 12:00", "stop": "2026-02-12 12:00"}
LOSS = Entry(at=at("2026-02-10 04:00"), entry=EntryKind.LOSS, brooder="porch", count=2)


def fault(when: str, kind: ChangeKind, occurrence: str = "first", **facts: float) -> Change:
    return Change(at=at(when), brooder="porch", alarm=AlarmName.PROBE_FAULT, change=kind,
                  priority=Priority.WARNING, cause=Cause.SENSOR, probe="porch/east",
                  occurrence=occurrence, facts=facts)  # fmt: skip


STORY = (
    fault(RAISED, ChangeKind.RAISED),
    fault(ASIDE, ChangeKind.SHELVED, until=at(AGAIN)),
    fault(AGAIN, ChangeKind.UNSHELVED),
)


def cold_corner(since: str, until: str = "2026-02-12 12:00"):
    """The west of the box is right all along; the east is bitterly cold for a while."""
    cold = (at(since), at(until))
    return {
        "porch/west": lambda _t: 34.5,
        "porch/east": lambda t: 22.0 if cold[0] <= t < cold[1] else 34.5,
    }


def test_a_corner_that_freezes_days_after_a_fault_was_put_aside_is_on_record(tmp_path):
    said = cold_corner("2026-02-10 04:00")
    with recorded(tmp_path, said, placed("2026-02-08 12:00"), changes=STORY, **DATES) as record:
        got = record.exposure(record.start, record.stop)
        assert (got.low_c, got.chill_s) == (22.0, 56 * 3600)


def test_while_it_is_put_aside_the_probe_still_does_not_count(tmp_path):
    said = cold_corner(RAISED, AGAIN)
    with recorded(tmp_path, said, placed("2026-02-08 12:00"), changes=STORY, **DATES) as record:
        assert record.exposure(record.start, record.stop).chill_s == 0


EARLY = (STORY[0], fault(ASIDE, ChangeKind.SHELVED, until=at("2026-02-10 05:06")), STORY[2])


@pytest.mark.parametrize("story", [STORY[:2], EARLY], ids=["at its time", "before its time"])
def test_it_counts_again_once_the_fault_was_taken_up_and_not_told_anew(tmp_path, story):
    said = cold_corner(RAISED)
    with recorded(tmp_path, said, placed("2026-02-08 12:00"), changes=story, **DATES) as record:
        whole = record.exposure(record.start, record.stop)
        assert whole.chill_s == at("2026-02-12 12:00") - at(AGAIN)


def test_told_anew_it_goes_on_not_counting(tmp_path):
    anew = fault(AGAIN, ChangeKind.RAISED, "second", since=at("2026-02-09 04:50"))
    said = cold_corner(RAISED)
    story = (*STORY, anew)
    with recorded(tmp_path, said, placed("2026-02-08 12:00"), changes=story, **DATES) as record:
        assert record.exposure(record.start, record.stop).chill_s == 0


def test_the_log_says_that_it_was_put_aside_and_not_that_it_was_never_over(tmp_path):
    said = cold_corner("2026-02-11 04:00")
    entries = (placed("2026-02-08 12:00"), LOSS)
    with recorded(tmp_path, said, *entries, changes=STORY, **DATES) as record:
        [(_, row)] = rows(record)
        assert row[-2:] == ("put aside 9 Feb 05:06", "6 min")
        assert [alarm.over for alarm in record.alarms] == [at(ASIDE)]
        (loss,) = losses(record)
        assert alarm_words(loss.two_days, record) == [
            "probe-fault 9 Feb 05:00, nobody acknowledged it, put aside 05:06"
        ]
