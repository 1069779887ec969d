"""Whatever became of the journal, the service starts, knows its birds if any row still says so, and
says what is lost."""

import sqlite3
import zlib
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.one_box import settings_of, started, stopped_clock

from monitor.events import AlarmName, Entry, EntryKind, Moment, Priority, Reading
from monitor.journal.opening import fault_of
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered, StorageFault
from monitor.journal.store import Journal
from monitor.service import startup
from monitor.service.second_copy import SecondCopy
from monitor.service.startup import Opened
from monitor.settings import Settings

T0 = 1_770_685_200.0  # 2026-02-10T01:00:00Z


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """With birds in the box, two notes, and readings."""
    settings = settings_of(tmp_path)
    with Journal.open(settings.journal_path) as journal:
        journal.know(settings.site.all_probes)
        placed = chicks_in(T0, number=1)
        notes = [
            Entry(at=T0, entry=EntryKind.NOTE, brooder="porch", note=f"look {n}", number=n)
            for n in (2, 3)
        ]
        for entry in (placed, *notes):
            now = Moment(T0 + entry.number, T0 + entry.number)
            inputs = [Entered(entry, now), Reading(now.at, now.tick, "porch/floor", 35.0)]
            journal.commit(Commit(inputs=inputs, advanced_to=now))
    return settings


def damage(settings: Settings, statement: str) -> None:
    with sqlite3.connect(settings.journal_path) as database:
        assert database.execute(statement).rowcount > 0
    database.close()


def opened(settings: Settings) -> Opened:
    return started(settings, stopped_clock(T0 + 120))


def heads(done: Opened) -> int:
    batch = done.core.ledger.running("porch")
    return 0 if batch is None else batch.head_count()


def asked_for_birds(done: Opened) -> bool:
    """Is it said, urgently, that nobody knows which birds are in the box?"""
    return any(
        (c.alarm, c.brooder, c.priority) == (AlarmName.UNWATCHED, "porch", Priority.URGENT)
        for c in done.core.waiting.changes
    )


def said(done: Opened) -> str:
    """What is told of the store."""
    change = next(
        (c for c in done.core.waiting.changes if c.alarm is AlarmName.STORAGE_FAULT), None
    )
    return "" if change is None else str(change.facts.get("reason"))


def test_a_sound_journal_is_opened_without_a_word(settings: Settings) -> None:
    done = opened(settings)
    assert heads(done) == 100
    assert said(done) == ""


@pytest.mark.parametrize(
    "becomes",
    [
        "entry = 'noue'",
        "entry = x'00ff'",
        "at_ms = 'soon'",
        "at_ms = 9223372036854775807",
        "brooder = x'b1'",
        "count = 'many'",
        "minutes = x'07'",
        "id = x'07'",
    ],
)
def test_one_damaged_entry_costs_only_itself_and_is_told(settings: Settings, becomes: str) -> None:
    damage(settings, f"UPDATE entries SET {becomes} WHERE number = 2")
    done = opened(settings)
    assert heads(done) == 100
    assert [entry.number for entry in done.core.ledger.entries if entry.number != 2] == [1, 3]
    with JournalReader(settings.journal_path) as reader:
        assert len(reader.entries()) == 3 - len(reader.damaged_entries())
        numbers = reader.damaged_entries()
    assert ("ledger entry 2 is damaged" in said(done)) == (numbers == [2])


def test_where_the_damaged_entry_is_the_one_of_the_birds_people_are_asked_for_them(
    settings: Settings,
) -> None:
    damage(settings, "UPDATE entries SET hatched = '2026-92-08' WHERE number = 1")
    done = opened(settings)
    assert heads(done) == 0
    assert "ledger entry 1 is damaged" in said(done)
    assert asked_for_birds(done)


def test_a_damaged_commit_does_not_hide_those_behind_it(settings: Settings) -> None:
    inputs = zlib.compress(b'[["entry",1,1,99],7,[1,0,0,35.0]]').hex()
    damage(settings, f"UPDATE commits SET inputs = x'{inputs}' WHERE seq = 2")
    damage(settings, "UPDATE commits SET at_ms = 'x' WHERE seq = 1")
    with JournalReader(settings.journal_path) as reader:
        inputs = list(reader.inputs_since(0))
        assert [i.now.at for i in inputs if isinstance(i, Entered)] == [T0 + 3]
        assert [i.at for i in inputs if isinstance(i, Reading)] == [T0 + 2, T0 + 3]
    assert heads(opened(settings)) == 100


