"""One page for a veterinarian or the hatchery: what the birds lived through, and nothing else."""

import html
import re
from dataclasses import replace

import numpy as np
import pytest
from support import split_batch
from support.browser import DESK, chromium, needs_chromium, tab
from support.review_journal import at, changes

from monitor.events import Entry, EntryKind, Moment, Reading
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.review.boxes import open_batch
from monitor.review.for_vet import MOST_DAYS, for_vet
from monitor.review.record import Asked

SITE = split_batch.split_site()
LATER = at("2026-12-01 00:00")
DAY_S = 86400.0


def page_of(journal) -> str:
    with JournalReader(journal) as kept:
        return for_vet(open_batch(kept, SITE, Asked(batch=1), now=LATER), now=LATER)


@pytest.fixture(scope="module")
def raw(tmp_path_factory):
    """Of a split batch, with alarms, a remark on a loss and a note of the grower's own."""
    journal = tmp_path_factory.mktemp("vet") / "journal.db"
    split_batch.write(journal)
    with Journal.open(journal) as kept:
        number = kept.next_entry_number()
        rows = [
            Entry(at=at("2026-02-11 09:00"), entry=EntryKind.NOTE, brooder="porch",
                  note="lent the spare lamp to a friend", number=number),
            Entry(at=at("2026-02-11 09:05"), entry=EntryKind.LOSS, brooder="porch", count=1,
                  note="<b>in a heap</b>", number=number + 1),
        ]  # fmt: skip
        entered = [Entered(one, Moment(one.at, one.at)) for one in rows]
        kept.commit(Commit(inputs=entered, changes=changes()))
    return page_of(journal)


def test_it_says_what_came_what_was_lost_and_what_the_floor_was(raw):
    page = html.unescape(raw)
    for words in (
        "Meat chicks hatched 2026-02-07",
        "100 placed 8 Feb 2026 12:00, 1 day old; 3 more were dead on arrival",
        "4 of 100 (4.0 %), 4 of them in the first week",
        "the other 96, 13 Feb 2026 17:59",
        "40 of them from 10 Feb;",
        "60 min too cold, 60 min of it dangerously, never too hot",
        "12 Feb 07:00  shed: 1 lost: leg",
    ):
        assert words in page, words
    rows = [re.findall(r"<td>(.*?)</td>", row) for row in re.findall(r"<tr.*?</tr>", page)]
    lost = {row[0]: (row[2], row[3]) for row in rows if row and row[2]}
    assert lost == {"9 Feb": ("2", "98"), "11 Feb": ("1", "97"), "12 Feb": ("1", "96")}


def test_no_alarm_no_contact_and_no_note_of_the_growers_own_is_on_it(raw):
    for words in ("friend", "heat-loss", "chill", "urgent", "by page", "acknowledged"):
        assert words not in html.unescape(raw), words
    assert "&lt;b&gt;in a heap" in raw
    assert "<script" not in raw
    assert not re.findall(r"""(?:src|href)=["'](?!data:)""", raw)


@needs_chromium
@pytest.mark.parametrize("days", [42, MOST_DAYS + 10])
def test_it_is_one_sheet_of_paper_however_long_the_batch(tmp_path, days):
    """Two boxes, a loss with a note every second day."""
    path, start = tmp_path / "journal.db", at("2026-02-08 12:00")
    birds = {"hatched": "2026-02-07", "kind": "broiler"}
    written = [
        Entry(at=start, entry=EntryKind.PLACED, brooder="porch", count=100, **birds),
        Entry(at=start + 10 * DAY_S, entry=EntryKind.MOVED, brooder="porch", count=40),
        Entry(at=start + 10 * DAY_S, entry=EntryKind.PLACED, brooder="shed", count=40, **birds),
    ]
    written += [
        Entry(at=start + (day + 0.9) * DAY_S, entry=EntryKind.LOSS, brooder="porch", count=1,
              note="found by the drinker")
        for day in range(0, 42, 2)
    ]  # fmt: skip
    with Journal.open(path) as kept:
        kept.know(SITE.all_probes)
        number = kept.next_entry_number()
        entered = [
            Entered(replace(one, number=number + n), Moment(one.at, one.at))
            for n, one in enumerate(written)
        ]
        readings = [
            Reading(at=when, tick=when, probe=key, temp_c=25.0)
            for when in np.arange(start, start + days * DAY_S, 1800.0).tolist()
            for key in ("porch/west", "shed/floor")
        ]
        kept.commit(Commit(inputs=[*readings, *entered]))
    (tmp_path / "page.html").write_text(page_of(path), encoding="utf-8")
    with chromium() as browser, tab(browser, DESK) as page:
        page.goto((tmp_path / "page.html").as_uri())
        for paper in ("Letter", "A4"):
            printed = page.pdf(format=paper)
            sheets = re.findall(rb"/Type\s*/Pages.*?/Count (\d+)", printed, re.DOTALL)
            assert sheets == [b"1"], paper
