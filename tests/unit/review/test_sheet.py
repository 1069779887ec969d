"""The record sheet of a journal whose story is known."""

import io
import re
from dataclasses import replace

import pytest
from rich.console import Console
from support.birds import chicks_in
from support.review_journal import at, site

from monitor.brooding import losses
from monitor.events import AlarmName, Moment
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.review.alarm_log import occurrences
from monitor.review.alarm_text import told_words
from monitor.review.days import Cut
from monitor.review.record import Asked, open_record
from monitor.review.sheet import LossComparison, sheet
from monitor.review.sheet_text import columns, comparison_words, print_sheet
from monitor.units import Unit

LONG_AFTER, DAY_S = at("2026-06-01 00:00"), 86_400.0


def printed(record, cut: Cut, width: int) -> str:
    console = Console(file=io.StringIO(), width=width, highlight=False)
    print_sheet(console, record, sheet(record, cut))
    return console.file.getvalue()  # type: ignore[attr-defined]


def test_the_cold_night_stands_in_one_row_when_days_run_from_noon(record):
    rows = sheet(record, Cut.NOON).rows
    cold = [row for row in rows if row.exposure.below_s > 0]
    assert [(row.day.day.day, row.age_days) for row in cold] == [(10, 3)]
    assert cold[0].urgent == 2
    assert cold[0].flock is not None
    assert (cold[0].flock.lost, cold[0].flock.lost_so_far, cold[0].flock.heads) == (2, 2, 98)
    assert cold[0].targets_c == (35.0,)


def test_what_was_part_of_an_alarm_told_already_is_counted_by_neither_sheet_nor_log(record):
    """The sheet said 2 urgent, the log that it was told once."""
    folded = [
        c if c.alarm is AlarmName.HEAT_LOSS else replace(c, facts={**c.facts, "folded": True})
        for c in record.changes
    ]
    record = replace(record, alarms=tuple(occurrences(folded)))
    assert [row.urgent for row in sheet(record, Cut.NOON).rows if row.urgent] == [1]
    assert told_words(record) == "Told once in this batch, answered once."


def test_by_midnight_it_stands_at_its_date_with_the_loss(record):
    rows = sheet(record, Cut.MIDNIGHT).rows
    cold = [row for row in rows if row.exposure.below_s > 0]
    assert [(row.day.day.day, row.age_days) for row in cold] == [(11, 4)]
    assert [note.text for note in cold[0].notes] == ["new bulb", "2 lost: piled in the corner"]


def test_a_gap_is_shown_and_is_not_in_band(record):
    row = next(row for row in sheet(record, Cut.NOON).rows if row.exposure.gap_s > 0)
    assert row.day.day.day == 11
    assert row.exposure.gap_s == pytest.approx(2 * 3600 - record.hold_s, abs=61)
    assert row.exposure.judged_s == pytest.approx(86400 - row.exposure.gap_s, abs=1)
    assert (row.exposure.below_s, row.exposure.above_s) == (0, 0)


def test_week_totals_are_the_sum_of_their_days(record):
    page = sheet(record, Cut.MIDNIGHT)
    for week in page.weeks:
        days = [row.exposure for row in week.rows]
        assert week.exposure.below_s == pytest.approx(sum(day.below_s for day in days))
        assert week.exposure.low_c == min(day.low_c for day in days if day.low_c is not None)
        assert week.lost == sum(row.flock.lost for row in week.rows if row.flock)
    assert [week.number for week in page.weeks] == [1]
    assert page.total.below_ks == pytest.approx(record.exposure(record.start, record.stop).below_ks)


def test_the_days_of_placing_and_of_the_end_are_marked_as_parts(record):
    rows = sheet(record, Cut.MIDNIGHT).rows
    assert [row.day.whole for row in rows] == [False, True, True, True, True, False]
    shown = printed(record, Cut.MIDNIGHT, 100)
    assert "8 Feb*" in shown
    assert "13 Feb*" in shown
    assert "* part of a day or week only" in shown


def test_losses_stand_beside_the_usual_figure_and_its_source(record):
    (first_week,) = sheet(record, Cut.NOON).comparisons
    words = comparison_words(first_week)
    assert words.startswith("Lost in the first week: 3 of 100, 3.0 % (the week is not over).")
    assert "0.7 %" in words
    assert first_week.source in words


def test_birds_that_came_later_are_held_against_no_first_week(tmp_path):
    """It said "Lost in the first week: 0 of 0"."""
    came = chicks_in(LONG_AFTER - 9 * DAY_S, number=1, count=60, hatched="2026-05-08")
    with Journal.open(tmp_path / "journal.db") as journal:
        now = Moment(LONG_AFTER, LONG_AFTER)
        journal.commit(Commit(inputs=[Entered(came, Moment(came.at, came.at))], advanced_to=now))
    with JournalReader(tmp_path / "journal.db") as reader:
        older = open_record(reader, site(), Asked(brooder="porch"), now=LONG_AFTER)
        said = [comparison_words(each) for each in sheet(older, Cut.NOON).comparisons]
    assert [words.partition(":")[0] for words in said] == ["Lost by day 15"]


@pytest.mark.parametrize("width", [80, 100])
@pytest.mark.parametrize("cut", list(Cut))
def test_no_line_of_the_sheet_is_wider_than_the_terminal_and_no_figure_is_cut(record, width, cut):
    shown = printed(record, cut, width)
    assert max(len(line) for line in shown.splitlines()) <= width
    assert "…" not in shown
    assert "4:15" in shown  # the time below the band
    assert ("longest" in shown.splitlines()[0]) == (width == 100)


def test_celsius_sites_read_celsius_and_square_centimetres(reader):
    metric = open_record(reader, site(Unit.CELSIUS), Asked(brooder="porch"), now=LONG_AFTER)
    heads = [column.head for column in columns(metric, Cut.NOON)]
    assert "target\n°C" in heads
    assert "cm²\na bird" in heads
    row = sheet(metric, Cut.NOON).rows[0]
    cells = {c.head: c.day(row) for c in columns(metric, Cut.NOON)}
    assert cells["target\n°C"] == "35"
    assert cells["cm²\na bird"] == "225"


def test_the_usual_losses_name_their_source_without_brackets_in_brackets():
    for day, placed, lost in ((7, 100, 2), (20, 100, 4)):
        comparison = LossComparison(
            age_days=day,
            complete=True,
            placed=placed,
            lost=lost,
            usual_percent=losses.usual_percent(day),
            source=str(losses.usual_source(day)),
            aim_percent=losses.FIRST_WEEK_AIM_PERCENT,
            aim_source=str(losses.FIRST_WEEK_AIM_SOURCE),
        )
        words = comparison_words(comparison)
        assert f"Source: {losses.usual_source(day)}." in words
        assert re.search(r"\([^)]*\(", words) is None, words
