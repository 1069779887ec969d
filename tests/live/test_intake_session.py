"""The session with a real Mosquitto: nothing lost, nothing twice."""

import contextlib
import os
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from support import mqtt_wire as wire
from support.links import Heard, eventually, listening, publish
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S
from support.ports import free_port

from monitor.intake.inbox import AckToken
from monitor.intake.link import BrokerAddress, Link
from monitor.intake.read_ahead import Client
from monitor.intake.redelivered import RedeliveryMemory

pytestmark = [pytest.mark.live, needs_mosquitto]

FLOOR = "brooder/porch/floor"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker", persistent=True) as running:
        yield running


def test_a_reading_comes_with_its_topic_time_and_token(broker):
    with listening(broker.port, [FLOOR]) as heard:
        publish(broker.port, FLOOR, "33.4")
        (one,) = heard.take(1)
        assert (one.topic, one.payload, one.dup, one.held) == (FLOOR, b"33.4", False, False)
        assert one.token is not None
        assert abs(one.received.at - time.time()) < 60
        assert heard.session.state.protocol == "MQTT 5"


def test_what_was_not_acknowledged_comes_again_only_after_a_reconnect_and_as_a_redelivery(broker):
    with listening(broker.port, [FLOOR]) as heard:
        publish(broker.port, FLOOR, "33.4")
        (first,) = heard.take(1)
        publish(broker.port, FLOOR, "33.5")
        (second,) = heard.take(1)  # the first is not sent again on this connection
        assert second.payload == b"33.5"
        assert heard.session.acknowledge([second.token]) == 1
        # The broker must have got it before it is stopped; its log says so.
        eventually(
            lambda: f"PUBACK from brooder-test (Mid: {second.token.mid}" in broker.log(), "ack"
        )
        broker.stop()
        broker.start()
        (again,) = heard.take(1)
        assert (again.payload, again.dup) == (b"33.4", True)
        assert again.token != first.token


def test_a_token_of_an_earlier_connection_is_never_sent_on_a_later_one(broker):
    """Its packet identifier may stand for another message by then."""
    with listening(broker.port, [FLOOR]) as heard:
        publish(broker.port, FLOOR, "33.4")
        (old,) = heard.take(1)
        broker.stop()
        eventually(lambda: not heard.session.state.connected, "lost")
        assert heard.session.acknowledge([old.token]) == 0
        broker.start()
        (again,) = heard.take(1)
        assert old.token is not None
        assert again.token == AckToken(old.token.generation + 1, old.token.mid)
        said = f"PUBACK from brooder-test (Mid: {old.token.mid},"
        assert heard.session.acknowledge([old.token, None, old.token]) == 0
        assert heard.session.acknowledge([again.token]) == 1
        eventually(lambda: said in broker.log(), "the acknowledgement")
        assert broker.log().count(said) == 1


def cut_off(port: int, client_id: str) -> None:
    """A second client of one name makes the broker cut the first off. What the broker sends this
    one meanwhile is not acknowledged: it would be lost for the first."""
    # One that comes back by itself would cut the first off again and again, until that gives way.
    with wire.Client(port, client_id, clean=False) as second:
        assert second.code == 0


def test_it_does_not_hear_before_it_has_asked(broker, monkeypatch):
    """A test that took it at its word would publish to nobody, and so would a probe."""
    while_asking = []
    ask = Client.subscribe

    def asking(self, *args, **more):
        while_asking.append(heard.session.hears)
        return ask(self, *args, **more)

    monkeypatch.setattr(Client, "subscribe", asking)
    heard = Heard(BrokerAddress(host="127.0.0.1", port=broker.port), [FLOOR], "brooder-test")
    heard.session.start()
    eventually(lambda: heard.session.hears, "subscribed")
    heard.session.stop()
    assert while_asking == [False]


