"""The MicroPython program of deploy/probe, on stand-ins for the board and against real brokers:
Mosquitto, and the one inside the service, which acknowledges only what is on the disk."""

import ast
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from support.builtin import running
from support.links import clock, eventually, listening
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S
from support.probe_board import GOOD, PROBE, ROM, board

from monitor.events import BadValue, Reading
from monitor.intake.payload import read_all
from monitor.intake.redelivered import RedeliveryMemory
from monitor.site import Place, Probe

pytestmark = [pytest.mark.live, needs_mosquitto]

TOPIC = "brooder/porch/floor"
NAMES = {"28-000005e2fdc3": TOPIC}
FLOOR = Probe(key="porch/floor", brooder="porch", name="floor", topic=TOPIC, place=Place.FLOOR)


@pytest.fixture
def broker(tmp_path):
    with Mosquitto(tmp_path / "b") as running:
        yield running


def settled(probe):
    """All that it sent is acknowledged."""
    probe.listen(30_000)
    return probe.store.kept == []


def outcomes(heard, count):
    taken: list = []
    while len(taken) < count:
        (one,) = heard.take(1)
        heard.session.acknowledge([one.token])
        taken += read_all(one.payload, FLOOR, one.received)
    return taken


def test_readings_come_with_their_time_and_need_no_more_than_the_topic(broker):
    with (
        listening(broker.port, [TOPIC]) as heard,
        board(PORT=broker.port, TOPICS=NAMES) as (there, program),
    ):
        probe = program.run(rounds=3)
        got = outcomes(heard, 3)
        assert [(type(o), o.temp_c) for o in got] == [(Reading, 23.125)] * 3
        assert all(abs(o.at - clock().at) < 60 for o in got)
        assert settled(probe)
        assert there.fed >= 3
        assert broker.log().count("New client connected") == 2, "one connection for all rounds"


def test_what_was_read_without_wifi_is_kept_and_sent_later_in_order(broker):
    with (
        listening(broker.port, [TOPIC]) as heard,
        board(PORT=broker.port, TOPICS=NAMES) as (there, program),
    ):
        program.WIFI_WITHIN_S = 0
        there.wifi = False
        probe = program.Probe()
        for sixteenths in range(50):
            there.pads[ROM] = bytes([0x40 + sixteenths, 0x01]) + GOOD[2:]
            probe.store.add(int(time.time()) - 500 + 10 * sixteenths, probe.sensors.read())
        probe.round()
        assert len(probe.store.kept) == 51
        there.wifi = True
        probe.round()
        got = outcomes(heard, 52)
        assert [o.temp_c for o in got[:50]] == [20 + n / 16 for n in range(50)]
        assert [o.at for o in got] == sorted(o.at for o in got)
        assert clock().at - got[0].at > 450
        assert settled(probe)


def test_a_reading_is_forgotten_only_when_the_broker_has_it(broker):
    with board(PORT=broker.port, TOPICS=NAMES) as (_, program):
        probe = program.run(rounds=1)
        assert settled(probe)
        broker.stop()
        probe.round()
        probe.round()
        assert len(probe.store.kept) == 2
        broker.start()
        with listening(broker.port, [TOPIC]) as heard:
            probe.round()
            assert settled(probe)
            assert len(outcomes(heard, 3)) == 3


def test_a_clock_that_was_never_set_sends_ages_and_is_set_when_there_is_a_network(broker):
    with (
        listening(broker.port, [TOPIC]) as heard,
        board(PORT=broker.port, TOPICS=NAMES) as (there, program),
    ):
        there.clock_shift_s = -int(time.time()) + 1000  # 1000 s after power came
        there.internet = False
        probe = program.run(rounds=1)
        (aged,) = outcomes(heard, 1)
        assert abs(aged.at - clock().at) < 60, "an age needs no clock"
        there.internet = True
        probe.store.add(int(program.time.time()) - 100, [(0, 320)])
        probe.round()
        old, new = outcomes(heard, 2)
        assert clock().at - old.at == pytest.approx(100, abs=30)
        assert abs(new.at - clock().at) < 60
        assert there.clock_shift_s == 0


