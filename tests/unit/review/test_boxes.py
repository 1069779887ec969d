"""A batch in two boxes is one batch: one mortality, one row a night, each floor by the other."""

import html
import io
import re
from dataclasses import replace

import pytest
from rich.console import Console
from support import split_batch
from support.birds import chicks_in
from support.review_journal import at

from monitor.events import Moment
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.review.boxes import nights_of, open_batch
from monitor.review.chart import PAPER_PX, describe_boxes
from monitor.review.days import Cut
from monitor.review.for_vet import for_vet
from monitor.review.record import Asked, NotFound
from monitor.review.report import report
from monitor.review.scenes import scenes_of_boxes
from monitor.review.sheet import sheet
from monitor.review.sheet_text import comparison_words, print_boxes

SITE = split_batch.split_site()
LATER = at("2026-06-01 00:00")


@pytest.fixture
def records(journal):
    with JournalReader(journal) as kept:
        yield open_batch(kept, SITE, Asked(), now=LATER)


def test_without_a_box_named_the_batch_is_reviewed_in_all_its_boxes(records):
    assert [record.brooder.name for record in records] == ["porch", "shed"]


def test_one_box_named_is_that_box_alone(journal):
    with JournalReader(journal) as kept:
        (alone,) = open_batch(kept, SITE, Asked(brooder="shed"), now=LATER)
        assert alone.brooder.name == "shed"


def test_a_night_is_one_row_with_one_count_of_the_lost(records):
    nights = [night for week in nights_of(records, Cut.NOON) for night in week.nights]
    assert [night.day.day.day for night in nights] == [8, 9, 10, 11, 12, 13]
    assert [night.lost for night in nights] == [2, 0, 0, 1, 0, 0]
    assert [night.lost_so_far for night in nights] == [2, 2, 2, 3, 3, 3]
    assert {night.placed for night in nights} == {100}, "birds moved on are not placed twice"
    assert [row is None for row in nights[0].rows] == [False, True], "the shed came on the third"
    cold = [row.exposure.below_s > 0 for night in nights for row in night.rows[:1] if row]
    hot = [row.exposure.above_s > 0 for night in nights for row in night.rows[1:] if row]
    assert (cold.count(True), hot.count(True)) == (1, 1), "each box keeps its own trouble"


@pytest.mark.parametrize("box", [0, 1])
def test_each_box_says_the_mortality_of_the_whole_batch(records, box):
    (first_week,) = sheet(records[box], Cut.NOON).comparisons
    assert comparison_words(first_week).startswith(
        "Lost in the first week, porch and shed together: 3 of 100, 3.0 %. Usual"
    )


@pytest.mark.parametrize("width", [80, 100])
def test_the_sheet_of_both_fits_a_terminal_and_cuts_no_figure(records, width):
    console = Console(file=io.StringIO(), width=width, highlight=False)
    print_boxes(console, records, [sheet(record, Cut.NOON) for record in records])
    said = console.file.getvalue()  # type: ignore[attr-defined]
    assert max(len(line) for line in said.splitlines()) <= width
    assert "…" not in said
    assert ("left out here: high, above; 96 columns show them" in said) == (width == 80)
    first = next(line for line in said.splitlines() if line.startswith("8-9 Feb"))
    assert "1:00" in first
    assert first.split()[-3:] == ["2", "2", "2.0%"]
    for words in ("porch: 40 moved", "shed: 1 lost: leg", "the batch has ended"):
        assert re.search(rf"^\d+ Feb \d\d:\d\d  {words}$", said, re.MULTILINE), words


def test_the_report_of_both_has_one_mortality_and_names_the_box_of_each_loss(records):
    page = html.unescape(report(records, Cut.NOON, now=LATER))
    assert "<h1>Hillside, porch and shed: meat chicks hatched 2026-02-07</h1>" in page
    assert "100 placed, 3 lost, 97 moved, 0 in the boxes at the end" in page
    assert "porch, 9 Feb 07:00, day 2: 2 of 100 lost" in page
    assert "shed, 12 Feb 07:00, day 5: 1 of 40 lost (leg)" in page
    pictures = re.findall(r'<img src="data:image/svg\+xml;base64,[^"]+" alt="([^"]+)"', page)
    assert pictures[0] == "Each box's floor in its band, and each day's losses."
    assert {alt.partition(":")[0] for alt in pictures[1:]} == {"Hillside, porch", "Hillside, shed"}


def test_in_the_picture_of_both_the_lost_of_each_day_stand_under_both_floors(records):
    spec = describe_boxes(scenes_of_boxes(records), wide_px=PAPER_PX)
    titles = [panel["title"]["text"].partition(",")[0] for panel in spec["vconcat"]]
    assert titles == ["porch: floor", "shed: floor", "lost each day"]
    bars = spec["vconcat"][-1]["layer"][0]["data"]["values"]
    assert [row["lost"] for row in bars] == [2, 1], "over both boxes, day by day"
    floors = [layer for panel in spec["vconcat"][:2] for layer in panel["layer"]]
    through = [layer for layer in floors if set(layer.get("encoding", ())) == {"x"}]
    assert not through, "no line through the floors says it again"
    (_, shed) = scenes_of_boxes(records)
    first = min(piece.times[0] for line in shed.lines for piece in line.pieces)
    assert first >= split_batch.SPLIT, "an empty box's cold is nobody's"


def test_two_batches_at_once_are_not_guessed_between(journal):
    with Journal.open(journal) as kept:
        number = kept.next_entry_number()
        new = [
            chicks_in(split_batch.STOP + n, brooder=box, hatched=f"2026-02-1{n}", number=number + n)
            for n, box in enumerate(("porch", "shed"))
        ]
        kept.commit(Commit(inputs=[Entered(one, Moment(one.at, one.at)) for one in new]))
    with JournalReader(journal) as kept:
        with pytest.raises(NotFound, match="--brooder is missing; write one of porch, shed"):
            open_batch(kept, SITE, Asked(), now=split_batch.STOP + 60)
        both = open_batch(kept, SITE, Asked(batch=1), now=split_batch.STOP + 60)
        assert len(both) == 2, "the batch's number says which"
        with pytest.raises(NotFound, match="--batch is 9; there have been 3, counted from 1"):
            open_batch(kept, SITE, replace(Asked(), batch=9), now=split_batch.STOP + 60)


def test_a_night_of_one_box_that_was_not_read_is_told_in_the_sheet_of_all(tmp_path, monkeypatch):
    """It stood there blank, as a good night does, above a foot that explained a column that was
    not there; and so on the vet's page, where two had died that morning."""
    monkeypatch.setattr(split_batch, "SILENT", (at("2026-02-11 20:00"), at("2026-02-12 06:00")))
    split_batch.write(tmp_path / "holed.db")
    with JournalReader(tmp_path / "holed.db") as kept:
        holed = open_batch(kept, SITE, Asked(), now=LATER)
        console = Console(file=io.StringIO(), width=80)
        print_boxes(console, holed, [sheet(record, Cut.NOON) for record in holed])
        said = console.file.getvalue()
        page = html.unescape(for_vet(holed, now=LATER))
    assert "11 Feb 12:00  porch: no floor probe was heard, for 9:50 h" in said
    assert "silent:" not in said
    assert "not read</th>" in page
    assert re.search(r"<td>12 Feb</td>.*<td>6:00</td>", page)