def test_acknowledgements_race_with_reconnects_and_none_is_stale(tmp_path):
    """The broker cuts the connection while a thread acknowledges as fast as it can, the last twenty
    tokens over and over: a stale one that slipped through would acknowledge, and so lose, a message
    that never arrived."""
    with (
        Mosquitto(tmp_path / "b", persistent=True) as broker,
        listening(broker.port, [FLOOR]) as heard,
    ):
        wanted = {f"{n}" for n in range(300)}
        got: set[str] = set()
        stale: list[AckToken] = []

        def acknowledge() -> None:
            while got != wanted:
                for one in heard.inbox.take(50, 0.2):
                    got.add(one.payload.decode())
                    assert one.token is not None
                    stale.append(one.token)
                    heard.session.acknowledge([one.token, *stale[-20:-1]])

        worker = threading.Thread(target=acknowledge, daemon=True)
        worker.start()
        with subprocess.Popen(
            ["mosquitto_pub", "-p", str(broker.port), "-t", FLOOR, "-q", "1", "-l", "-i", "probe"],
            stdin=subprocess.PIPE,
            text=True,
        ) as probe:
            assert probe.stdin is not None
            for n in range(300):
                probe.stdin.write(f"{n}\n")
                if n in (100, 200):
                    probe.stdin.flush()
                    cut_off(broker.port, "brooder-test")
                    eventually(lambda: heard.session.state.connected, "back again", 120)
        worker.join(LEAST_S)
        assert got == wanted


def test_a_message_that_is_refused_but_acknowledged_does_not_block_the_window(broker):
    with listening(broker.port, [FLOOR]) as heard:
        for number in range(heard.session.window * 2):
            publish(broker.port, FLOOR, f"junk {number}")
            (one,) = heard.take(1)
            heard.session.acknowledge([one.token])


def test_a_full_window_is_100_by_our_own_receive_maximum(broker):
    """So the pacing of commits knows when nothing more will come."""
    with listening(broker.port, [FLOOR]) as heard:
        subprocess.run(
            ["mosquitto_pub", "-p", str(broker.port), "-t", FLOOR, "-q", "1", "-l"],
            input="".join(f"{n}\n" for n in range(150)),
            text=True,
            check=True,
            timeout=LEAST_S,
        )
        assert heard.session.window == 100
        taken = heard.take(100)
        assert heard.inbox.take(1, 0.5) == []
        heard.session.acknowledge([one.token for one in taken])
        rest = heard.take(50)
        assert [one.payload for one in taken + rest] == [str(n).encode() for n in range(150)]


def test_what_came_while_away_is_held_and_what_comes_after_is_not(broker):
    with listening(broker.port, [FLOOR]):
        pass
    # More than a window.
    subprocess.run(
        ["mosquitto_pub", "-p", str(broker.port), "-t", FLOOR, "-q", "1", "-l"],
        input="".join(f"held {n}\n" for n in range(250)),
        text=True,
        check=True,
        timeout=LEAST_S,
    )
    with listening(broker.port, [FLOOR]) as heard:
        backlog = []
        while len(backlog) < 250:
            some = heard.take(1)
            backlog += some
            heard.session.acknowledge([one.token for one in some])
        assert all(one.held for one in backlog)
        eventually(lambda: "status/mark" in broker.log(), "the mark")
        publish(broker.port, FLOOR, "live")
        (one,) = heard.take(1)
        assert (one.payload, one.held) == (b"live", False)


CHILD = """
import sys, time
sys.path[:0] = {path!r}
from support.links import Heard
from monitor.intake.link import BrokerAddress
heard = Heard(BrokerAddress(host="127.0.0.1", port={port}), [{topic!r}], "brooder-test")
heard.session.start()
from monitor.intake.redelivered import RedeliveryMemory
memory = RedeliveryMemory()
(one,) = heard.take(1)
memory.already_journaled(one)
open({marks!r}, "wb").write(memory.since_last())   # the commit
print(one.payload.decode(), flush=True)
time.sleep(600)                                    # killed before it could acknowledge
"""


def test_after_a_kill_between_commit_and_acknowledgement_nothing_counts_twice(broker, tmp_path):
    with listening(broker.port, [FLOOR]):
        pass
    marks = tmp_path / "marks"
    code = CHILD.format(path=sys.path, port=broker.port, topic=FLOOR, marks=str(marks))
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as child:
        publish(broker.port, FLOOR, "33.4")
        assert child.stdout is not None
        assert child.stdout.readline().strip() == "33.4"
        os.kill(child.pid, signal.SIGKILL)
    publish(broker.port, FLOOR, "33.5")
    with listening(broker.port, [FLOOR]) as heard:
        memory = RedeliveryMemory(marks.read_bytes())
        both = heard.take(2)
        assert [(d.payload, d.dup) for d in both] == [(b"33.4", True), (b"33.5", False)]
        assert [memory.already_journaled(d) for d in both] == [True, False]


