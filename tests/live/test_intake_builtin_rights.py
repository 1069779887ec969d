"""The built-in broker and those who mean ill: without a password nobody touches anything, with one
nobody gets beyond his rights, and nobody fills the memory."""

import threading
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from amqtt.session import Session
from support.accounts import rights_of
from support.builtin import FLOOR, Running, running
from support.links import eventually
from support.mqtt_wire import NAME_REFUSED, REFUSED, Client, Will
from support.patience import LEAST_S

from monitor.intake.hardened import NAME
from monitor.site import Place, Probe

pytestmark = pytest.mark.live

RIGHTS = """
user porch
topic write brooder/porch/floor
user house
topic read brooder/siren
topic read brooder/alarms/#
"""
PROBE = Probe(key="porch/floor", brooder="porch", name="floor", topic=FLOOR, place=Place.FLOOR)
PORCH = {"user": "porch", "password": "chicks"}
HOUSE = {"user": "house", "password": "night"}


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Running]:
    accounts = {one["user"]: one["password"] for one in (PORCH, HOUSE)}
    with running(rights=rights_of(tmp_path, accounts, RIGHTS)) as one:
        yield one


@pytest.fixture
def open_broker(tmp_path: Path) -> Iterator[Running]:
    """Everybody who is known may do everything."""
    rules = "user house\ntopic readwrite #\n"
    with running(rights=rights_of(tmp_path, {"house": "night"}, rules)) as one:
        yield one


def sessions(broker: Running) -> int:
    return len(broker.inside.sessions)


def says(probe: Client, broker: Running, number: int) -> None:
    """A reading on the probe's connection, acknowledged."""
    probe.publish(FLOOR, b"33.4", number)
    (one,) = broker.take(1)
    broker.broker.acknowledge([one.token])
    assert probe.receive() == (0x40, number.to_bytes(2, "big"))


@pytest.mark.parametrize("clean", [True, False])
@pytest.mark.parametrize("stranger_clean", [True, False])
@pytest.mark.parametrize("password", ["wrong", None])
def test_a_stranger_with_a_probes_name_and_no_right_password_changes_nothing(
    broker, clean, stranger_clean, password
):
    with Client(broker.port, "board", clean=clean, **PORCH) as probe:
        says(probe, broker, 1)
        for user in ("porch", "nobody"):
            with Client(
                broker.port, "board", user=user, password=password, clean=stranger_clean
            ) as stranger:
                assert stranger.code == REFUSED
        says(probe, broker, 2)
        broker.look_through_sessions()
        says(probe, broker, 3)


@pytest.mark.parametrize("clean", [True, False])
def test_another_account_with_the_same_client_id_throws_nobody_out_and_keeps_nobody_out(
    broker, clean
):
    with Client(broker.port, "board", clean=clean, **HOUSE) as before:
        assert before.code == 0
        with Client(broker.port, "board", clean=False, **PORCH) as probe:
            says(probe, broker, 1)
            with Client(broker.port, "board", clean=clean, **HOUSE):
                says(probe, broker, 2)
            says(probe, broker, 3)


def test_without_a_rights_file_a_probe_publishes_its_own_topic_and_nothing_else(tmp_path, caplog):
    accounts = {"porch-floor": "chicks", "Porch": "chicks", "shed-floor": "chicks"}
    rights = rights_of(tmp_path, accounts, probes=[PROBE])
    with (
        running(rights=rights) as broker,
        Client(broker.port, "other", user="shed-floor", password="chicks") as other,
        Client(broker.port, "board", user="porch-floor", password="chicks") as probe,
        Client(broker.port, "box", user="Porch", password="chicks") as box,
    ):
        for number, topic in enumerate((FLOOR, "brooder/acknowledge", "brooder/siren"), 1):
            other.publish(topic, b"on", number)
            assert other.receive()[0] == 0x40
            if topic != FLOOR:
                probe.publish(topic, b"on", number)
                assert probe.receive()[0] == 0x40
        probe.subscribe("brooder/#")
        says(probe, broker, 4)
        says(box, broker, 1)
        broker.broker.publish("brooder/siren", "off", qos=0)
        assert probe.heard(0.5) == []
    assert "account shed-floor may not publish on brooder/porch/floor" in caplog.text


def test_another_user_does_not_get_what_waits_for_the_one_before(broker):
    house = Client(broker.port, "house", clean=False, **HOUSE)
    house.send(0x82, b"\x00\x01\x00\x0dbrooder/siren\x01")
    assert house.receive() == (0x90, b"\x00\x01\x01")
    house.leave()
    eventually(lambda: not _connected(broker, "house"), "gone")
    broker.broker.publish("brooder/siren", b"on")
    with Client(broker.port, "house", clean=False, **PORCH) as other:
        assert (other.code, other.session_present) == (0, False)
        assert other.heard(0.5) == []


def _session(broker: Running, name: str) -> Session | None:
    """amqtt's own; its name there has the account's before it."""
    every = [session for session, _ in broker.inside.sessions.values()]
    return next((one for one in every if one.attributes[NAME] == name), None)


def _connected(broker: Running, name: str) -> bool:
    session = _session(broker, name)
    return session is not None and session.transitions.is_connected()


@pytest.mark.parametrize("clean", [True, False])
def test_a_probe_that_comes_back_replaces_its_half_open_connection_and_stays(broker, clean):
    with Client(broker.port, "board", clean=clean, **PORCH) as before:
        before.publish(FLOOR, b"33.4", 1)  # not acknowledged yet
        (one,) = broker.take(1)
        with Client(broker.port, "board", clean=clean, **PORCH) as probe:
            assert (probe.code, probe.session_present) == (0, not clean)
            assert not before.is_alive()
            broker.broker.acknowledge([one.token])
            says(probe, broker, 2)
            broker.look_through_sessions()
            says(probe, broker, 3)


