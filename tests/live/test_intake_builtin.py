"""The built-in broker: a probe is acknowledged only when the journal has its reading; strangers
cost no more than their own connection."""

import asyncio
import contextlib
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from amqtt.contexts import Action
from support.accounts import rights_of
from support.builtin import FLOOR, Running, running
from support.links import clock, eventually, listening, publish
from support.mqtt_wire import Client
from support.patience import LEAST_S

from monitor.intake import hardened
from monitor.intake.builtin import BuiltInBroker
from monitor.intake.inbox import Inbox
from monitor.intake.redelivered import RedeliveryMemory
from monitor.intake.rights import Rights

pytestmark = pytest.mark.live


@pytest.fixture
def broker() -> Iterator[Running]:
    with running() as one:
        yield one


@pytest.mark.parametrize("qos", ["1", "2"])
def test_a_probe_is_acknowledged_only_when_the_journal_has_its_reading(broker, qos):
    words = ["mosquitto_pub", "-p", str(broker.port), "-t", FLOOR, "-q", qos, "-m", "33.4"]
    with subprocess.Popen(words) as probe:
        (one,) = broker.take(1)
        assert (one.topic, one.payload) == (FLOOR, b"33.4")
        with subprocess.Popen([*words[:-1], "33.5"]) as later:
            broker.broker.acknowledge([broker.take(1)[0].token])
            assert later.wait(LEAST_S) == 0
        assert probe.poll() is None, "it still waits for its acknowledgement"
        broker.broker.acknowledge([one.token])
        assert probe.wait(LEAST_S) == 0


def test_a_probe_that_lost_its_connection_before_sends_again_and_counts_once(broker):
    """As a probe's own library does: same packet identifier, DUP, on a new connection."""
    name = b"\x00\x05probe"
    connect = bytes([0x10, 17]) + b"\x00\x04MQTT\x04\x00\x00\x3c" + name

    def send(dup: bool) -> socket.socket:
        probe = socket.create_connection(("127.0.0.1", broker.port))
        probe.settimeout(LEAST_S)
        probe.sendall(connect)
        assert probe.recv(4)[3] == 0  # accepted
        topic = FLOOR.encode()
        body = len(topic).to_bytes(2, "big") + topic + b"\x00\x07" + b"33.4"
        probe.sendall(bytes([0x3A if dup else 0x32, len(body)]) + body)
        return probe

    memory = RedeliveryMemory()
    first = send(dup=False)
    (one,) = broker.take(1)
    assert not memory.already_journaled(one)
    first.close()
    second = send(dup=True)
    (again,) = broker.take(1)
    assert again.token != one.token
    assert memory.already_journaled(again)
    broker.broker.acknowledge([one.token, again.token])  # the stale one does nothing
    assert second.recv(4) == bytes([0x40, 2, 0, 7])
    second.close()


def test_a_board_that_was_started_anew_is_not_taken_for_the_one_before(broker):
    """Its first message has number 1 again and the same value. The first copy is lost with the
    connection, so only the one marked DUP comes, in the same session or in another clean one."""
    memory = RedeliveryMemory()
    for clean in (True, False):
        with Client(broker.port, "board", clean=True) as before:
            before.publish(FLOOR, b"33.4", 1)
            (one,) = broker.take(1)
            assert not memory.already_journaled(one)
            broker.broker.acknowledge([one.token])
            assert before.receive()[0] == 0x40
        with Client(broker.port, "board", clean=True):
            pass  # power came back; what it sent was lost on the way
        with Client(broker.port, "board", clean=clean) as board:
            board.publish(FLOOR, b"33.4", 1, dup=True)
            (again,) = broker.take(1)
            assert not memory.already_journaled(again)


def test_qos_0_comes_without_a_token(broker):
    subprocess.run(
        ["mosquitto_pub", "-p", str(broker.port), "-t", FLOOR, "-m", "33.4"],
        check=True,
        timeout=LEAST_S,
    )
    (one,) = broker.take(1)
    assert one.token is None


def test_what_nobody_claims_is_remembered_and_acknowledged_at_once(broker):
    assert publish(broker.port, "yard/gate", '{"temperature": 5}').returncode == 0
    (heard,) = broker.unclaimed.latest()
    assert (heard.topic, heard.guesses[0].pointer) == ("yard/gate", "/temperature")
    assert len(broker.inbox) == 0