@pytest.mark.parametrize("error", [StorageFault("damaged", "a page"), RuntimeError("of ours")])
def test_where_the_rebuilding_fails_the_ledger_is_still_known(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fails(*_: object) -> None:
        raise error

    monkeypatch.setattr(startup, "rebuild", fails)
    done = opened(settings)
    assert heads(done) == 100
    assert "cannot be used" in said(done)
    assert not asked_for_birds(done)


def test_where_nothing_can_be_read_people_are_asked_for_the_birds(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise StorageFault("failed", "the disk cannot be read")

    monkeypatch.setattr(JournalReader, "entries", fails)
    done = opened(settings)
    assert heads(done) == 0
    assert asked_for_birds(done)


def test_a_journal_that_was_set_aside_leaves_its_birds_to_the_next(settings: Settings) -> None:
    raw = bytearray(settings.journal_path.read_bytes())
    raw[:100] = bytes(100)
    settings.journal_path.write_bytes(raw)
    done = opened(settings)
    assert heads(done) == 100
    assert "kept as journal.db.damaged" in said(done)
    assert not asked_for_birds(done)
    assert heads(opened(settings)) == 100, "and so it is at the start after"


def test_the_end_of_the_last_run_is_no_time_beyond_all_clocks(settings: Settings) -> None:
    damage(settings, "UPDATE commits SET at_ms = 9223372036854775807 WHERE seq = 3")
    done = opened(settings)
    assert done.rebuilt.ended == Moment(T0 + 2, T0 + 2)
    assert heads(done) == 100


# -- the second copy


def copied(settings: Settings) -> Path:
    """As a service that ran left it; its one file."""
    core = opened(settings).core
    assert SecondCopy(settings.state_folder).keep(core.ledger)
    return settings.state_folder / "birds" / "porch.json"


def lost_for_ever(settings: Settings) -> None:
    """No byte of it says anything any more."""
    settings.journal_path.write_bytes(b"\xa5" * settings.journal_path.stat().st_size)


def test_a_journal_without_a_readable_byte_still_leaves_the_birds_watched(
    settings: Settings,
) -> None:
    copied(settings)
    lost_for_ever(settings)
    done = opened(settings)
    assert heads(done) == 100
    assert "second copy" in said(done)
    assert not asked_for_birds(done)
    box = done.core.status(Moment(T0 + 120, T0 + 120)).brooder("porch")
    assert box is not None
    assert box.chill_c is not None, "and the floor is judged"


@pytest.mark.parametrize("what", ["no copy", "a damaged copy"])
def test_without_journal_and_second_copy_people_are_asked_for_the_birds(
    settings: Settings, what: str
) -> None:
    if what == "a damaged copy":
        file = copied(settings)
        file.write_text(file.read_text().replace("100", "101"))
    lost_for_ever(settings)
    done = opened(settings)
    assert heads(done) == 0
    assert asked_for_birds(done)


def test_an_emptied_journal_beside_a_damaged_copy_is_no_first_start(settings: Settings) -> None:
    file = copied(settings)
    file.write_text("{}")
    settings.journal_path.write_bytes(b"")
    for side in ("-wal", "-shm"):
        settings.journal_path.with_name(settings.journal_path.name + side).unlink(missing_ok=True)
    assert asked_for_birds(opened(settings))


def test_a_journal_taken_away_while_nobody_watched_does_not_take_the_birds_along(
    settings: Settings,
) -> None:
    copied(settings)
    settings.journal_path.unlink()
    done = opened(settings)
    assert heads(done) == 100
    assert "second copy" in said(done)


def test_a_sound_journal_learns_nothing_from_the_second_copy(settings: Settings) -> None:
    copied(settings)
    done = opened(settings)
    assert heads(done) == 100
    assert said(done) == ""
    assert [i for i in done.core.waiting.inputs if isinstance(i, Entered)] == []


def test_a_box_that_was_emptied_has_no_second_copy(settings: Settings) -> None:
    file = copied(settings)
    assert file.exists()
    core = opened(settings).core
    now = Moment(T0 + 200, T0 + 200)
    core.enter(Entry(at=T0 + 200, entry=EntryKind.MOVED, brooder="porch"), now)
    assert SecondCopy(settings.state_folder).keep(core.ledger)
    assert not file.exists()


def test_birds_that_a_damaged_entry_forgot_are_known_from_the_second_copy(
    settings: Settings,
) -> None:
    copied(settings)
    damage(settings, "UPDATE entries SET hatched = '2026-92-08' WHERE number = 1")
    done = opened(settings)
    assert heads(done) == 100
    numbers = [entry.number for entry in done.core.ledger.entries]
    assert len(numbers) == len(set(numbers)), "an entry keeps a number of its own"


def test_a_slip_whose_undo_the_damage_took_does_not_empty_the_box(settings: Settings) -> None:
    """The journal that was saved says that all were lost; the second copy knows better."""
    core = opened(settings).core
    now = Moment(T0 + 60, T0 + 60)
    lost, _ = core.enter(Entry(at=T0 + 60, entry=EntryKind.LOSS, brooder="porch", count=100), now)
    copied_after = core.take(now).batch
    with Journal.open(settings.journal_path) as journal:
        journal.commit(copied_after)
    core.enter(Entry(at=T0 + 61, entry=EntryKind.UNDO, undoes=lost.number), now)
    assert SecondCopy(settings.state_folder).keep(core.ledger)
    raw = bytearray(settings.journal_path.read_bytes())
    raw[:100] = bytes(100)
    settings.journal_path.write_bytes(raw)
    assert heads(opened(settings)) == 100


def test_a_journal_that_belongs_to_somebody_else_is_said_to_be_so(settings: Settings) -> None:
    fault = fault_of(PermissionError(13, "Permission denied"), settings.journal_path)
    assert "not this user's" in fault.words
    assert "chown" in fault.words
