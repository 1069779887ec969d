"""What is said of a loss, but for how far the record explains it (test_verdict)."""

import dataclasses

import pytest
from support.review_journal import at, site
from support.short_record import placed, recorded

from monitor.events import Entry, EntryKind
from monitor.review import loss_words
from monitor.review.loss_review import losses
from monitor.review.record import Asked, open_record
from monitor.review.scenes import story
from monitor.review.verdict import verdict

LONG_AFTER = at("2026-06-01 00:00")


@pytest.fixture
def after_cold(record):
    return losses(record)[0]


def test_each_loss_looks_back_24_and_48_hours_and_at_the_other_nights(record):
    cold, quiet = losses(record)
    assert (cold.at, cold.count, cold.heads_before, cold.age_days) == (
        at("2026-02-11 06:30"), 2, 100, 4)  # fmt: skip
    assert cold.day.stop - cold.day.start == 86400
    assert cold.two_days.stop - cold.two_days.start == 2 * 86400
    assert len(cold.others) == 3  # the night itself is not another night
    assert cold.colder_others == 0
    assert quiet.colder_others == 1
    assert {alarm.alarm.value for alarm in cold.day.alarms} == {"heat-loss", "cold", "chill"}
    assert not quiet.day.alarms


class Deaf:
    """The same journal without its readings of one night."""

    def __init__(self, reader, start, stop):
        self._reader, self._start, self._stop = reader, start, stop

    def __getattr__(self, name):
        return getattr(self._reader, name)

    def readings_of(self, *asked, **options):
        found = self._reader.readings_of(*asked, **options)
        heard = {key: (t < self._start) | (t >= self._stop) for key, (t, _) in found.items()}
        return {key: (t[heard[key]], c[heard[key]]) for key, (t, c) in found.items()}


def test_a_night_that_was_not_read_is_not_compared_with(reader, record):
    deaf = Deaf(reader, at("2026-02-09 13:00"), at("2026-02-10 11:00"))
    holed = open_record(deaf, site(), Asked(brooder="porch"), now=LONG_AFTER)
    assert len(losses(holed)[0].others) == len(losses(record)[0].others) - 1


def test_alarms_are_told_with_how_long_nobody_came(record, after_cold):
    lines = loss_words.alarm_words(after_cold.day, record)
    assert lines[0] == (
        "heat-loss 11 Feb 02:04, acknowledged 05:02 by page (after 2 h 58 min), over 05:25"
    )


def test_what_ends_on_another_day_is_told_with_its_date(record, after_cold):
    """`raised 7 Apr 00:35, over 00:31` was read as over before it began."""
    (first, *_rest) = after_cold.day.alarms
    late = dataclasses.replace(
        first, acknowledged=at("2026-02-12 01:30"), cleared=at("2026-02-12 02:00")
    )
    (line,) = loss_words.alarm_words(dataclasses.replace(after_cold.day, alarms=(late,)), record)
    assert "acknowledged 12 Feb 01:30 by page" in line
    assert line.endswith("over 12 Feb 02:00")


def test_causes_fit_the_age_and_name_who_can_find_out(record, after_cold):
    first_days = " ".join(loss_words.other_causes([after_cold]))
    assert "journey" in first_days
    assert "coccidiosis" not in first_days
    older = " ".join(loss_words.other_causes([dataclasses.replace(after_cold, age_days=20)]))
    assert "coccidiosis" in older
    assert "journey" not in older
    for words in ("piling", "water", "predators"):
        assert words in first_days
        assert words in older
    assert "veterinarian" in loss_words.ASK
    assert "diagnostic laboratory" in loss_words.ASK


def test_figures_set_the_loss_beside_the_middle_night(record, after_cold):
    table = {row[0]: row[1:] for row in loss_words.figures(after_cold, record)}
    assert table["below the chill limit, h:min"] == ("3:32", "3:32", "0:00")
    assert table["lowest floor"][0] == "66.6 °F"
    assert "above the band, h:min" not in table  # nought everywhere
    assert loss_words.heads(after_cold)[-1] == "middle of 3 other nights"


def test_the_cold_of_the_empty_box_before_the_chicks_came_is_not_theirs(tmp_path):
    """Looked at from before they came, the first loss had a floor of 38 degF in its 48 hours, and
    "0 s of the 24 hours before them were not read"; the batch's coldest was the empty box's."""
    came, found = at("2026-02-10 10:00"), at("2026-02-11 06:40")
    dead = Entry(at=found, entry=EntryKind.LOSS, brooder="porch", count=1)
    said = {"porch/west": lambda t: 34.5 if t > came - 7200 else 3.0}
    chicks = placed("2026-02-10 10:00", hatched="2026-02-09")
    days = {"start": "2026-02-08 12:00", "stop": "2026-02-11 12:00"}
    with recorded(tmp_path, said, chicks, dead, **days) as record:
        whole = Asked(brooder="porch", start=at("2026-02-09 00:00"), stop=record.stop)
        early = open_record(record.kept, site(), whole, now=record.stop)
        (loss,) = losses(early)
        assert loss.two_days.start == came
        assert verdict(loss, early).startswith("The floor was never far or long out of its band in")
        assert "coldest floor 94.1 °F" in story(early, early.start, early.stop)[1]
