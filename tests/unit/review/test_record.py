"""Which part of a journal is reviewed, and what it says when there is nothing to review."""

import dataclasses

import numpy as np
import pytest
from support.birds import chicks_in
from support.review_journal import at, site
from support.short_record import placed, recorded

from monitor.events import (
    AlarmName,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
    Reading,
)
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.review.days import Cut
from monitor.review.record import Asked, NotFound, open_record
from monitor.review.sheet import sheet

LONG_AFTER = at("2026-06-01 00:00")


def test_a_journal_that_ended_long_ago_is_reviewed_up_to_its_end_and_no_further(reader):
    record = open_record(reader, site(), Asked(brooder="porch"), now=LONG_AFTER)
    assert record.start == at("2026-02-08 12:00")
    assert at("2026-02-13 11:58") < record.stop <= at("2026-02-13 12:01")
    assert record.ended


def test_a_recorded_night_that_lies_ahead_of_the_clock_is_reviewed_whole(reader):
    record = open_record(reader, site(), Asked(brooder="porch"), now=at("2026-02-10 00:00"))
    assert record.stop > at("2026-02-13 11:58")


def test_a_running_batch_is_reviewed_until_now_so_that_silence_shows(reader):
    now = at("2026-02-13 20:00")
    record = open_record(reader, site(), Asked(brooder="porch"), now=now)
    assert record.stop == now
    assert record.exposure(at("2026-02-13 13:00"), now).gap_s == 7 * 3600


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Asked(brooder="barn"), '--brooder is "barn"; the configuration has porch, shed'),
        (Asked(brooder="porch", batch=2), "--batch is 2; porch has had 1, counted from 1"),
        (Asked(brooder="porch", batch=0), "--batch is 0; porch has had 1, counted from 1"),
        (Asked(brooder="shed"), "the ledger has no batch for shed then"),
        (
            Asked(brooder="porch", stop=at("2026-01-02 00:00")),
            "porch had no birds then, its newest batch from 8 Feb 2026 12:00 until now",
        ),
        (Asked(brooder="porch", start=at("2026-05-01 00:00")), "nothing of porch is recorded"),
    ],
)
def test_what_is_not_there_is_said_in_one_line(reader, asked, words):
    with pytest.raises(NotFound, match=words.replace("(", r"\(")) as fault:
        open_record(reader, site(), asked, now=LONG_AFTER)
    assert "\n" not in str(fault.value)


def test_an_empty_journal_says_so(tmp_path):
    Journal.open(tmp_path / "empty.db").close()
    with JournalReader(tmp_path / "empty.db") as empty, pytest.raises(NotFound, match="is empty"):
        open_record(empty, site(), Asked(), now=LONG_AFTER)


def test_the_only_box_with_birds_need_not_be_named(reader):
    assert open_record(reader, site(), Asked(), now=LONG_AFTER).brooder.name == "porch"


def test_probes_no_longer_configured_still_tell_of_their_batch(reader):
    bare = site()
    porch = dataclasses.replace(bare.brooders[0], probes=bare.brooders[0].probes[:1])
    now_site = dataclasses.replace(bare, brooders=(porch, bare.brooders[1]))
    record = open_record(reader, now_site, Asked(brooder="porch"), now=LONG_AFTER)
    assert {probe.key for probe in record.floor_probes} == {"porch/west", "porch/east"}


def test_a_span_far_wider_than_the_journal_is_cut_to_it(reader):
    asked = Asked(brooder="shed", start=at("1999-01-01 00:00"), stop=at("2099-01-01 00:00"))
    record = open_record(reader, site(), asked, now=LONG_AFTER)
    assert record.batch is None
    assert record.start == at("2026-02-08 12:00")
    assert record.stop < at("2026-02-13 12:01")


