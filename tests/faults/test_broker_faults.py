"""The broker goes, comes back, hangs, refuses or prefers another: the watch says so, and goes on by
itself when it can."""

import time
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.mosquitto import Mosquitto, needs_mosquitto
from support.receivers import http_receiver
from support.service import Service, Thermometer, wait_until

from monitor.events import AlarmName, Priority

pytestmark = [pytest.mark.faults, needs_mosquitto]

SOON = {"monitor.service.broker_side.BROKER_PATIENCE_S": 2.0}


def test_a_broker_that_restarts_costs_no_reading_and_no_alarm(tmp_path: Path) -> None:
    """Each message that the broker was given is kept once. The probe sends again whatever was not
    acknowledged when the broker went (QoS 1 is "at least once", MQTT 5.0, 4.3.2), and of a bare
    number nobody behind the broker can tell that it was said before."""
    with (
        Mosquitto(tmp_path / "broker", persistent=True) as broker,
        Service(tmp_path, broker_port=broker.port, commit_s=1.0) as service,
        Thermometer(broker.port) as probe,
    ):
        for number in range(30):
            probe.say(30 + number / 1000)
            if number in (10, 20):
                broker.stop()
                broker.start()
        probe.wait_acknowledged()
        given = broker.log().count("Received PUBLISH from floor-probe")
        wait_until(lambda: len(service.temps()) >= given, 60, "all readings")
        assert service.stop() == 0
        assert set(service.temps()) == {30 + n / 1000 for n in range(30)}
        assert len(service.temps()) == given
        assert not service.changes()


def test_a_broker_killed_in_the_flow_is_found_again_and_nothing_is_doubled(tmp_path: Path) -> None:
    """Mosquitto loses what it had not saved: what it lost the probe sends again or is gone, which
    is Mosquitto's to answer for. Nothing may come twice."""
    with (
        Mosquitto(tmp_path / "broker", persistent=True) as broker,
        Service(tmp_path, broker_port=broker.port, commit_s=1.0) as service,
        Thermometer(broker.port) as probe,
    ):
        for number in range(100):
            probe.say(30 + number / 1000)
            if number % 40 == 20:
                broker.kill()
                broker.start()
        probe.wait_acknowledged()
        # The killed broker lost the subscription too: what comes before the new one nobody hears.
        wait_until(lambda: _subscribed_since_the_start(broker), 90, "the service to subscribe anew")
        probe.say(39.0)
        wait_until(lambda: 39.0 in service.temps(), 90, "the readings to go on")
        temps = service.temps()
        # The broker may have been given one twice by the probe, when its PUBACK was lost: that is
        # a new message to everybody behind it. Only ever those in flight at a kill.
        doubled = len(temps) - len(set(temps))
        assert doubled <= 2 * 20
        assert "Traceback" not in service.log()


def _subscribed_since_the_start(broker: Mosquitto) -> bool:
    return "Received SUBSCRIBE from brooder-" in broker.log().rpartition(" starting\n")[2]


def test_a_broker_that_hangs_is_told_and_its_return_too(tmp_path: Path) -> None:
    """Half-open: the connection stands and nothing comes (SIGSTOP)."""
    with (
        Mosquitto(tmp_path / "broker", persistent=True) as broker,
        http_receiver() as phone,
        Service(
            tmp_path, broker_port=broker.port, contacts={"phone": phone.url}, shortened=SOON
        ) as service,
    ):
        with Thermometer(broker.port) as probe:
            probe.say(30.0)
            wait_until(lambda: service.temps() == [30.0], 30)
        broker.freeze()
        begun = time.monotonic()
        [told] = phone.wait_for(1, within_s=90)
        print(f"a hanging broker was told after {told.at - begun:.0f} s")
        assert "broker" in (told.title + told.body).lower()
        broker.thaw()
        phone.wait_for(2, within_s=120)
        with Thermometer(broker.port) as probe:
            probe.say(31.0)
            wait_until(lambda: 31.0 in service.temps(), 60, "readings after the return")
        assert service.stop() == 0


def test_a_refused_password_is_told_with_the_user_and_without_the_password(tmp_path: Path) -> None:
    accounts = tmp_path / "broker" / "accounts"
    accounts.parent.mkdir()
    accounts.write_text("")
    with (
        Mosquitto(
            tmp_path / "broker",
            f"allow_anonymous false\npassword_file {accounts}\n",
            persistent=True,
        ) as broker,
        http_receiver() as phone,
        Service(
            tmp_path,
            broker_port=broker.port,
            broker='username = "watch"\npassword = "not-the-right-one"',
            contacts={"phone": phone.url},
            shortened=SOON,
        ) as service,
    ):
        [told] = phone.wait_for(1, within_s=60)
        assert "refuses the user name or password of watch" in told.body
        assert service.running
        assert "not-the-right-one" not in service.log() + service.out() + told.body


def test_who_uses_the_watchs_name_is_told_urgently_and_the_watch_hears_on(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker", persistent=True) as broker,
        http_receiver() as phone,
        Service(
            tmp_path,
            broker_port=broker.port,
            broker='client_id = "the-watch"',
            contacts={"phone": phone.url},
            commit_s=0.5,
        ) as service,
    ):
        # Both are pushed out again and again, as two services with one name would.
        other = paho.Client(
            callback_api_version=CallbackAPIVersion.VERSION2,
            client_id="the-watch",
            clean_session=False,
        )
        other.reconnect_delay_set(1, 1)
        other.connect("127.0.0.1", broker.port)
        other.loop_start()
        try:
            [told] = phone.wait_for(1)
            assert "another device uses the watch's name" in told.title
            assert told.raw["type"] == "failure", "urgent"
            assert "uses the client id the-watch" in told.body.replace("seems to use", "uses")
            # By its other name; what is said before it has asked for its topics nobody hears.
            wait_until(
                lambda: "Sending SUBACK to the-watch-" in broker.log(), what="the other name"
            )
            # The other one is there still, and takes nothing any more.
            with Thermometer(broker.port) as probe:
                for temp_c in (31.0, 32.0, 33.0):
                    probe.say(temp_c)
                wait_until(lambda: service.temps() == [31.0, 32.0, 33.0], 90, "each, once")
            [change] = service.changes(AlarmName.NAME_TAKEN)
            assert change.priority is Priority.URGENT
        finally:
            other.disconnect()
            other.loop_stop()


def test_a_name_that_no_one_knows_does_not_keep_the_watch_from_starting(tmp_path: Path) -> None:
    """DNS gone: told, tried for ever, and a stop is still quick."""
    with (
        http_receiver() as phone,
        Service(
            tmp_path,
            broker_port=1883,
            broker_host="broker.hillside.invalid",
            contacts={"phone": phone.url},
            shortened=SOON,
        ) as service,
    ):
        [told] = phone.wait_for(1, within_s=90)
        assert "broker.hillside.invalid" in told.body
        assert service.stop() == 0  # it does not wait for the name
