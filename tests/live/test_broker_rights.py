"""Real Mosquitto with exactly the files of deploy/mosquitto, and the built-in broker with the same
rights file: a probe with wrong rights is refused, the service can do all it needs."""

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.links import eventually, listening
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S
from support.ports import free_port
from support.service import QUICK_LIMITS, Service, wait_until

from monitor.intake.link import BrokerAddress
from monitor.intake.rights import Rights, RightsFault

pytestmark = pytest.mark.live

DEPLOY = Path(__file__).parents[2] / "deploy" / "mosquitto"
NAMES = ["monitor", "porch-floor", "porch-lamp", "shade", "wires", "house"]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that is /etc/mosquitto/brooder on a board; each password is the name reversed."""
    folder = tmp_path_factory.mktemp("site")
    subprocess.run(
        ["sh", str(DEPLOY / "certificates.sh"), str(folder), "localhost", "127.0.0.1"],
        check=True,
        timeout=LEAST_S,
    )
    (folder / "passwords").touch()
    for name in NAMES:
        subprocess.run(
            ["mosquitto_passwd", "-b", str(folder / "passwords"), name, name[::-1]],
            check=True,
            timeout=LEAST_S,
        )
    (folder / "rights").write_text((DEPLOY / "rights").read_text())
    return folder


@pytest.fixture(scope="module")
def broker(site: Path) -> Iterator[Mosquitto]:
    conf = (DEPLOY / "brooder.conf").read_text()
    conf = conf.replace("/etc/mosquitto/brooder", str(site)).replace(
        "listener 8883", "listener {port} 127.0.0.1"
    )
    # What is open on the board alone; its port is noted beside the broker.
    home_port = free_port()
    conf = conf.replace("listener 1883 ", f"listener {home_port} ")
    # Where the tests run there may be no user of that name; and each needs its own folder.
    conf += "\nuser root\nlog_type all\npersistence_location {folder}/\n"
    with Mosquitto(site / "run", conf, whole=True) as running:
        running.home_port = home_port
        yield running


def address(site: Path, broker: Mosquitto, name: str, password: str = "") -> BrokerAddress:
    if name == "monitor":  # on the board itself
        return BrokerAddress(
            host="127.0.0.1", port=broker.home_port, username=name, password=name[::-1]
        )
    return BrokerAddress(
        host="localhost",
        port=broker.port,
        username=name,
        password=password or name[::-1],
        tls=True,
        ca_file=str(site / "ca.crt"),
    )


def publish(
    site: Path, broker: Mosquitto, name: str, topic: str, payload: str = "33"
) -> tuple[int, str]:
    done = subprocess.run(
        [
            *f"mosquitto_pub -h localhost -p {broker.port} -V 5 -q 1".split(),
            *f"-t {topic} -m {payload}".split(),
            *f"--cafile {site / 'ca.crt'} -u {name} -P {name[::-1]}".split(),
        ],
        capture_output=True,
        text=True,
        timeout=LEAST_S,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@needs_mosquitto
def test_a_probe_may_write_its_own_topic_and_the_service_reads_it(site, broker):
    with listening(0, ["brooder/porch/floor"], address=address(site, broker, "monitor")) as heard:
        assert heard.session.state.not_allowed == ()
        code, said = publish(site, broker, "porch-floor", "brooder/porch/floor")
        assert (code, said) == (0, "")
        (one,) = heard.take(1)
        assert one.payload == b"33"


@needs_mosquitto
@pytest.mark.parametrize(
    ("name", "topic"),
    [
        ("porch-floor", "brooder/porch/lamp"),
        ("porch-floor", "brooder/shed/floor"),
        ("porch-floor", "brooder/acknowledge"),
        ("porch-floor", "brooder/status"),
        ("porch-floor", "brooder/alarms/porch"),
        ("shade", "brooder/porch/floor"),
        ("wires", "brooder/porch/floor"),
        ("house", "brooder/porch/floor"),
        ("house", "brooder/siren"),
        ("monitor", "brooder/porch/floor"),
        ("monitor", "brooder/acknowledge"),
    ],
)
def test_everybody_is_refused_what_is_not_theirs(site, broker, name, topic):
    with listening(
        0,
        ["brooder/porch/+", "brooder/acknowledge"],
        client_id=f"watching {name} {topic}",
        address=address(site, broker, "monitor"),
    ) as heard:
        _, said = publish(site, broker, name, topic)
        assert "not authori" in said.lower()
        publish(site, broker, "porch-lamp", "brooder/porch/lamp", "last")
        (one,) = heard.take(1)
        assert one.payload == b"last", "the forbidden one did not come before it"


@needs_mosquitto
def test_a_probe_reads_nothing(site, broker):
    with (
        listening(0, ["#"], client_id="spy", address=address(site, broker, "porch-lamp")) as spy,
        listening(0, ["brooder/porch/+"], address=address(site, broker, "monitor")) as heard,
    ):
        publish(site, broker, "porch-floor", "brooder/porch/floor")
        heard.take(1)
        assert spy.inbox.take(1, 0.5) == []


@needs_mosquitto
def test_what_stands_at_the_broker_reaches_the_house_and_marks_come_back(site, broker):
    """Birth, will, mark, alarms, siren: a refusal would show in the broker's answer (rc 135)."""
    with listening(0, ["brooder/porch/floor"], address=address(site, broker, "monitor")) as heard:
        before = broker.log().count("rc135")
        for topic in ("brooder/alarms", "brooder/alarms/porch", "brooder/siren"):
            assert heard.session.publish(topic, "off", retain=True)
        with listening(
            0,
            ["brooder/status", "brooder/alarms", "brooder/alarms/+", "brooder/siren"],
            client_id="house",
            address=address(site, broker, "house"),
        ) as house:
            got: dict[str, bytes] = {}  # the last word of each

            def all_stand() -> bool:
                got.update({one.topic: one.payload for one in house.inbox.take(9, 0.2)})
                return got == {
                    "brooder/status": b"online",
                    "brooder/alarms": b"off",
                    "brooder/alarms/porch": b"off",
                    "brooder/siren": b"off",
                }

            eventually(all_stand, "what stands, at the house")
    # Held marks work as well: reconnect to the session and see the backlog end.
    publish(site, broker, "porch-floor", "brooder/porch/floor")
    with listening(0, ["brooder/porch/floor"], address=address(site, broker, "monitor")) as heard:
        (one,) = heard.take(1)
        assert one.held
        heard.session.acknowledge([one.token])
        # That the broker let its own mark through is seen from nowhere else.
        eventually(lambda: heard.session._held_mark is None, "the mark came back")
    # The house's own birth message is refused, rightly; the service's never.
    log = broker.log()
    assert "Denied PUBLISH from brooder-test" not in log
    assert log.count("rc135") - before <= log.count("Denied PUBLISH from house")