def test_readings_go_on_while_the_broker_is_slow_to_acknowledge():
    with running() as broker, board(PORT=broker.port, TOPICS=NAMES) as (there, program):
        probe = program.Probe()
        for _ in range(5):
            probe.round()
        five = broker.take(5)
        there.skipped_s += 25.0
        probe.listen(100)
        assert probe.broker.socket is not None, "25 s without an answer are no fault"
        broker.broker.acknowledge([one.token for one in five])
        assert settled(probe)
        assert len({one.token.generation for one in five}) == 1, "on one connection"
        assert not any(one.dup for one in five)
        assert broker.inbox.take(1, 0.2) == [], "each once"


def test_what_was_not_acknowledged_before_the_connection_broke_is_sent_again_as_the_same_message():
    with running() as broker, board(PORT=broker.port, TOPICS=NAMES) as (there, program):
        memory = RedeliveryMemory()
        probe = program.Probe()
        for sixteenths in range(3):
            there.pads[ROM] = bytes([0x40 + sixteenths, 0x01]) + GOOD[2:]
            probe.round()
        first = broker.take(3)
        assert not any(memory.already_journaled(one) for one in first)
        probe.broker.close()  # as a network does that goes away for a moment
        there.pads[ROM] = GOOD
        probe.round()
        again = broker.take(4)
        assert [(one.payload, one.token.mid) for one in again[:3]] == [
            (one.payload, one.token.mid) for one in first
        ]
        assert [one.dup for one in again] == [True, True, True, False]
        assert [memory.already_journaled(one) for one in again] == [True, True, True, False]
        broker.broker.acknowledge([one.token for one in again])
        assert settled(probe)


def test_a_broker_that_never_acknowledges_is_left_after_a_minute_and_the_reading_kept():
    with running() as broker, board(PORT=broker.port, TOPICS=NAMES) as (there, program):
        probe = program.Probe()
        probe.round()
        broker.take(1)
        fed = there.fed
        there.skipped_s += 30.0  # and what a busy machine took since it was sent
        probe.listen(100)
        assert probe.broker.socket is not None
        there.skipped_s += 31.0
        probe.listen(5000)
        assert probe.broker.socket is None
        assert len(probe.store.kept) == 1
        assert there.fed > fed, "waiting is no hanging"


def test_a_broker_that_does_not_even_answer_a_ping_is_left_sooner(broker):
    with board(PORT=broker.port, TOPICS=NAMES) as (there, program):
        probe = program.run(rounds=1)
        assert settled(probe)
        os.kill(broker.pid, signal.SIGSTOP)
        try:
            probe.round()
            for _ in range(2):  # for the ping, and for its answer
                there.skipped_s += 25.0
                probe.listen(1500)
        finally:
            os.kill(broker.pid, signal.SIGCONT)
        assert probe.broker.socket is None
        assert len(probe.store.kept) == 1


def test_many_kept_readings_flow_though_only_a_few_messages_may_be_open():
    with running() as broker, board(PORT=broker.port, TOPICS=NAMES) as (_, program):
        probe = program.Probe()
        for n in range(1000):
            probe.store.add(int(time.time()) - 10_000 + 10 * n, [(0, 500 + n % 40)])
        probe.round()
        assert len(probe.store.flying) == program.MOST_FLYING
        got = []

        def answered():
            for one in broker.inbox.take(50, 0.05):
                got.extend(o.at for o in read_all(one.payload, FLOOR, one.received))
                broker.broker.acknowledge([one.token])
            probe.listen(100)
            return probe.store.kept == []

        eventually(answered, "all of them acknowledged")
        assert len(got) == len(set(got)) == 1001


def test_an_age_is_not_sent_again_later_as_it_was():
    """Without a clock a message says how long ago; after a minute without network it is untrue."""
    with running() as broker, board(PORT=broker.port, TOPICS=NAMES) as (there, program):
        there.clock_shift_s = -int(time.time()) + 1000  # 1000 s after power came
        there.internet = False
        probe = program.Probe()
        probe.round()
        broker.take(1)
        probe.broker.close()
        there.clock_shift_s += 300
        probe.round()
        (late, *_) = broker.take(1)
        oldest = read_all(late.payload, FLOOR, late.received)[0]
        assert clock().at - oldest.at == pytest.approx(300, abs=30)