def test_what_the_service_publishes_reaches_a_subscriber_now_and_later_when_retained(broker):
    with listening(broker.port, ["out"]) as heard:
        assert heard.session.state.protocol == "MQTT 3.1.1", "MQTT 5 is refused in MQTT 5's words"
        eventually(lambda: heard.session.hears, "subscribed")
        assert broker.broker.publish("out", "now", retain=True)
        (one,) = heard.take(1)
        assert one.payload == b"now"
    with listening(broker.port, ["out"], client_id="later") as heard:
        (one,) = heard.take(1)
        assert (one.payload, one.retain) == (b"now", True)
    with listening(broker.port, ["other"], client_id="another") as heard:
        assert heard.inbox.take(1, 0.5) == [], "who did not subscribe gets nothing"


def test_it_listens_on_this_machine_only_unless_told(broker):
    (listener,) = broker.inside._servers["default"].instance.sockets
    assert listener.getsockname()[0] == "127.0.0.1"


def test_a_taken_port_is_told_by_its_address(broker):
    second = BuiltInBroker(topics=[], inbox=Inbox(), clock=clock, port=broker.port)
    with pytest.raises(OSError, match=f"cannot listen on 127.0.0.1:{broker.port}"):
        asyncio.run(second.start())


RIGHTS = """
user porch
topic write brooder/porch/#
user monitor
topic read brooder/#
pattern read brooder/%u/state
"""


@pytest.fixture
def rights(tmp_path: Path) -> Rights:
    return rights_of(tmp_path, {"porch": "chicks", "monitor": "night"}, RIGHTS)


def test_with_a_password_file_nobody_gets_in_without(rights):
    with running(rights=rights) as broker:
        for words in ([], ["-u", "porch", "-P", "wrong"], ["-u", "nobody", "-P", "chicks"]):
            refused = publish(broker.port, FLOOR, "33.4", *words)
            assert refused.returncode != 0
            assert "not authori" in refused.stderr.lower()
        assert broker.inbox.take(1, 0.2) == []


def test_a_probe_may_only_write_its_own_topic(rights):
    with running(rights=rights) as broker:
        login = ["-u", "porch", "-P", "chicks"]
        # Acknowledged and thrown away, as Mosquitto does over MQTT 3.1.1.
        publish(broker.port, "brooder/acknowledge", "cold", *login)
        with subprocess.Popen(
            ["mosquitto_pub", "-p", str(broker.port), "-t", FLOOR, "-q", "1", "-m", "1", *login]
        ) as probe:
            (one,) = broker.take(1)
            assert one.topic == FLOOR
            broker.broker.acknowledge([one.token])
            assert probe.wait(LEAST_S) == 0


@pytest.mark.parametrize(
    "topic",
    [
        "brooder/acknowledge",
        "brooder/status",
        "brooder/status/mark/x",
        "brooder/siren",
        "brooder/alarms",
        "brooder/alarms/porch",
        "brooder/told",
    ],
)
def test_without_passwords_only_this_machine_may_say_what_is_the_services_to_say(broker, topic):
    class Elsewhere:
        username, client_id, remote_address = None, "x", "192.0.2.7"

    class Here(Elsewhere):
        remote_address = "127.0.0.1"

    for client, may in ((Elsewhere(), False), (Here(), True)):
        assert broker.broker.may(client, topic, Action.PUBLISH) is may
        assert broker.broker.may(client, FLOOR, Action.PUBLISH)


def test_hostile_first_words_cost_only_their_own_connection(broker):
    for words in (
        b"GET / HTTP/1.1\r\n\r\n",
        b"\x10\xff\xff\xff\x7f" + b"\x00" * 100,  # 256 MB announced
        b"\x10\x0c\x00\x04MQTT\x04\x02\x00<\xff\xff",  # client id of 64 KiB announced
        b"\x30\x02\x00",
        b"\x00" * 50,
        b"\x10\x80\x80\x80\x80\x80",
        b"",
    ):
        with socket.create_connection(("127.0.0.1", broker.port)) as stranger:
            stranger.sendall(words)
            stranger.shutdown(socket.SHUT_WR)
            stranger.settimeout(LEAST_S)
            with contextlib.suppress(ConnectionResetError):
                while stranger.recv(4096):
                    pass
    assert publish(broker.port, "yard/gate", "1").returncode == 0