def test_a_stopped_broker_is_said_in_words_and_come_back_to(broker):
    with listening(broker.port, [FLOOR]) as heard:
        broker.kill()
        eventually(lambda: heard.session.state.link is Link.UNREACHABLE, "unreachable")
        assert heard.session.state.words == (
            f"nothing answers at 127.0.0.1:{broker.port}: is the broker running?"
        )
        broker.start()
        eventually(lambda: heard.session.state.connected, "back", 120)
        assert heard.links() == ["connected", "lost", "unreachable", "connected"]
        publish(broker.port, FLOOR, "33.4")
        heard.take(1)


def test_a_half_open_connection_is_found_out(tmp_path):
    with (
        Mosquitto(tmp_path / "b") as broker,
        listening(broker.port, [FLOOR], keepalive_s=2) as heard,
    ):
        broker.freeze()
        eventually(lambda: not heard.session.state.connected, "noticed")
        assert heard.session.state.link in (Link.LOST, Link.UNREACHABLE)
        broker.thaw()
        eventually(lambda: heard.session.state.connected, "back", 120)


def test_a_second_service_with_our_client_id_is_named(broker):
    with listening(broker.port, [FLOOR]) as heard, listening(broker.port, [FLOOR]):
        eventually(lambda: Link.TAKEN_OVER.value in heard.links(), "noticed")
        said = next(s.words for s in heard.states if s.link is Link.TAKEN_OVER)
        # "uses", or "seems to use" with a broker that does not tell why it hung up
        assert said.startswith("another service ")
        assert said.endswith(f" the client id brooder-test at 127.0.0.1:{broker.port}")


def test_birth_and_last_will_tell_whether_the_watcher_is_awake(broker):
    def status() -> str:
        got = subprocess.run(
            [
                "mosquitto_sub",
                "-p",
                str(broker.port),
                "-t",
                "brooder/status",
                "-C",
                "1",
                "-W",
                "10",  # and it is asked again
            ],
            capture_output=True,
            text=True,
            timeout=LEAST_S,
            check=False,
        )
        return got.stdout.strip()

    with listening(broker.port, [FLOOR]):
        eventually(lambda: status() == "online", "online")
    # It waits for its goodbye to go out, but not for ever.
    eventually(lambda: status() == "offline", "the goodbye")
    code = CHILD.format(path=sys.path, port=broker.port, topic=FLOOR, marks=os.devnull)
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as child:
        eventually(lambda: status() == "online", "online")
        child.kill()
    eventually(lambda: status() == "offline", "the last will")


def test_what_is_published_offline_goes_out_later_and_is_bounded(broker):
    with listening(broker.port, [FLOOR, "out"]) as heard:
        broker.stop()
        eventually(lambda: not heard.session.state.connected, "lost")
        for number in range(1000):
            heard.session.publish("out", f"{number}")
        for number in range(10):
            assert heard.session.publish("brooder/porch/state", f"{number}", retain=True)
        assert not heard.session.publish("out", "x", qos=0)
        broker.start()
        late = heard.take(100)
        heard.session.acknowledge([one.token for one in late])
        late += heard.take(100)
        assert [one.payload for one in late] == [str(n).encode() for n in range(800, 1000)]
        last = subprocess.run(
            f"mosquitto_sub -p {broker.port} -t brooder/porch/state -C 1".split(),
            capture_output=True,
            text=True,
            timeout=LEAST_S,
            check=True,
        )
        assert last.stdout.strip() == "9"


def test_a_broker_that_has_lost_our_session_begins_a_new_one_with_new_messages(tmp_path):
    """It numbers from 1 again; the same number and value is then another reading."""
    memory = RedeliveryMemory()
    with Mosquitto(tmp_path / "forgetful") as broker, listening(broker.port, [FLOOR]) as heard:
        publish(broker.port, FLOOR, "33.4")
        (one,) = heard.take(1)
        assert not memory.already_journaled(one)
        assert memory.already_journaled(one._replace(dup=True))
        broker.stop()  # without a word on the disk
        eventually(lambda: not heard.session.hears, "lost")  # else it is taken at its old word
        broker.start()
        eventually(lambda: heard.session.hears, "subscribed again")
        publish(broker.port, FLOOR, "33.4")
        (new,) = heard.take(1)
        assert new.token.mid == one.token.mid
        assert not memory.already_journaled(new._replace(dup=True))