@pytest.mark.parametrize("asleep", [False, True])
def test_a_clock_that_is_set_back_an_hour_stops_nothing(broker, asleep):
    more = {"DEEP_SLEEP": asleep, "SEND_EVERY": 1, "EVERY_S": 10}
    with (
        listening(broker.port, [TOPIC]) as heard,
        board(PORT=broker.port, TOPICS=NAMES, **more) as (there, program),
    ):
        there.clock_shift_s = 3600  # until the first answer of the time server
        program.CLOCK_EVERY_S = 600  # so that a board that sleeps asks as well
        program.run(rounds=1 if asleep else 3)
        assert there.clock_shift_s == 0
        got = outcomes(heard, 1 if asleep else 3)
        assert all(abs(o.at - clock().at) < 60 for o in got)
        if asleep:
            assert 0 < there.slept_ms[-1] <= 10_000
        else:
            assert there.skipped_s < 60


def test_waiting_for_wifi_ends_though_the_clock_is_set_back():
    with board() as (there, program):
        there.wifi = False
        probe = program.Probe()
        asked = 0

        def connected():
            nonlocal asked
            asked += 1
            there.clock_shift_s = -3600
            return False

        probe.wifi.isconnected = connected
        with pytest.raises(OSError, match="Wi-Fi"):
            probe.join_wifi()
        assert asked < 200


@pytest.mark.parametrize(
    ("pad", "words"),
    [
        (bytes.fromhex("50054b467fff0c101c"), "power-up"),
        (bytes(9), "shorted"),
        (Exception("CRC error"), "checksum"),
        (Exception("no answer"), "does not answer"),
    ],
)
def test_a_fault_of_a_sensor_is_told_in_words(broker, pad, words):
    with (
        listening(broker.port, [TOPIC]) as heard,
        board(PORT=broker.port, TOPICS=NAMES) as (there, program),
    ):
        there.pads[ROM] = pad
        program.run(rounds=1)
        (outcome,) = outcomes(heard, 1)
        assert isinstance(outcome, BadValue)
        assert words in outcome.reason


def test_deep_sleep_keeps_readings_over_the_reset_and_sends_several_together(broker):
    with (
        listening(broker.port, [TOPIC]) as heard,
        board(PORT=broker.port, TOPICS=NAMES, DEEP_SLEEP=True, SEND_EVERY=3, EVERY_S=5) as (
            there,
            program,
        ),
    ):
        for wake in range(1, 4):  # each wake is a fresh start of the program
            program.run(rounds=1)
            assert there.slept_ms[-1] <= 5000
            if wake < 3:
                assert heard.inbox.take(1, 0.3) == []
        assert len(outcomes(heard, 3)) == 3
        assert len(there.memory) == 9, "the sensor's name stays, the readings are gone"


def test_a_memory_full_of_nonsense_is_an_empty_one():
    with board(DEEP_SLEEP=True) as (there, program):
        for junk in (b"", b"\xff", b"\x05abc", b"\x01" + ROM + b"1234567" + b"12"):
            there.memory = junk
            assert len(program.Probe().store.kept) <= 1


def test_the_store_is_bounded_and_lets_the_oldest_go():
    with board() as (_, program):
        store = program.Store()
        for n in range(5000):
            store.add(n, [(0, 320)])
        assert len(store.kept) == program.MOST_KEPT
        assert store.kept[-1][0] == 4999
        assert len(store.to_bytes([ROM])) <= 2048


def test_with_tls_the_probe_checks_the_brokers_certificate(tmp_path):
    deploy = PROBE.parent / "mosquitto" / "certificates.sh"
    for folder in ("site", "stranger"):
        subprocess.run(["sh", deploy, tmp_path / folder, "127.0.0.1"], check=True, timeout=LEAST_S)
        subprocess.run(
            f"openssl x509 -in {tmp_path / folder}/ca.crt -outform der "
            f"-out {tmp_path / folder}/ca.der".split(),
            check=True,
            timeout=LEAST_S,
        )
    site = tmp_path / "site"
    conf = f"certfile {site}/broker.crt\nkeyfile {site}/broker.key"
    with Mosquitto(tmp_path / "b", conf) as broker:
        for folder, kept in (("stranger", 1), ("site", 0)):
            with board(PORT=broker.port, TLS=True, CA_FILE=str(tmp_path / folder / "ca.der")) as (
                _,
                program,
            ):
                probe = program.run(rounds=1)
                probe.listen(30_000)
                assert len(probe.store.kept) == kept