@pytest.mark.parametrize("topic", ["brooder/siren", "brooder/alarms/porch", "brooder/+/floor"])
@pytest.mark.parametrize("retain", [True, False])
def test_a_last_will_says_nothing_that_its_client_may_not_say(broker, topic, retain):
    with Client(broker.port, "house", **HOUSE) as house:
        for mine in ("brooder/siren", "brooder/alarms/#"):
            house.subscribe(mine)
        with Client(broker.port, "board", will=Will(topic, b"on", retain), **PORCH) as probe:
            says(probe, broker, 1)
            probe.publish(topic, b"on", 2, retain=retain)
        eventually(lambda: not _connected(broker, "board"), "gone without a goodbye")
        broker.broker.publish("brooder/siren", "off", qos=0)
        assert house.heard(1.0, 1) == [("brooder/siren", b"off")]
    assert broker.inside.retained_messages.keys() == {"brooder/status"}


def test_a_last_will_within_ones_rights_is_said(broker):
    with Client(broker.port, "board", will=Will(FLOOR, b"33.4", True), **PORCH) as probe:
        says(probe, broker, 1)
    eventually(lambda: FLOOR in broker.inside.retained_messages, "its will is kept")


def test_refused_log_ins_are_not_kept(broker):
    for n in range(300):
        with Client(
            broker.port, f"stranger {n}", user="porch", password="w" * 60_000, clean=False
        ) as stranger:
            assert stranger.code == REFUSED
    assert sessions(broker) == 0


def test_sessions_that_are_kept_for_clients_are_bounded_and_the_oldest_go(broker):
    for n in range(250):
        Client(broker.port, f"name {n}", clean=False, **PORCH).leave()
    assert sessions(broker) <= 200
    with Client(broker.port, "name 249", clean=False, **PORCH) as last:
        assert (last.code, last.session_present) == (0, True)


def pump(broker: Running, topic: str, count: int, payload: bytes) -> None:
    with Client(broker.port, "loud", keep_alive=0, **HOUSE) as loud:
        for n in range(count):
            loud.publish(topic, n.to_bytes(4, "big") + payload, n % 60_000 + 1)
            assert loud.receive()[0] == 0x40


def test_clients_that_do_not_read_are_dropped_before_they_fill_the_memory(open_broker):
    broker = open_broker
    process = psutil.Process()
    deaf = [
        Client(broker.port, f"deaf {n}", keep_alive=0, receive_buffer=4096, **HOUSE)
        for n in range(5)
    ]
    for one in deaf:
        one.subscribe("junk/#")
    with Client(broker.port, "reads", keep_alive=0, **HOUSE) as reads:
        reads.subscribe("junk/#")
        heard: list[int] = []
        reading = threading.Thread(target=lambda: heard.extend(numbers(reads, 600)))
        reading.start()
        before = process.memory_info().rss
        pump(broker, "junk/x", 600, b"z" * 100_000)
        reading.join(LEAST_S)
        grown = process.memory_info().rss - before
        assert heard == list(range(600)), "who reads gets everything"
    assert grown < 40 << 20
    # What waits for who does not read is bounded: told by nothing outside but the memory above.
    assert broker.inside._unsent.total <= 8 << 20
    for one in deaf:
        with pytest.raises(ConnectionError):
            numbers(one, 601)


def numbers(client: Client, count: int) -> list[int]:
    return [int.from_bytes(client.receive()[1][8:12], "big") for _ in range(count)]


def test_who_does_not_take_a_message_for_long_is_dropped_though_little_waits(
    open_broker, monkeypatch
):
    monkeypatch.setattr("monitor.intake.hardened.READ_WITHIN_S", 1.0)
    monkeypatch.setattr("monitor.intake.unsent.MOST_OF_ONE", 1 << 30)
    with Client(open_broker.port, "deaf", receive_buffer=4096, keep_alive=0, **HOUSE) as deaf:
        deaf.subscribe("junk/#")
        pump(open_broker, "junk/x", 100, b"z" * 100_000)
        eventually(lambda: not _connected(open_broker, "deaf"), "dropped")


def test_hundreds_of_kept_messages_come_to_a_client_that_reads(open_broker):
    with Client(open_broker.port, "loud", **HOUSE) as loud:
        for n in range(400):
            loud.publish(f"yard/{n}", bytes(4000), n + 1, retain=True)
            assert loud.receive()[0] == 0x40
    with Client(open_broker.port, "late", **HOUSE) as late:
        late.send(0x82, b"\x00\x01\x00\x06yard/#\x00")
        assert len(late.heard(2.0, 400)) == 400


def test_what_waits_for_a_client_that_is_away_is_bounded_in_bytes(open_broker):
    away = Client(open_broker.port, "away", clean=False, **HOUSE)
    away.send(0x82, b"\x00\x01\x00\x06junk/#\x01")
    assert away.receive()[0] == 0x90
    away.leave()
    eventually(lambda: not _connected(open_broker, "away"), "gone")
    pump(open_broker, "junk/x", 50, b"z" * 10_000)
    session = _session(open_broker, "away")
    assert session is not None
    assert 20 <= session.retained_messages.qsize() <= 26
    with Client(open_broker.port, "away", clean=False, **HOUSE) as back:
        kinds = [back.receive() for _ in range(20)]
        assert {kind for kind, _ in kinds} == {0x30}


def test_a_name_of_kilobytes_is_refused(broker):
    with Client(broker.port, "x" * 1000, **PORCH) as long_named:
        assert long_named.code == NAME_REFUSED
    assert sessions(broker) == 0