@needs_mosquitto
def test_a_whole_night_of_the_service_is_refused_nothing_and_the_house_hears_it(
    site: Path, broker: Mosquitto, tmp_path: Path
) -> None:
    """The topics are those that the service itself publishes, from its birth to an alarm."""
    service = on_the_board(tmp_path, broker, "brooder-Hillside")
    begins = len(broker.log())

    def said() -> set[str]:
        return set(
            re.findall(
                r"Received PUBLISH from brooder-Hillside \([^']*'([^']*)'", broker.log()[begins:]
            )
        )

    with service:
        service.placed()
        with listening(
            0, ["brooder/told"], client_id="house told", address=address(site, broker, "house")
        ) as house:

            def cold() -> bool:
                publish(site, broker, "porch-floor", "brooder/porch/floor", "15.0")
                return {"brooder/told", "brooder/alarms/porch", "brooder/siren"} <= said()

            wait_until(cold, 60, "an alarm on every topic")
            heard = house.take(1)
            while heard[-1].topic != "brooder/told":  # its session may remember other topics
                heard = house.take(1)
        assert b"porch" in heard[-1].payload
        assert service.stop() == 0
    denied = re.findall(r"Denied PUBLISH from brooder-Hillside .*", broker.log()[begins:])
    assert denied == []
    rights = Rights.from_files(site / "passwords", site / "rights")
    for topic in said():
        assert rights.may_write("monitor", "any", topic), topic
        if not topic.startswith("brooder/status/mark/"):  # the service's own note to itself
            assert rights.may_read("house", "any", topic), topic


def on_the_board(folder: Path, broker: Mosquitto, name: str) -> Service:
    return Service(
        folder / "run",
        broker_port=broker.home_port,
        broker=f'username = "monitor"\npassword = "rotinom"\nclient_id = "{name}"',
        limits=QUICK_LIMITS,
        commit_s=0.3,
    )


