"""The main job, end to end: a reading that is too low reaches a phone and a mailbox, over a kill, a
stop and a reload of the real service."""

import itertools
import re
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import patience_s
from support.receivers import Mode, http_receiver, refusing_port, smtp_receiver
from support.service import (
    QUICK_LIMITS,
    Service,
    Thermometer,
    hatched_yesterday,
    quick_service,
    wait_until,
)

from monitor.events import AlarmName
from monitor.journal.reader import JournalReader

pytestmark = pytest.mark.live


@pytest.fixture(params=["built-in", "mosquitto"])
def broker_port(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[int | None]:
    """None: the service brings its own."""
    if request.param == "built-in":
        yield None
        return
    if needs_mosquitto.args[0]:
        pytest.skip("mosquitto is not installed")
    with Mosquitto(tmp_path / "broker", persistent=True) as broker:
        yield broker.port


def test_a_cold_floor_reaches_the_phone_and_the_mailbox(
    tmp_path: Path, broker_port: int | None
) -> None:
    with (
        http_receiver() as phone,
        smtp_receiver() as mailbox,
        Service(
            tmp_path,
            broker_port=broker_port,
            contacts={"phone": phone.url, "mailbox": mailbox.url},
            limits=QUICK_LIMITS,
        ) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed()
        begun = time.monotonic()
        probe.goes_on(21.0, 20)
        [first, *_] = phone.wait_for(1)
        [letter, *_] = mailbox.wait_for(1)
        print(f"phone after {first.at - begun:.1f} s, mailbox after {letter.at - begun:.1f} s")
        for got in (first, letter):
            assert "porch" in got.title
            assert "cold" in got.title
            assert "21.0" in got.body
            assert "lamp" in got.body  # the first thing to check


def test_an_alarm_outlives_a_kill_and_is_not_told_twice(
    tmp_path: Path, broker_port: int | None
) -> None:
    with (
        http_receiver() as phone,
        quick_service(tmp_path, phone.url, broker_port=broker_port, commit_s=0.5) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed()
        probe.goes_on(21.0, 20)
        phone.wait_until(lambda p: any("cold" in g.title for g in p.got))
        wait_until(lambda: chill_raised(service), 30, "the alarm in the journal")
        # The worst moment is over when the journal knows that the message went out.
        wait_until(lambda: contacts(service)[0]["pending"] == 0, 30, "the message to be sent")
        wait_until(lambda: nothing_owed(service), 30, "that to be written down")
        raised = chill_raised(service)
        told = sorted(phone.titles())
        service.kill()
        service.start()
        probe.goes_on(21.02, 20)
        probe.wait_acknowledged()
        assert active(service) >= {"chill"}
        assert chill_raised(service) == raised, "the same alarm, raised once"
        assert sorted(phone.titles()) == told, "nobody is told again"
        # And it ends, once, when the floor is warm.
        probe.goes_on(35.0, 40)
        wait_until(lambda: "chill" not in active(service), 30, "the end of the alarm")
        phone.wait_until(lambda p: len(p.got) > len(told), 30)
        probe.wait_acknowledged()
        assert service.stop() == 0
        said = [float(v) for v in probe.sent]
        assert sorted(service.temps()) == sorted(said)


@needs_mosquitto
def test_where_the_power_flickers_a_cold_floor_and_its_end_are_told_and_not_again(
    tmp_path: Path,
) -> None:
    """Lives of a few readings each, one after the other, while the probe goes on."""

    def short_life() -> None:
        heard = len(probe.acknowledged)
        service.start()
        probe.wait_acknowledged(heard + 3)
        service.kill()

    with (
        Mosquitto(tmp_path / "broker", persistent=True) as broker,
        http_receiver() as phone,
        quick_service(tmp_path, phone.url, broker_port=broker.port, commit_s=0.5) as service,
        Thermometer(broker.port) as probe,
    ):
        service.placed()
        said = itertools.count()
        for floor_c, told_of in ((21.0, "cold"), (35.0, "back to normal")):
            before, done = phone.titles(), threading.Event()

            def goes_on(floor_c: float = floor_c, done: threading.Event = done) -> None:
                while not done.wait(0.1):
                    probe.say(f"{floor_c + next(said) % 1000 / 10_000:.4f}")

            with ThreadPoolExecutor(1) as publisher:
                publisher.submit(goes_on)
                try:
                    service.kill()
                    for _ in range(3):
                        short_life()
                    service.start()
                    phone.wait_until(lambda p, t=told_of: any(t in g.title for g in p.got))
                    # Killed between sending and noting that, it would be sent again.
                    wait_until(lambda: nothing_owed(service), 30, "that to be written down")
                    told = phone.titles()
                    service.kill()
                    for _ in range(3):
                        short_life()
                    service.start()
                finally:
                    done.set()
            probe.wait_acknowledged()
            wait_until(lambda: contacts(service)[0]["pending"] == 0, 30, "all to be sent")
            assert phone.titles() == told
            assert set(told[len(before) :]) == {told[-1]}, "and nothing else"
        wait_until(lambda: len(service.temps()) >= len(probe.sent), what="all on the disk")
        assert sorted(service.temps()) == sorted(float(v) for v in probe.sent)


def nothing_owed(service: Service) -> bool:
    """By the journal, from which a start learns it."""
    with JournalReader(service.journal) as reader:
        return bool(reader.reached(0.0)) and not reader.outbox_pending()


def chill_raised(service: Service) -> list[str]:
    """Occurrences of the alarm in the journal."""
    return [c.occurrence for c in service.changes(AlarmName.CHILL) if c.change.value == "raised"]


def active(service: Service) -> set[str]:
    """Alarms that a fresh rebuild of the journal would have open, by the changes kept."""
    open_now: set[str] = set()
    for change in service.changes():
        if change.change.value == "raised":
            open_now.add(change.alarm.value)
        elif change.change.value == "cleared":
            open_now.discard(change.alarm.value)
    return open_now


def contacts(service: Service) -> list[dict[str, object]]:
    """How each contact does."""
    found: list[dict[str, object]] = service.ask("about")["contacts"]
    return found


def test_a_clean_stop_loses_nothing(tmp_path: Path, broker_port: int | None) -> None:
    """Not what is on the way in, nor a message that could not be sent yet."""
    with (
        refusing_port() as dead,
        quick_service(tmp_path, dead.url, broker_port=broker_port, commit_s=30) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed()
        probe.goes_on(21.0, 15)
        wait_until(lambda: contacts(service)[0]["pending"], 30, "a message that waits")
        for number in range(200):
            probe.say(f"22.{number:04}")
        acknowledged = set(probe.acknowledged)
        assert service.stop() == 0
        kept = {f"{t:.4f}" for t in service.temps()}
        if broker_port is None:
            assert acknowledged | set(probe.acknowledged) <= kept
        with http_receiver() as phone:
            service.contacts = {"phone": phone.url}
            service.start()
            phone.wait_until(lambda p: any("cold" in g.title for g in p.got))
            probe.wait_acknowledged()
            wait_until(lambda: len(service.temps()) >= len(probe.sent), 60, "all readings")
        assert sorted(f"{t:.4f}" for t in service.temps()) == sorted(probe.sent)


def test_a_reload_takes_new_probes_and_contacts_and_a_wrong_file_changes_nothing(
    tmp_path: Path, broker_port: int | None
) -> None:
    with (
        http_receiver(Mode.FAILING) as old,
        http_receiver() as new,
        quick_service(tmp_path, old.url, broker_port=broker_port, commit_s=0.5) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed()
        probe.goes_on(21.0, 15)
        old.wait_until(lambda p: p.tried >= 1)
        service.probes["cool end"] = "brooder/porch/cool"
        service.contacts = {"phone": new.url, "office": new.url}
        service.reload()
        (tried,) = service.ask("contacts-try", name="office")
        assert tried["ok"], "a contact of the new configuration"
        # What could not be sent to the old address goes to the new one, without a restart.
        new.wait_until(lambda p: any("cold" in g.title for g in p.got))

        def heard() -> bool:  # its topic is asked for at a broker of one's own, and soon confirmed
            probe.say(24.5, topic="brooder/porch/cool")
            return 24.5 in service.temps("porch/cool end")

        wait_until(heard, 30, "the new probe")
        assert active(service) >= {"chill"}, "a reload forgets no alarm"
        # A wrong file: one line, and everything as it was.
        good = dict(service.limits)
        service.limits = {"band_c": -3}
        service.reload()
        assert "band_c is -3" in service.log_of_this_start()
        service.limits = good
        probe.say(24.25, topic="brooder/porch/cool")
        wait_until(lambda: 24.25 in service.temps("porch/cool end"), 30)
        assert service.stop() == 0


def test_a_reload_that_would_lose_birds_is_refused_and_a_renamed_box_keeps_them(
    tmp_path: Path,
) -> None:
    with (
        http_receiver() as phone,
        quick_service(tmp_path, phone.url, commit_s=0.5) as service,
    ):
        service.placed()
        service.box = "Porch"
        service.reload()
        assert 'renamed_from = \\"porch\\"' in service.log_of_this_start()
        assert "Reloaded" not in service.log_of_this_start()
        with Thermometer(service.broker_port) as probe:
            probe.goes_on(21.0, 15)
            phone.wait_until(lambda p: any("porch: dangerously cold" in g.title for g in p.got))
        # A start takes what it gets, and says it.
        service.stop()
        service.start()
        phone.wait_until(lambda p: any("cold is not watched for" in g.title for g in p.got))
        service.box_lines = 'renamed_from = "porch"'
        service.reload()
        phone.wait_until(lambda p: any("cold is watched for again" in g.title for g in p.got))
        with Thermometer(service.broker_port) as probe:
            probe.goes_on(21.0, 15)
            phone.wait_until(lambda p: any("Porch: dangerously cold" in g.title for g in p.got))
        assert service.stop() == 0


def signalled_while_it_opens_its_journal(name: str) -> str:
    return f"""import os, signal, monitor.service.run as run
def opened(*given, open_all=run.open_all):
    os.kill(os.getpid(), signal.{name})
    return open_all(*given)
run.open_all = opened"""


def signalled_while_it_is_loaded(name: str) -> str:
    return f"""import os, signal, monitor.commands as commands
def build(*given, build=commands.build):
    os.kill(os.getpid(), signal.{name})
    return build(*given)
commands.build = build"""


@pytest.mark.parametrize(
    "moment", [signalled_while_it_is_loaded, signalled_while_it_opens_its_journal]
)
@pytest.mark.parametrize(("name", "code"), [("SIGTERM", 0), ("SIGINT", 130)])
def test_what_is_stopped_before_it_watches_says_so(
    tmp_path: Path, name: str, code: int, moment: Callable[[str], str]
) -> None:
    service = Service(tmp_path, prelude=moment(name))
    service.begin()
    assert service.process is not None
    assert service.process.wait(patience_s(60)) == code
    assert f"Stopped by {name} before it watched." in service.log()


def test_a_reload_asked_for_while_it_starts_is_done_once_it_watches(tmp_path: Path) -> None:
    with Service(tmp_path, prelude=signalled_while_it_opens_its_journal("SIGHUP")) as service:
        service.wait_log("Reloaded")


def test_a_restart_after_an_hour_away_says_that_it_was_away(tmp_path: Path) -> None:
    """The time away is made by moving the journal's own end into the past: the service is asked
    to believe its records, not its clock."""
    with http_receiver() as phone:
        service = quick_service(
            tmp_path, phone.url, shortened={"monitor.watch.watcher.BACK_WITHIN_S": 2.0}
        )
        with service:
            service.placed()
            with Thermometer(service.broker_port) as probe:
                probe.say(35.0)
                probe.wait_acknowledged()
            service.stop()
        with sqlite3.connect(service.journal) as connection:
            for table in ("commits", "snapshots"):
                connection.execute(
                    f"UPDATE {table} SET at_ms = at_ms - 3600000, tick_ms = tick_ms - 3600000"
                )
        connection.close()
        with service, Thermometer(service.broker_port) as probe:
            probe.say(35.0)
            probe.wait_acknowledged()
            phone.wait_until(lambda p: any("nobody watched for " in g.title for g in p.got))
            [away] = [g.title for g in phone.got if "nobody watched for " in g.title]
            # The start of a busy machine counts too.
            assert re.search(r"for (6\d min|1 h \d+ min)", away), away
            assert not any("no readings" in g.title for g in phone.got), "nor blames the probe"


@needs_mosquitto
def test_what_is_said_right_after_it_says_that_it_watches_is_heard(tmp_path: Path) -> None:
    """Ready means subscribed: a reading of the very next moment is kept, also on a first start."""
    for number in range(3):
        folder = tmp_path / str(number)
        with (
            Mosquitto(folder / "broker") as broker,
            Thermometer(broker.port) as probe,
            Service(folder / "service", broker_port=broker.port) as service,
        ):
            probe.say(33.5)
            wait_until(lambda service=service: service.temps() == [33.5], what="the first reading")


def test_a_record_brought_into_an_empty_journal_is_watched_on_at_once(tmp_path: Path) -> None:
    service = Service(tmp_path)
    service.write_config()
    lines = tmp_path / "record.jsonl"
    hatched = hatched_yesterday()
    placed = f"{hatched}T12:00:00Z"
    lines.write_text(
        f'{{"at":"{placed}","entry":"placed","brooder":"porch","count":100,'
        f'"hatched":"{hatched}","kind":"broiler"}}\n'
        f'{{"at":"{placed}","topic":"brooder/porch/floor","payload":"33.4"}}\n'
    )
    done = service.command("import", str(lines))
    assert done.returncode == 0, done.stderr
    listed = service.command("flock", "list")
    assert "100" in listed.stdout, listed.stderr
    with service, Thermometer(service.broker_port) as probe:
        probe.say(35.0)
        probe.wait_acknowledged()
        assert [entry["count"] for entry in service.ask("ledger")["entries"]] == [100]
        assert service.stop() == 0
    assert service.changes(AlarmName.WAS_DOWN) == []


def test_it_can_be_stopped_while_it_still_starts(tmp_path: Path) -> None:
    slow = (
        "import time, monitor.service.run as r\n"
        "def slow(*_): print('opening', flush=True); time.sleep(300)\n"
        "r.open_all = slow"
    )
    service = Service(tmp_path, prelude=slow)
    try:
        service.begin()
        wait_until(lambda: "opening" in service.out(), 30, "the start to begin")
        assert service.stop(30) == 0
    finally:
        service.kill()