def test_a_packet_of_megabytes_is_not_collected(broker):
    connect = bytes([0x10, 13]) + b"\x00\x04MQTT\x04\x02\x00\x3c\x00\x01x"
    with socket.create_connection(("127.0.0.1", broker.port)) as stranger:
        stranger.settimeout(LEAST_S)
        stranger.sendall(connect)
        assert stranger.recv(4) == bytes([0x20, 2, 0, 0])
        stranger.sendall(b"\x30\xff\xff\xff\x7f\x00\x01t" + b"x" * 1000)
        with contextlib.suppress(ConnectionResetError):
            assert stranger.recv(1) == b"", "hung up on, without waiting for the rest"
    assert publish(broker.port, "yard/gate", "1").returncode == 0


def test_a_payload_too_large_to_take_is_told_with_its_client_its_topic_and_the_limit(
    broker, caplog
):
    name, topic = b"board 7", FLOOR.encode()
    body = b"\x00\x04MQTT\x04\x02\x00\x3c" + len(name).to_bytes(2, "big") + name
    rest = len(topic).to_bytes(2, "big") + topic + b"\x00\x07"
    size = 200_000
    length = size + len(rest)
    announced = bytes([0x80 | length & 0x7F, 0x80 | length >> 7 & 0x7F, length >> 14])
    with socket.create_connection(("127.0.0.1", broker.port)) as board:
        board.settimeout(LEAST_S)
        board.sendall(bytes([0x10, len(body)]) + body)
        assert board.recv(4)[3] == 0
        board.sendall(b"\x32" + announced + rest + b"x" * 1000)
        (one,) = broker.take(1)
        with contextlib.suppress(ConnectionResetError):
            assert board.recv(1) == b""
    assert (one.topic, one.payload, one.token, one.too_large) == (FLOOR, b"", None, size)
    assert (
        f"The client board 7 sent 200000 bytes on {FLOOR}, and its connection was ended: at most "
        "65536 are read." in caplog.text
    )


def test_a_client_that_falls_silent_is_dropped_and_its_last_will_told(broker):
    will = b"\x00\x04gone\x00\x03yes"
    body = b"\x00\x04MQTT\x04\x06\x00\x01" + b"\x00\x05quiet" + will  # keep-alive 1 s
    with listening(broker.port, ["gone"]) as heard:
        eventually(lambda: heard.session.hears, "subscribed")
        with socket.create_connection(("127.0.0.1", broker.port)) as quiet:
            quiet.sendall(bytes([0x10, len(body)]) + body)
            (one,) = heard.take(1)
            assert one.payload == b"yes"


def test_a_full_inbox_ends_the_connection_instead_of_losing_a_reading():
    with running(inbox=Inbox(most_waiting=1)) as broker:
        probe = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="probe")
        probe.connect("127.0.0.1", broker.port)
        said = [probe.publish(FLOOR, str(n), qos=1) for n in range(3)]
        probe.loop_start()
        eventually(lambda: broker.inbox.dropped > 0, "too many at once")
        got: set[bytes] = set()

        def taken() -> bool:
            for one in broker.inbox.take(9, 0.2):
                got.add(one.payload)
                broker.broker.acknowledge([one.token])
            return all(one.is_published() for one in said)

        eventually(taken, "all three acknowledged, after sending again", 120)
        probe.disconnect()
        probe.loop_stop()
        assert got == {b"0", b"1", b"2"}


def test_a_client_whose_reader_overhears_the_stop_does_not_hold_it_up(monkeypatch):
    """As `asyncio.wait_for` of Python 3.11 does where a packet comes at that very moment; only the
    overhearing is made up."""
    monkeypatch.setattr(hardened, "END_WITHIN_S", 0.1)

    class Deaf:
        done = staticmethod(lambda: False)
        cancel = staticmethod(lambda: True)

    with running() as one, Client(one.port, "board", clean=True) as board:
        board.publish(FLOOR, b"33.4", 1)
        one.take(1)
        ((_, handler),) = one.inside._sessions.values()  # no other way to its reader
        handler._reader_task = Deaf()
        one.stop()
        with pytest.raises(ConnectionResetError):
            board.receive()


def test_retained_topics_of_strangers_are_bounded(broker):
    subprocess.run(
        ["mosquitto_pub", "-p", str(broker.port), "-t", "yard/big", "-r", "-q", "1", "-s"],
        input=b"x" * 60_000,
        check=True,
        timeout=LEAST_S,
    )
    assert "yard/big" not in broker.inside.retained_messages
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    said = [client.publish(f"yard/{n}", b"x", qos=1, retain=True) for n in range(700)]
    for one in said:
        one.wait_for_publish(LEAST_S)
    client.disconnect()
    client.loop_stop()
    assert len(broker.inside.retained_messages) <= 500