@needs_mosquitto
def test_a_probe_that_gives_the_services_client_id_takes_nothing_from_it(
    site: Path, broker: Mosquitto, tmp_path: Path
) -> None:
    """As a board would that was set up with a copied configuration, or that means ill."""
    with on_the_board(tmp_path, broker, "the-watch") as service:
        said = len(broker.log())
        intruder = paho.Client(CallbackAPIVersion.VERSION2, client_id="the-watch")
        intruder.username_pw_set("porch-lamp", "pmal-hcrop")
        intruder.tls_set(ca_certs=str(site / "ca.crt"))
        for number in range(5):
            intruder.connect("localhost", broker.port)
            intruder.loop_start()
            wait_until(intruder.is_connected, 60, "the intruder is in")
            publish(site, broker, "porch-floor", "brooder/porch/floor", f"3{number}")
            intruder.disconnect()
            intruder.loop_stop()
        wait_until(
            lambda: service.temps() == [30.0, 31.0, 32.0, 33.0, 34.0], 60, "every reading, once"
        )
        assert "the-watch already connected" not in broker.log()[said:]
        assert "porch-lamp" in broker.log()[said:]


@needs_mosquitto
def test_nobody_gets_in_without_a_password_or_without_tls(site, broker):
    for words in (
        ["--cafile", str(site / "ca.crt")],
        ["--cafile", str(site / "ca.crt"), "-u", "porch-floor", "-P", "wrong"],
        ["-u", "porch-floor", "-P", "roolf-hcrop"],
    ):
        done = subprocess.run(
            [
                *f"mosquitto_pub -h localhost -p {broker.port} -q 1".split(),
                *["-t", "brooder/porch/floor", "-m", "1", *words],
            ],
            capture_output=True,
            timeout=LEAST_S,
            check=False,
        )
        assert done.returncode != 0, words


@pytest.mark.parametrize(
    ("name", "topic", "write", "read"),
    [
        ("porch-floor", "brooder/porch/floor", True, False),
        ("porch-floor", "brooder/porch/lamp", False, False),
        ("wires", "brooder/wires/28-000005e2fdc3", True, False),
        ("monitor", "brooder/porch/floor", False, True),
        ("monitor", "brooder/status/mark/brooder-1", True, True),
        ("house", "brooder/alarms/porch", False, True),
        ("house", "brooder/acknowledge", True, False),
        ("nobody", "brooder/porch/floor", False, False),
        (None, "brooder/porch/floor", False, False),
    ],
)
def test_the_built_in_broker_reads_the_same_rights_out_of_the_same_file(
    site, name, topic, write, read
):
    rights = Rights.from_files(site / "passwords", site / "rights")
    assert rights.may_write(name, "any", topic) is write
    assert rights.may_read(name, "any", topic) is read


def test_the_built_in_broker_knows_the_same_passwords(site):
    rights = Rights.from_files(site / "passwords", site / "rights")
    assert rights.password_ok("porch-floor", "roolf-hcrop")
    assert not rights.password_ok("porch-floor", "porch-floor")
    assert not rights.password_ok("porch-floor", None)
    assert not rights.password_ok(None, "roolf-hcrop")


@pytest.mark.parametrize(
    ("passwords", "rights", "words"),
    [
        ("porch:plain\n", "", "passwords, line 1: not a line of mosquitto_passwd"),
        ("", "user a\ntopic brooder/#/x\n", "rights, line 2: topic filter 'brooder/#/x' has #"),
        ("", "usr a\n", "rights, line 1: 'usr a' is not user, topic or pattern"),
    ],
)
def test_a_line_that_cannot_be_used_is_named(tmp_path, passwords, rights, words):
    (tmp_path / "passwords").write_text(passwords)
    (tmp_path / "rights").write_text(rights)
    with pytest.raises(RightsFault, match=words.replace("/", ".").replace("#", ".")):
        Rights.from_files(tmp_path / "passwords", tmp_path / "rights")


def test_a_user_name_cannot_widen_a_pattern(tmp_path):
    (tmp_path / "passwords").write_text("")
    (tmp_path / "rights").write_text("pattern write brooder/%u/floor\n")
    rights = Rights.from_files(tmp_path / "passwords", tmp_path / "rights")
    assert rights.may_write("porch", "x", "brooder/porch/floor")
    assert not rights.may_write("+", "x", "brooder/porch/floor")
    assert not rights.may_write("#", "x", "brooder/porch/floor")
