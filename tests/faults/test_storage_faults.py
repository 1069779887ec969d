"""The card fills up, turns read-only, breaks or is taken away: the watch goes on from memory, says
so, and keeps everything once the card is back."""

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.disks import read_only_view, small_disk
from support.receivers import Receiver, http_receiver
from support.service import Service, Thermometer, quick_service, wait_until

from monitor.events import AlarmName
from monitor.journal.reader import JournalReader

pytestmark = pytest.mark.faults

SHORT = {"monitor.service.writer.RETRY_S": 0.5}
DISK_KIB = 3000


@contextmanager
def watched(folder: Path, state: Path, phone: Receiver) -> Iterator[Service]:
    with quick_service(folder, phone.url, state=state, commit_s=0.3, shortened=SHORT) as service:
        service.placed()
        yield service


def told(phone: Receiver, words: str, within_s: float = 60.0) -> str:
    """The first message with these words."""

    def found() -> str | None:
        return next((g.body for g in phone.got if words in (g.title + g.body).lower()), None)

    text = wait_until(found, within_s, f"{words!r} among {[g.title for g in phone.got]}")
    assert isinstance(text, str)
    return text


def test_a_full_disk_is_told_alarms_go_on_and_nothing_is_lost_when_there_is_room(
    tmp_path: Path,
) -> None:
    with (
        small_disk(tmp_path / "card", kib=DISK_KIB) as card,
        http_receiver() as phone,
        watched(tmp_path, card.path, phone) as service,
        Thermometer(service.broker_port) as probe,
    ):
        warm = [35.0 + n / 1000 for n in range(5)]
        for temp in warm:
            probe.say(temp)
        probe.wait_acknowledged()
        card.fill()
        cold = [21.0 + n / 1000 for n in range(40)]
        for temp in cold:
            probe.say(temp)
            time.sleep(0.1)
        assert "journal.db is full." in told(phone, "records cannot be kept")
        told(phone, "cold")  # the alarm comes from memory
        assert service.enter("loss", count=1)["kept"] is False, "success is not said of memory"
        probe.wait_acknowledged()  # from memory too: an open window must not deafen the watch
        assert not service.ask("about")["journal_ok"]
        card.empty()
        wait_until(lambda: service.ask("about")["journal_ok"], 30, "the journal to be well")
        wait_until(lambda: service.enter("note", note="room again")["kept"], what="it to be kept")
        probe.say(22.5)
        wait_until(lambda: 22.5 in service.temps(), 30)
        assert sorted(service.temps()) == sorted([*warm, *cold, 22.5])
        [begins, ends] = [c.change.value for c in service.changes(AlarmName.STORAGE_FAULT)][:2]
        assert (begins, ends) == ("raised", "cleared")
        assert service.stop() == 0


def test_a_full_disk_costs_no_processor_time(tmp_path: Path) -> None:
    """A fault that is told makes a record, which is refused too, which is a fault ...: not so."""
    with (
        small_disk(tmp_path / "card", kib=DISK_KIB) as card,
        http_receiver() as phone,
        watched(tmp_path, card.path, phone) as service,
        Thermometer(service.broker_port) as probe,
    ):
        card.fill()
        for n in range(10):
            probe.say(35.0 + n / 1000)
            service.enter("note", note=f"look {n}")
        told(phone, "full")
        before = cpu_s(service.pid)
        begun = time.monotonic()
        time.sleep(4)
        share = (cpu_s(service.pid) - before) / (time.monotonic() - begun)
        print(f"processor share while the disk is full: {share:.1%}")
        assert share < 0.5
        assert service.log().count("Trouble with the journal") <= 3