def test_a_client_id_may_hold_what_a_topic_may_not(broker):
    for _ in range(2):  # the second time with a mark
        with listening(broker.port, [FLOOR], client_id="brooder-Hill #2/+ side") as heard:
            publish(broker.port, FLOOR, "33.4")
            (one,) = heard.take(1)
            heard.session.acknowledge([one.token])


def test_topics_can_change_while_it_runs(broker):
    with listening(broker.port, [FLOOR]) as heard:
        heard.session.set_topics(["brooder/shed/floor"])
        eventually(lambda: "brooder/shed/floor (QoS 1)" in broker.log(), "subscribed")
        publish(broker.port, FLOOR, "old")
        publish(broker.port, "brooder/shed/floor", "new")
        (one,) = heard.take(1)
        assert one.payload == b"new"


OLD = "brooder/porch/old"


def nothing_comes_of_the_old_topic(broker, heard):
    """But for the first message of it: that is how it is noticed."""
    publish(broker.port, OLD, "21.0")
    (first,) = heard.take(1)
    assert first.topic == OLD
    heard.session.acknowledge([first.token])
    eventually(lambda: f": brooder-test {OLD}\n" in broker.log(), "an UNSUBSCRIBE of it")
    for _ in range(20):
        publish(broker.port, OLD, "21.0")
    publish(broker.port, FLOOR, "33.4")
    (one,) = heard.take(1)
    heard.session.acknowledge([one.token])
    return one.topic == FLOOR


def test_a_topic_taken_out_of_the_configuration_before_a_restart_is_given_up(broker):
    with listening(broker.port, [FLOOR, OLD]) as heard:
        eventually(lambda: heard.session.hears, "subscribed")
    with listening(broker.port, [FLOOR]) as heard:
        eventually(lambda: heard.session.hears, "subscribed")
        assert nothing_comes_of_the_old_topic(broker, heard)


def test_a_topic_taken_out_while_the_broker_is_away_is_given_up(broker):
    with listening(broker.port, [FLOOR, OLD]) as heard:
        eventually(lambda: heard.session.hears, "subscribed")
        broker.stop()
        eventually(lambda: not heard.session.state.connected, "lost")
        heard.session.set_topics([FLOOR])
        broker.start()
        eventually(lambda: heard.session.hears, "subscribed again")
        assert nothing_comes_of_the_old_topic(broker, heard)


def test_a_wrong_password_is_said_in_words_and_tried_again(tmp_path):
    passwords = tmp_path / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(passwords), "monitor", "right"],
        check=True,
        timeout=LEAST_S,
    )
    conf = f"allow_anonymous false\npassword_file {passwords}"
    with Mosquitto(tmp_path / "b", conf) as broker:
        for user, word, said in [
            ("monitor", "wrong", " of monitor"),
            (None, None, " (none is configured)"),
        ]:
            address = BrokerAddress(
                host="127.0.0.1", port=broker.port, username=user, password=word
            )
            heard = Heard(address, [FLOOR], "brooder-test")
            heard.session.start()
            eventually(lambda h=heard: h.session.state.link is Link.REFUSED, "refused")
            assert heard.session.state.words == (
                f"127.0.0.1:{broker.port} refuses the user name or password{said}"
            )
            assert "wrong" not in repr(heard.states) + repr(address)
            heard.session.stop()
        right = BrokerAddress(
            host="127.0.0.1", port=broker.port, username="monitor", password="right"
        )
        with listening(broker.port, [FLOOR], address=right):
            pass


