"""A probe may ask the broker to keep its last word: live it counts, kept from then it does not."""

import threading
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S
from support.service import FLOOR, Service, wait_until

pytestmark = [pytest.mark.live, needs_mosquitto]


def publish_retained(port: int, payload: str) -> None:
    client = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    client.publish(FLOOR, payload, qos=1, retain=True).wait_for_publish(LEAST_S)
    client.disconnect()
    client.loop_stop()


def test_a_retained_reading_counts_live_with_the_built_in_broker(tmp_path: Path) -> None:
    with Service(tmp_path) as service:
        publish_retained(service.broker_port, "33.5")
        wait_until(lambda: service.temps() == [33.5], what="the reading in the journal")


def test_a_retained_reading_counts_live_but_not_when_it_is_old(tmp_path: Path) -> None:
    with Mosquitto(tmp_path / "broker") as broker:
        publish_retained(broker.port, "11.0")  # last week's word
        with Service(tmp_path / "service", broker_port=broker.port) as service:
            publish_retained(broker.port, "33.5")
            wait_until(lambda: 33.5 in service.temps(), what="the reading in the journal")
            assert service.temps() == [33.5]


def test_a_brooder_taken_out_of_the_configuration_leaves_no_retained_state(tmp_path: Path) -> None:
    alarms = ("brooder/alarms/porch", "brooder/alarms/shed")
    shed = """
    [[brooders]]
    name = "shed"
    length_m = 1.0
    width_m = 1.0
      [[brooders.probes]]
      name = "floor"
      topic = "brooder/shed/floor"
      place = "floor"
    """
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Service(tmp_path / "service", broker_port=broker.port, more=shed) as service,
    ):
        wait_until(lambda: kept_at(broker.port, "brooder/alarms/+") == set(alarms), 30, "both")
        service.more = ""
        service.reload()
        wait_until(lambda: kept_at(broker.port, "brooder/alarms/+") == {alarms[0]}, 30, "one")


def kept_at(port: int, topics: str) -> set[str]:
    """The topics whose last word the broker keeps."""
    kept: set[str] = set()
    done = threading.Event()
    client = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: kept.add(message.topic)
    client.on_subscribe = lambda *_: done.set()
    client.connect("127.0.0.1", port)
    client.loop_start()
    client.subscribe(topics, qos=1)
    done.wait(LEAST_S)
    client.publish("probe/of/the/test", "", qos=1).wait_for_publish(LEAST_S)  # after what was kept
    client.disconnect()
    client.loop_stop()
    return kept
