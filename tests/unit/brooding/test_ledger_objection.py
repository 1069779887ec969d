"""What is refused before it is kept: in words a grower can act on, and never a good entry."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from support.birds import chicks_in
from support.fake_api import site
from support.ledger import DAY, START, entry, journals, placed, some_entry

from monitor.brooding.entries import LEDGER_KINDS, Entry, EntryKind
from monitor.brooding.ledger import fold
from monitor.brooding.objection import objection, question

CHICAGO = ZoneInfo("America/Chicago")
KEPT = [
    placed(1, 1, 100),
    entry(2, EntryKind.LOSS, 2, 2),
    entry(3, EntryKind.MOVED, 10, 90),
    Entry(at=START + 11 * DAY, entry=EntryKind.NOTE, number=4, brooder="porch", note="wet"),
    Entry(at=START + 11 * DAY, entry=EntryKind.UNDO, number=5, undoes=4),
]


def undo(number: int | None) -> Entry:
    return Entry(at=START + 12 * DAY, entry=EntryKind.UNDO, undoes=number)


REFUSED = [
    (entry(0, EntryKind.LOSS, 12, 9), "porch has 8 birds at that time; 9 cannot be lost."),
    (entry(0, EntryKind.MOVED, 12, 9), "porch has 8 birds at that time; 9 cannot be moved."),
    (
        entry(0, EntryKind.LOSS, 5, 9),
        "Then entry 3, which is later, would be wrong: porch has 89 birds",
    ),
    (
        entry(0, EntryKind.LOSS, 0.5, 1),
        "There are no birds in porch at that time: entry 1 places them later. Give a later time",
    ),
    (entry(0, EntryKind.MOVED, 5, 3, brooder="shed"), "There are no birds in shed"),
    (entry(0, EntryKind.LOSS, 12, 0), "How many birds? It must be 1 or more, not 0."),
    (entry(0, EntryKind.LOSS, 12, None), "How many birds? It must be 1 or more."),
    (placed(0, 12, 10**20), "How many birds? It must be 100000 or less, not 1000000"),
    (entry(0, EntryKind.DEAD_ON_ARRIVAL, 12, 10**20), "It must be 100000 or less, not 1000000"),
    (entry(0, EntryKind.LOSS, 12, 1, brooder="barn"), "the configuration has porch, shed."),
    (entry(0, EntryKind.LOSS, 12, 1, brooder=None), "Which brooder? The entry needs its name."),
    (entry(0, EntryKind.NOTE, 12), "A note needs some words."),
    (placed(0, 12, 20, hatched="2026-03-09"), "porch holds meat chicks hatched 2026-03-01"),
    (placed(0, 12, 20, kind="duck"), "one box has one target"),
    (placed(0, 12, 20, brooder="shed", kind="emu"), "use one of broiler, layer, turkey"),
    (placed(0, 12, 20, brooder="shed", kind=None), "What kind of bird? Use one of broiler"),
    (placed(0, 12, 20, brooder="shed", hatched=None), "When did they hatch?"),
    (placed(0, 12, 20, brooder="shed", hatched="1 March"), "is not a date; write it like 2026-03-"),
    (placed(0, 12, 20, brooder="shed", hatched="2026-04-01"), "is after the day they were placed"),
    (placed(0, 12, 20, brooder="shed", hatched="2016-03-01"), "check the year"),
    (undo(None), "Which entry is to be taken back? Its number is missing."),
    (undo(77), "There is no ledger entry 77 to take back."),
    (undo(5), "Entry 5 took another one back; write that one again instead."),
    (undo(4), "Entry 4 was taken back already."),
    (undo(1), "Entry 1 cannot be taken back while entry 2 rests on it"),
]


@pytest.mark.parametrize(("wrong", "words"), REFUSED, ids=[words for _, words in REFUSED])
def test_a_wrong_entry_is_refused_in_words(wrong, words):
    said = objection(fold(KEPT), wrong, zone=CHICAGO, brooders=["porch", "shed"])
    assert words in (said or "")
    assert "\n" not in (said or "")


FINE = [
    entry(0, EntryKind.LOSS, 12, 8),
    entry(0, EntryKind.MOVED, 12),
    entry(0, EntryKind.LOSS, 5, 8),  # written late, and the later move still fits
    entry(0, EntryKind.NOTE, 12, note="new litter"),
    entry(0, EntryKind.ACKNOWLEDGE, 12, alarm="cold"),
    placed(0, 12, 90, brooder="shed"),
    placed(0, 12, 15),  # the same hatch again
    undo(2),
    undo(3),
]


def test_birds_that_an_earlier_written_word_takes_away_again_are_asked_about():
    """The old batch's end was written in the evening, then the chicks that had come at noon: they
    were gone by that end, and nobody watched over them."""
    at_home = site(timezone=CHICAGO)
    ended = [*KEPT, Entry(at=START + 12.5 * DAY, entry=EntryKind.END, number=6)]
    came = placed(0, 12.2, 50, hatched="2026-03-12")
    assert "and an empty box is not watched" in (question(fold(ended), came, at_home) or "")
    assert "by entry 6, which is later" in (question(fold(ended), came, at_home) or "")
    assert question(fold(ended), placed(0, 12.6, 50, hatched="2026-03-12"), at_home) is None
    assert question(fold(KEPT), placed(0, 12, 15), at_home) is None


@pytest.mark.parametrize("good", FINE)
def test_a_good_entry_is_not_refused(good):
    assert objection(fold(KEPT), good, zone=CHICAGO, brooders=["porch", "shed"]) is None


def test_a_hatch_date_is_judged_by_the_site_s_date():
    evening = chicks_in(START, count=5, hatched="2026-03-01")
    assert "after the day" in (objection(fold([]), evening, zone=CHICAGO) or "")
    assert objection(fold([]), evening) is None


@given(journals, some_entry)
def test_what_is_not_refused_counts_and_spoils_nothing(journal, candidate):
    """Whatever passes is folded without a fault of its own or of another entry."""
    kept: list[Entry] = []
    for one in [*journal, candidate]:
        if objection(fold(kept), one) is None and one.entry in LEDGER_KINDS:
            kept.append(replace(one, number=len(kept) + 1))
    assert fold(kept).faults == {}


@pytest.mark.parametrize(("wrong", "words"), REFUSED, ids=[words for _, words in REFUSED])
def test_it_is_said_in_words_that_fit_the_page_and_the_command(wrong, words):
    said = objection(fold(KEPT), wrong, zone=CHICAGO, brooders=["porch", "shed"]) or ""
    assert "`" not in said
    assert "--" not in said
    assert "None" not in said
