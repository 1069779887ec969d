"""How far the record's words go for a loss, in each of the cases they tell apart."""

import dataclasses

import pytest
from support.review_journal import at, site

from monitor.review import loss_words
from monitor.review.losses import losses
from monitor.review.record import Asked, open_record

LONG_AFTER = at("2026-06-01 00:00")


@pytest.fixture
def record(reader):
    return open_record(reader, site(), Asked(brooder="porch"), now=LONG_AFTER)


@pytest.fixture
def after_cold(record):
    return losses(record)[0]


def with_day(loss, **figures):
    """The same loss after a day with other figures."""
    quiet = {"chill_s": 0.0, "below_s": 0.0, "overheat_s": 0.0, "below_ks": 0.0, "gap_s": 0.0}
    exposure = dataclasses.replace(loss.day.exposure, **{**quiet, **figures})
    two = dataclasses.replace(
        loss.two_days, exposure=dataclasses.replace(loss.two_days.exposure, **quiet)
    )
    return dataclasses.replace(
        loss, day=dataclasses.replace(loss.day, exposure=exposure), two_days=two
    )


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


def test_after_a_cold_night_cold_is_suspected_and_not_called_proven(record, after_cold):
    words = loss_words.verdict(after_cold, record)
    assert "below the chill limit for 3 h 32 min" in words
    assert "none of the 3 other recorded nights was as cold" in words
    assert "cannot prove" in words


def test_after_a_quiet_night_other_causes_come_first(record):
    quiet = losses(record)[1]
    words = loss_words.verdict(quiet, record)
    assert words.startswith("The record gives no sign of cold or heat")
    assert "other causes first" in words


@pytest.mark.parametrize(
    ("figures", "begins"),
    [
        ({"gap_s": 30000.0}, "The record cannot tell: 8 h 20 min of the 24 h"),
        ({"overheat_s": 600.0}, "The floor was more than 10.1 °F over target for 10 min"),
        ({"below_s": 7200.0}, "The floor was below the band for 2 h but never below the"),
    ],
)
def test_the_words_follow_the_figures(record, after_cold, figures, begins):
    assert loss_words.verdict(with_day(after_cold, **figures), record).startswith(begins)


def test_a_hole_in_the_record_outweighs_a_quiet_rest(record, after_cold):
    holes = with_day(after_cold, gap_s=80000.0, below_s=0.0)
    assert "no sign" not in loss_words.verdict(holes, record)


def test_the_day_before_the_last_counts_when_the_last_was_quiet(record, after_cold):
    late = dataclasses.replace(with_day(after_cold), two_days=after_cold.two_days)
    assert "Weakened chicks can die a day later" in loss_words.verdict(late, record)


def test_alarms_are_told_with_how_long_nobody_came(record, after_cold):
    lines = loss_words.alarm_words(after_cold.day, record)
    assert lines[0] == (
        "heat-loss 11 Feb 02:04, acknowledged 05:02 by page (after 2 h 58 min), over 05:25"
    )


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
