"""The flock ledger: what entries make of a box, and laws that hold for any journal."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from support.ledger import DAY, START, entry, journals, placed, some_entry

from monitor.brooding.entries import Entry, EntryKind
from monitor.brooding.ledger import Ledger, fold


def test_head_count_follows_losses_and_moves_and_is_known_at_any_time():
    batch = fold(
        [
            placed(1, 1, 115),
            entry(2, EntryKind.LOSS, 2, 2, note="piled in the corner"),
            entry(3, EntryKind.MOVED, 20, 50),
        ]
    ).running("porch")
    assert batch is not None
    assert [batch.head_count(START + d * DAY) for d in (0.5, 1, 1.9, 2, 19.9, 20)] == [
        *(0, 115, 115, 113, 113, 63),
    ]
    assert (batch.placed, batch.lost(), batch.head_count()) == (115, 2, 63)
    assert batch.losses[0].note == "piled in the corner"
    assert batch.lost(to_at=START + 2 * DAY) == 0


def test_a_box_split_in_two_keeps_every_bird():
    ledger = fold(
        [
            placed(1, 1, 100),
            entry(2, EntryKind.MOVED, 14, 50),
            placed(3, 14, 50, brooder="shed"),
            entry(4, EntryKind.LOSS, 15, 1, brooder="shed"),
        ]
    )
    assert not ledger.faults
    porch, shed = ledger.running("porch"), ledger.running("shed")
    assert porch is not None
    assert shed is not None
    assert (porch.head_count(), shed.head_count()) == (50, 49)
    assert porch.hatched == shed.hatched


def test_moving_all_ends_the_batch_and_the_next_one_begins_afresh():
    ledger = fold(
        [
            placed(1, 1, 100),
            entry(2, EntryKind.MOVED, 22),
            placed(3, 40, 25, hatched="2026-04-08", kind="layer"),
        ]
    )
    first, second = ledger.of("porch")
    assert first.ended_at == START + 22 * DAY
    assert (second.kind, second.head_count(), second.ended_at) == ("layer", 25, None)
    assert ledger.running("porch") == second


def test_a_second_crate_of_the_same_hatch_adds_to_the_batch():
    ledger = fold([placed(1, 1, 60), placed(2, 1.5, 55, hatched=None, kind=None)])
    (batch,) = ledger.batches
    assert (batch.placed, batch.head_count()) == (115, 115)


def test_another_hatch_in_the_same_box_is_left_out_and_named():
    ledger = fold([placed(1, 1, 60), placed(2, 8, 20, hatched="2026-03-08")])
    (batch,) = ledger.batches
    assert batch.head_count() == 60
    assert "one box has one target" in ledger.faults[2]


def test_an_entry_written_late_falls_in_its_place():
    late = [placed(1, 1, 100), entry(3, EntryKind.LOSS, 5, 1), entry(4, EntryKind.LOSS, 2, 3)]
    batch = fold(late).running("porch")
    assert batch is not None
    assert [(tally.number, tally.heads_after) for tally in batch.tallies] == [
        *((1, 100), (4, 97), (3, 96)),
    ]


def test_an_undo_takes_an_entry_back_as_if_never_written():
    entries = [placed(1, 1, 100), entry(2, EntryKind.LOSS, 2, 10)]
    undone = fold([*entries, Entry(at=START + 3 * DAY, entry=EntryKind.UNDO, number=3, undoes=2)])
    batch = undone.running("porch")
    assert batch is not None
    assert batch.head_count() == 100
    assert undone.undone == {2}


def test_notes_stay_with_the_batch_and_acts_on_alarms_are_passed_over():
    ledger = fold(
        [
            placed(1, 1, 100),
            entry(2, EntryKind.NOTE, 2, note="new litter"),
            entry(3, EntryKind.ACKNOWLEDGE, 2, alarm="cold"),
        ]
    )
    batch = ledger.running("porch")
    assert batch is not None
    assert [note.note for note in batch.notes] == ["new litter"]
    assert ledger.entry(3) is None


# --- laws ------------------------------------------------------------------------------------


@given(journals)
def test_no_journal_makes_a_head_count_negative_or_loses_a_bird(journal):
    for batch in fold(journal).batches:
        assert all(tally.heads_after >= 0 for tally in batch.tallies)
        gone = sum(t.count for t in batch.tallies if t.entry is not EntryKind.PLACED)
        assert batch.placed - gone == batch.head_count()
        assert (batch.ended_at is None) == (batch.head_count() > 0)


@given(journals, st.randoms(use_true_random=False))
def test_the_order_in_which_entries_arrive_does_not_matter(journal, random):
    shuffled = random.sample(journal, len(journal))
    assert fold(shuffled) == fold(journal)


@given(journals)
def test_at_most_one_batch_runs_in_a_box_at_any_time(journal):
    ledger = fold(journal)
    for half_day in range(42):
        at = START + half_day * DAY / 2 + 1
        for box in ("porch", "shed"):
            assert sum(batch.head_count(at) > 0 for batch in ledger.of(box)) <= 1


@given(journals, st.data())
def test_an_undo_restores_what_was_before(journal, data):
    plain = [one for one in journal if one.entry is not EntryKind.UNDO]
    before = fold(plain)
    extra = replace(data.draw(some_entry), number=50)
    if extra.entry is EntryKind.UNDO:
        return
    undo = Entry(at=START + 50 * DAY, entry=EntryKind.UNDO, number=51, undoes=50)
    after = fold([*plain, extra, undo])
    assert after.batches == before.batches
    assert after.faults == before.faults


@given(journals)
def test_entries_laid_on_top_one_by_one_are_the_fold_of_all(journal):
    ledger = Ledger()
    for one in journal:
        ledger = ledger.with_entry(one)
    assert ledger == fold(journal)
    for box in ("porch", "shed"):
        with_birds = [b for b in ledger.of(box) if b.head_count() > 0]
        assert [ledger.running(box)] == (with_birds or [None])