def cpu_s(pid: int) -> float:
    """Processor time of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / 100


def test_a_restart_on_a_full_disk_still_knows_the_birds(tmp_path: Path) -> None:
    """Without its ledger the watch would take the box for empty and never raise an alarm."""
    with (
        small_disk(tmp_path / "card", kib=DISK_KIB) as card,
        http_receiver() as phone,
        watched(tmp_path, card.path, phone) as service,
    ):
        with Thermometer(service.broker_port) as probe:
            probe.say(35.0)
            probe.wait_acknowledged()
        card.fill()
        service.kill()
        service.start()
        with Thermometer(service.broker_port) as probe:
            probe.goes_on(21.0, 30)
            told(phone, "cold")
        card.empty()
        wait_until(lambda: 21.029 in service.temps(), 60, "the readings on the card")
        assert 35.0 in service.temps()
        service.enter("loss", count=1)
        assert service.stop() == 0
        assert service.entries() == ["placed", "loss"]


def test_a_restart_on_a_read_only_disk_still_watches_and_tells(tmp_path: Path) -> None:
    state = tmp_path / "card"
    with http_receiver() as phone, watched(tmp_path, state, phone) as service:
        with Thermometer(service.broker_port) as probe:
            probe.say(35.0)
            probe.wait_acknowledged()
        service.stop()
        with read_only_view(state):
            service.start()
            with Thermometer(service.broker_port) as probe:
                probe.goes_on(21.0, 30)
                told(phone, "read-only")
                told(phone, "cold")
            # Nothing can be made in the state folder: the command reaches the watch elsewhere.
            assert service.command("acknowledge").returncode == 0
            noted = service.command("flock", "loss", "2")
            assert "memory only" in noted.stdout + noted.stderr
        wait_until(lambda: 21.029 in service.temps(), 60, "the readings on the card")
        assert "placed" in service.entries()


def test_a_journal_taken_away_while_it_is_written_is_begun_anew_with_the_birds_in_it(
    tmp_path: Path,
) -> None:
    state = tmp_path / "state"
    with http_receiver() as phone, watched(tmp_path, state, phone) as service:
        with Thermometer(service.broker_port) as probe:
            probe.say(35.0)
            probe.wait_acknowledged()
            for name in ("journal.db", "journal.db-wal", "journal.db-shm"):
                (state / name).unlink(missing_ok=True)
            probe.goes_on(34.0, 20, 0.05)
            probe.wait_acknowledged()
            wait_until(lambda: 34.019 in service.temps(), 30, "a new journal")
        told(phone, "taken away while it was written")
        # The new journal stands on its own: the birds are known after the next power cut too.
        wait_until(service.entries, 30, "the ledger in the new journal")
        service.kill()
        service.start()
        ledger = service.ask("ledger")["entries"]
        assert [e["count"] for e in ledger] == [50]
        with Thermometer(service.broker_port) as probe:
            probe.goes_on(21.0, 30)
            told(phone, "cold")


@pytest.mark.parametrize("where", ["head", "middle"])
def test_a_damaged_journal_is_set_aside_told_and_salvaged(tmp_path: Path, where: str) -> None:
    state = tmp_path / "state"
    with http_receiver() as phone, watched(tmp_path, state, phone) as service:
        with Thermometer(service.broker_port) as probe:
            for n in range(40):
                for m in range(20):
                    probe.say(35.0 + (n * 20 + m) / 1000)
                probe.wait_acknowledged()
                service.enter("note", note=f"look {n}: " + "all is well with these birds. " * 30)
        service.stop()
        pages = service.journal.stat().st_size // 4096
        with service.journal.open("r+b") as file:
            file.seek(0 if where == "head" else pages * 3 // 4 * 4096)
            file.write(b"\xa5" * (200 if where == "head" else 4096))
        service.start()
        told(phone, "damaged")
        [aside] = [p for p in state.glob("journal.db.damaged-*") if p.name.endswith("Z")]
        assert aside.name in told(phone, "damaged")
        with Thermometer(service.broker_port) as probe:
            probe.say(36.5)
            probe.wait_acknowledged()
        assert 36.5 in service.temps()
        assert service.stop() == 0
        saved = tmp_path / "saved.db"
        done = service.command("salvage", str(aside), str(saved))
        print(done.stdout)
        assert done.returncode in (0, 1), done.stderr
        with JournalReader(saved) as reader:
            back = reader.readings_plain("porch/floor", 0, 4e9)[1]
        assert len(back) >= 400, "a page or two are lost, not the whole"


def test_a_journal_of_which_nothing_can_be_read_takes_no_birds_from_the_watch(
    tmp_path: Path,
) -> None:
    state = tmp_path / "state"
    with http_receiver() as phone, watched(tmp_path, state, phone) as service:
        wait_until(lambda: list(state.glob("birds/*.json")), what="the second copy")
        service.stop()
        service.journal.write_bytes(b"\xa5" * service.journal.stat().st_size)
        service.start()
        assert "second copy" in told(phone, "damaged")
        with Thermometer(service.broker_port) as probe:
            is_cold_until_told(probe, phone)


def test_where_the_second_copy_is_gone_too_people_are_asked_again_and_again_for_the_birds(
    tmp_path: Path,
) -> None:
    """A box taken for empty raises no alarm: people must know, until they have said."""
    state = tmp_path / "state"
    with http_receiver() as phone, watched(tmp_path, state, phone) as service:
        wait_until(lambda: list(state.glob("birds/*.json")), what="the second copy")
        service.stop()
        service.journal.write_bytes(b"\xa5" * service.journal.stat().st_size)
        for copy in state.glob("birds/*.json"):
            copy.write_text("{}")
        service.start()
        assert "flock placed" in told(phone, "no longer know which birds")
        told(phone, "records are kept again")
        assert not any("alarms still work" in g.body.lower() for g in phone.got)
        assert not any("nothing for you to do" in g.body.lower() for g in phone.got)
        service.kill()
        service.start()  # it has not been forgotten that it was forgotten
        service.placed()
        told(phone, "cold is watched for again")
        with Thermometer(service.broker_port) as probe:
            is_cold_until_told(probe, phone)


def is_cold_until_told(probe: Thermometer, phone: Receiver) -> None:
    """As a probe goes on publishing while somebody waits."""

    def said_and_told() -> bool:
        probe.say(19.9)
        return any("dangerously cold" in (g.title + g.body).lower() for g in phone.got)

    wait_until(said_and_told, 60, "the alarm")


def test_damage_that_appears_while_it_runs_is_survived(tmp_path: Path) -> None:
    state = tmp_path / "state"
    with http_receiver() as phone, watched(tmp_path, state, phone) as service:
        with Thermometer(service.broker_port) as probe:
            for n in range(50):
                probe.say(35.0 + n / 1000)
            probe.wait_acknowledged()
            # Everything but the first page, behind SQLite's back; what it holds in memory is
            # another matter, so an entry makes it look.
            with service.journal.open("r+b") as file:
                size = file.seek(0, 2)
                file.seek(4096)
                file.write(b"\xa5" * max(0, size - 4096))
            for n in range(20):
                service.enter("note", note=f"look {n}")
            probe.goes_on(34.0, 20)
            probe.wait_acknowledged()
            wait_until(lambda: readable(service, 34.019), 60, "a journal that takes readings")
        assert service.running
        assert service.stop() == 0
        with sqlite3.connect(f"file:{service.journal}?mode=ro", uri=True) as connection:
            assert connection.execute("PRAGMA quick_check").fetchall() == [("ok",)]


def readable(service: Service, temp_c: float) -> bool:
    """Is it on the disk, in whatever journal there is now?"""
    try:
        return temp_c in service.temps()
    except Exception:
        return False