MICROPYTHON = shutil.which(
    "micropython", path=f"{Path(sys.executable).parent}:{os.environ.get('PATH', '')}"
)
ON_THE_UNIX_PORT = """
import sys
sys.path[:0] = [{probe!r}, {board!r}]
import settings
settings.EVERY_S = 0
import main
probe = main.run(3)
probe.listen(30000)
assert probe.store.kept == []
"""


@pytest.mark.skipif(MICROPYTHON is None, reason="MicroPython's unix port is not installed")
def test_the_program_runs_in_micropython_itself_with_what_is_typed_on_its_console(broker, tmp_path):
    stand_ins = Path(__file__).parents[1] / "support" / "micropython_board"
    script = tmp_path / "run.py"
    script.write_text(ON_THE_UNIX_PORT.format(probe=str(PROBE), board=str(stand_ins)))
    typed = (
        f"prot = 1\nport = many\nbroker = 127.0.0.1\nport = {broker.port}\ntopic = {TOPIC}\n\n"
        "wifi = hill\nwifi_password = = a secret =\n\n"
    )
    with listening(broker.port, [TOPIC]) as heard:
        done = subprocess.run(
            [str(MICROPYTHON), str(script)],
            input=typed,
            capture_output=True,
            text=True,
            timeout=LEAST_S,
            check=False,
            cwd=tmp_path,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        assert "prot is not known; it must be one of broker, ca_file" in done.stdout
        assert "port is many; it must be a whole number from 1 to 65535" in done.stdout
        assert "Still missing: wifi" in done.stdout
        assert "wifi_password = = a secret =\n" in (tmp_path / "probe.txt").read_text()
        got = outcomes(heard, 3)
        assert [o.temp_c for o in got] == [23.125] * 3
        assert all(abs(o.at - clock().at) < 60 for o in got)


@pytest.mark.skipif(MICROPYTHON is None, reason="MicroPython's unix port is not installed")
def test_the_file_that_probes_add_writes_sets_the_board_up(tmp_path):
    (tmp_path / "probe.txt").write_text(
        "wifi = hill\nwifi_password = (its password)\nbroker = 192.168.1.10\nport = 8883\n"
        "tls = yes\nname = porch-floor\npassword = abc\ntopic = brooder/porch/floor\n"
        "topic 28-000005e2fdc3 = brooder/porch/lamp\nevery_s = 60\ndeep_sleep = perhaps\n"
    )
    show = (
        f"import sys\nsys.path[:0] = [{str(PROBE)!r}]\nimport settings as s\n"
        "print([s.WIFI_NAME, s.WIFI_PASSWORD, s.BROKER, s.PORT, s.TLS, s.USERNAME, s.PASSWORD])\n"
        "print([s.TOPIC, s.TOPICS, s.EVERY_S, s.DEEP_SLEEP, s.missing()])\n"
    )
    done = subprocess.run(
        [str(MICROPYTHON), "-c", show],
        capture_output=True,
        text=True,
        timeout=LEAST_S,
        check=True,
        cwd=tmp_path,
    )
    assert done.stdout.splitlines() == [
        "probe.txt: deep_sleep is perhaps; it must be yes or no",
        "['hill', '', '192.168.1.10', 8883, True, 'porch-floor', 'abc']",
        "['brooder/porch/floor', {'28-000005e2fdc3': 'brooder/porch/lamp'}, 60, False, []]",
    ]


def test_the_program_keeps_to_what_micropython_has():
    """No f-strings with =, no match, no walrus, no type hints, no keyword-only tricks: MicroPython
    1.20 compiles a little less than this Python does."""
    text = "".join((PROBE / name).read_text() for name in ("main.py", "settings.py"))
    tree = ast.parse(text, feature_version=(3, 7))
    for node in ast.walk(tree):
        assert not isinstance(node, ast.Match | ast.NamedExpr | ast.AnnAssign)
    allowed = {"binascii", "json", "select", "socket", "struct", "time", "ssl"}
    allowed |= {"machine", "network", "ntptime", "onewire", "ds18x20", "settings"}
    imported = {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    }
    assert imported <= allowed
