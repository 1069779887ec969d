"""The entry that ends a batch is part of its record: the worst of all losses above all."""

import pytest
from support.review_journal import at
from support.short_record import placed, recorded

from monitor.events import Entry, EntryKind
from monitor.review.days import Cut
from monitor.review.loss_review import losses
from monitor.review.report import report
from monitor.review.sheet import sheet
from monitor.review.sheet_text import comparison_words

LEVEL = {"porch/west": lambda _t: 34.5, "porch/east": lambda _t: 34.5}
DATES = {"start": "2026-02-08 12:00", "stop": "2026-02-10 18:00"}


def gone(what: EntryKind, when: str, count: int | None) -> Entry:
    return Entry(at=at(when), entry=what, brooder="porch", count=count, note="heaped in a corner")


@pytest.fixture
def all_dead(tmp_path):
    last = gone(EntryKind.LOSS, "2026-02-10 06:30", 100)
    with recorded(tmp_path, LEVEL, placed("2026-02-08 12:00"), last, **DATES) as record:
        yield record


@pytest.mark.parametrize("cut", list(Cut))
def test_a_night_that_killed_every_chick_is_counted_on_the_sheet(all_dead, cut):
    row = sheet(all_dead, cut).rows[-1]
    assert (row.flock.lost, row.flock.lost_so_far, row.flock.heads) == (100, 100, 0)
    assert [note.text for note in row.notes] == ["100 lost: heaped in a corner"]
    assert sheet(all_dead, cut).weeks[-1].lost == 100


def test_it_is_counted_beside_the_usual_figure_and_in_the_report(all_dead):
    (first_week,) = sheet(all_dead, Cut.NOON).comparisons
    assert comparison_words(first_week).startswith(
        "Lost in the first week: 100 of 100, 100.0 %. Usual"
    )
    assert [loss.count for loss in losses(all_dead)] == [100]
    page = report([all_dead], Cut.NOON, now=at("2026-02-10 18:00"))
    assert "100 placed, 100 lost, 0 in the box at the end" in page
    assert "100 birds lost" in page  # under the picture of that night


def test_the_day_they_moved_out_says_so_and_leaves_an_empty_box(tmp_path):
    last = gone(EntryKind.MOVED, "2026-02-10 09:00", None)
    with recorded(tmp_path, LEVEL, placed("2026-02-08 12:00"), last, **DATES) as record:
        row = sheet(record, Cut.NOON).rows[-1]
        assert row.flock.heads == 0
        assert "all moved: heaped in a corner" in [note.text for note in row.notes]


@pytest.mark.parametrize("cut", list(Cut))
def test_birds_gone_on_the_stroke_of_the_hour_make_no_day_of_their_own(tmp_path, cut):
    hour = "12:00" if cut is Cut.NOON else "00:00"
    last = gone(EntryKind.LOSS, f"2026-02-10 {hour}", 100)
    with recorded(tmp_path, LEVEL, placed("2026-02-08 12:00"), last, **DATES) as record:
        rows = sheet(record, cut).rows
        assert all(row.day.stop - row.day.start > 3600 for row in rows)
        assert (rows[-1].flock.lost, rows[-1].flock.heads) == (100, 0)
        assert rows[-1].day.whole


def test_what_is_read_in_the_empty_box_afterwards_is_not_of_the_batch(tmp_path):
    cooled = dict.fromkeys(LEVEL, lambda t: 34.5 if t < at("2026-02-10 06:30") else 5.0)
    last = gone(EntryKind.LOSS, "2026-02-10 06:30", 100)
    with recorded(tmp_path, cooled, placed("2026-02-08 12:00"), last, **DATES) as record:
        total = sheet(record, Cut.NOON).total
        assert total.below_s == pytest.approx(0.0, abs=0.01)
        assert total.judged_s == pytest.approx(42.5 * 3600, abs=0.01)
