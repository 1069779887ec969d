"""Readers beside a busy writer: none misses a reading or sees one twice."""

import threading
from pathlib import Path

from support.journals import T0, batch, reading
from support.patience import LEAST_S

from monitor.events import Reading
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal


def test_what_is_read_while_the_writer_commits_and_tidies_is_whole(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.commit(batch(reading(T0)))
        done = threading.Event()
        committed = 1
        wrong: list[str] = []
        looked = 0

        def look() -> None:
            nonlocal looked
            with JournalReader(path) as reader:
                while not done.is_set() or looked == 0:
                    at_least = committed
                    times = reader.readings("porch/floor")[0].tolist()
                    looked += 1
                    if times != [T0 + 60 * n for n in range(len(times))]:
                        wrong.append(f"{len(times)} readings with a gap or a double")
                    if len(times) < at_least:
                        wrong.append(f"{len(times)} of at least {at_least}")

        threads = [threading.Thread(target=look) for _ in range(2)]
        for thread in threads:
            thread.start()
        for n in range(1, 1500):
            one = batch(reading(T0 + 60 * n))
            one.snapshots = {"engine": {}} if n % 90 == 0 else {}
            journal.commit(one)
            committed = n + 1
            if n % 100 == 0:
                journal.tidy(T0 + 60 * n)
        done.set()
        for thread in threads:
            thread.join(LEAST_S)
        assert wrong == []
        assert looked > 2


def test_a_reader_follows_to_the_new_file_when_a_damaged_one_was_set_aside(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.commit(batch(reading(T0)))
    with JournalReader(path) as reader:
        assert reader.latest()["porch/floor"].at == T0
        path.write_bytes(b"garbage" * 1000)
        with Journal.open(path) as journal:
            assert journal.set_aside is not None
            journal.commit(batch(Reading(T0 + 9, T0 + 9, "porch/floor", 1.0)))
            assert reader.latest()["porch/floor"].at == T0 + 9
