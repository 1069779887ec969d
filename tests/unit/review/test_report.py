"""The report: one file that needs nothing else, and holds everything."""

import dataclasses
import html
import re

import pytest
from support.review_journal import at, site

from monitor.events import Entry, EntryKind
from monitor.journal.reader import JournalReader
from monitor.review.days import Cut
from monitor.review.record import Asked, open_record
from monitor.review.report import report

LONG_AFTER = at("2026-06-01 00:00")


@pytest.fixture(scope="module")
def record(journal_path):
    with JournalReader(journal_path) as reader:
        found = open_record(reader, site(), Asked(brooder="porch"), now=LONG_AFTER)
        evil = Entry(at=at("2026-02-09 10:00"), entry=EntryKind.NOTE, brooder="porch",
                     note="<script>alert(1)</script> & </table>", number=99)  # fmt: skip
        yield dataclasses.replace(found, entries=(*found.entries, evil))


@pytest.fixture(scope="module")
def page(record):
    return report([record], Cut.NOON, now=LONG_AFTER)


def test_nothing_is_fetched_and_nothing_runs(page):
    assert not re.findall(r"""(?:src|href)=["'](?!data:)""", page)
    assert "<script" not in page
    assert "@import" not in page
    assert "url(" not in page


def test_what_a_grower_writes_is_shown_as_written(page):
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &lt;/table&gt;" in page


def test_sheet_pictures_losses_alarms_and_methods_are_all_there(page):
    shown = html.unescape(page)
    for words in ("10-11 Feb", "4:15", "2 of 100 lost (piled in the corner)",
                  "Cold is the first thing to suspect", "05:02 by page", "veterinarian",
                  "Chill limit: 10.1 °F below target", "University of Minnesota Extension",
                  "fire hazard", "8 Feb 2026 12:00", "Told 3 times in this batch"):  # fmt: skip
        assert words in shown, words
    pictures = re.findall(r'<img src="data:image/svg\+xml;base64,[^"]+" alt="([^"]+)"', page)
    assert len(pictures) == 3  # the batch, and the night before each of two losses
    assert all("coldest floor" in alt for alt in pictures)


def test_it_is_laid_out_for_paper(page):
    assert "@media print" in page
    assert "@page" in page