@contextlib.contextmanager
def only_knows_mqtt_311(port: int, *, answers: bool) -> Iterator[int]:
    """In front of Mosquitto: refuses MQTT 5 as an older broker does, or just hangs up."""
    front = socket.create_server(("127.0.0.1", 0))

    def pump(source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(4096):
                sink.sendall(data)
        for one in (source, sink):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def serve() -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = front.accept()
                first = client.recv(4096)
                if not first:  # it hung up before it spoke
                    continue
                if first[8] == 5:
                    if answers:
                        client.sendall(bytes([0x20, 2, 0, 1]))
                    client.close()
                    continue
                behind = socket.create_connection(("127.0.0.1", port))
                behind.sendall(first)
                for pair in ((client, behind), (behind, client)):
                    threading.Thread(target=pump, args=pair, daemon=True).start()

    threading.Thread(target=serve, daemon=True).start()
    try:
        yield front.getsockname()[1]
    finally:
        front.close()


@pytest.mark.parametrize("answers", [True, False], ids=["refuses", "hangs up"])
def test_a_broker_that_knows_only_mqtt_311_is_spoken_to_in_it(broker, answers):
    with (
        only_knows_mqtt_311(broker.port, answers=answers) as port,
        listening(port, [FLOOR]) as heard,
    ):
        assert heard.session.state.protocol == "MQTT 3.1.1"
        assert heard.session.window == 20
        publish(broker.port, FLOOR, "33.4")
        (one,) = heard.take(1)
        assert heard.session.acknowledge([one.token]) == 1


def test_a_session_over_mqtt_311_lasts_as_well(broker):
    with only_knows_mqtt_311(broker.port, answers=True) as port:
        with listening(port, [FLOOR]):
            pass
        publish(broker.port, FLOOR, "33.4")
        with listening(port, [FLOOR]) as heard:
            (one,) = heard.take(1)
            assert (one.payload, one.held) == (b"33.4", True)


def test_a_broker_that_sends_nonsense_does_not_end_the_session():
    """paho's thread may die of a broken packet; keep_going() starts another."""
    port = free_port()  # on which nobody listens afterwards
    evil = socket.create_server(("127.0.0.1", port))

    def serve() -> None:
        client, _ = evil.accept()
        client.recv(4096)
        client.sendall(bytes([0x20, 3, 0, 0, 0]))  # CONNACK
        client.sendall(bytes([0x32, 1, 0xFF]))  # PUBLISH cut off within its topic's length
        client.recv(4096)
        evil.close()

    threading.Thread(target=serve, daemon=True).start()
    heard = Heard(BrokerAddress(host="127.0.0.1", port=port), [FLOOR], "brooder-test")
    heard.session.start()
    try:
        eventually(lambda: "connected" in heard.links(), "connected")

        def gone_on() -> bool:
            heard.session.keep_going()
            return heard.session.state.link is Link.UNREACHABLE  # so it is trying again

        eventually(gone_on, "trying again", 120)
    finally:
        heard.session.stop()


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    """Made here for 127.0.0.1, signed by itself."""
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    subprocess.run(
        "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 "
        f"-subj /CN=broker -addext subjectAltName=IP:127.0.0.1 -keyout {key} -out {cert}".split(),
        check=True,
        capture_output=True,
        timeout=LEAST_S,
    )
    return cert, key


def test_tls_works_with_the_sites_own_certificate_and_refuses_a_strangers(tmp_path, certificate):
    cert, key = certificate
    conf = f"certfile {cert}\nkeyfile {key}"
    with Mosquitto(tmp_path / "b", conf) as broker:
        ours = BrokerAddress(host="127.0.0.1", port=broker.port, tls=True, ca_file=str(cert))
        with listening(broker.port, [FLOOR], address=ours) as heard:
            publish(broker.port, FLOOR, "33.4", "--cafile", str(cert))
            heard.take(1)
        strangers = BrokerAddress(host="127.0.0.1", port=broker.port, tls=True)
        heard = Heard(strangers, [FLOOR], "brooder-test")
        heard.session.start()
        eventually(lambda: heard.session.state.link is Link.UNREACHABLE, "refused")
        assert "is not trusted" in heard.session.state.words
        heard.session.stop()


def test_a_certificate_file_that_does_not_exist_is_told_at_the_start():
    address = BrokerAddress(host="127.0.0.1", port=1, tls=True, ca_file="/nowhere/ca.pem")
    heard = Heard(address, [FLOOR], "brooder-test")
    with pytest.raises((FileNotFoundError, ssl.SSLError)):
        heard.session.start()