def test_readings_of_a_probe_out_of_service_are_left_out(tmp_path):
    path = tmp_path / "journal.db"
    start = at("2026-02-08 12:00")
    acts = [
        chicks_in(start, count=9, number=1),
        Entry(at=start + 3600, entry=EntryKind.OUT_OF_SERVICE, brooder="porch",
              probe="porch/west", number=2),
        Entry(at=start + 7200, entry=EntryKind.IN_SERVICE, brooder="porch", probe="porch/west",
              number=3),
        Entry(at=start + 8000, entry=EntryKind.NOTE, brooder="porch", note="wrong", number=4),
        Entry(at=start + 8100, entry=EntryKind.UNDO, brooder="porch", undoes=4, number=5),
    ]  # fmt: skip
    with Journal.open(path) as journal:
        journal.know(site().all_probes)
        times = np.arange(start, start + 10800, 60.0).tolist()
        in_hand = [3600 <= t - start < 7200 for t in times]  # the grower holds it
        readings = [
            Reading(at=t, tick=t, probe="porch/west", temp_c=5.0 if held else 34.0)
            for t, held in zip(times, in_hand, strict=True)
        ]
        entered = [Entered(act, Moment(act.at, act.at)) for act in acts]
        end = Moment(start + 10800, start + 10800)
        journal.commit(Commit(inputs=[*readings, *entered], advanced_to=end))
    with JournalReader(path) as reader:
        record = open_record(reader, site(), Asked(brooder="porch"), now=LONG_AFTER)
        got = record.exposure(start, start + 10800)
        assert got.low_c == 34.0
        assert got.below_s == 0
        assert got.gap_s == 7200 - (3540 + record.hold_s)
        assert "wrong" not in [entry.note for entry in record.entries]


def test_a_wild_reading_at_the_edge_of_a_part_is_known_by_its_neighbours_beyond(tmp_path):
    wild = [at("2026-02-09 00:00"), at("2026-02-09 05:59")]
    said = {"porch/west": lambda t: 21.0 if t in wild else 34.0}
    came = placed("2026-02-08 12:00")
    day = {"start": "2026-02-08 12:00", "stop": "2026-02-09 12:00"}
    with recorded(tmp_path, said, came, every_s=60.0, **day) as record:
        part = record.readings_of(["porch/west"], at("2026-02-09 00:00"), at("2026-02-09 06:00"))
        assert set(part["porch/west"].temps_c) == {34.0}
        got = record.exposure(wild[0], wild[1] + 60)
        assert (got.low_c, got.below_s, got.gap_s) == (34.0, 0, 0)


def test_a_reading_whose_time_is_not_sure_is_no_evidence(tmp_path):
    path = tmp_path / "journal.db"
    start = at("2026-02-08 12:00")
    placed = chicks_in(start, count=9, number=1)
    with Journal.open(path) as journal:
        journal.know(site().all_probes)
        readings = [
            Reading(at=start + 60 * n, tick=start + 60 * n, probe="porch/west",
                    temp_c=5.0 if n < 30 else 34.0, clock_sure=n >= 30)
            for n in range(60)
        ]  # fmt: skip
        end = Moment(start + 3600, start + 3600)
        entered = Entered(placed, Moment(start, start))
        journal.commit(Commit(inputs=[entered, *readings], advanced_to=end))
    with JournalReader(path) as reader:
        record = open_record(reader, site(), Asked(brooder="porch"), now=LONG_AFTER)
        got = record.exposure(start, start + 3600)
        assert (got.below_s, got.gap_s, got.low_c) == (0, 1800, 34.0)


def test_a_probe_that_misled_does_not_count_while_another_was_well(reader):
    whole = open_record(reader, site(), Asked(brooder="porch"), now=LONG_AFTER)
    since, until = at("2026-02-11 01:00"), at("2026-02-11 09:00")
    told = {"brooder": "porch", "alarm": AlarmName.PROBE_FAULT, "probe": "porch/west",
            "priority": Priority.WARNING, "cause": Cause.SENSOR, "occurrence": "one"}  # fmt: skip
    fault = (
        Change(at=since + 600, change=ChangeKind.RAISED, facts={"since": since}, **told),
        Change(at=until, change=ChangeKind.CLEARED, **told),
    )
    doubted = dataclasses.replace(whole, changes=(*whole.changes, *fault))
    night = (at("2026-02-10 12:00"), at("2026-02-11 12:00"))
    assert doubted.exposure(*night).low_c > whole.exposure(*night).low_c + 4  # east only
    assert doubted.exposure(*night).gap_s == 0
    notes = [note.text for row in sheet(doubted, Cut.NOON).rows for note in row.notes]
    assert any("west misled" in text for text in notes)
    assert any("not every floor probe was heard and trusted" in text for text in notes)
    # As the only floor probe it is still heard.
    alone = dataclasses.replace(
        doubted, probes=tuple(p for p in whole.probes if p.key != "porch/east")
    )
    assert alone.exposure(*night).low_c == whole.exposure(*night).low_c
