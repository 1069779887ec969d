"""A probe may ask the broker to keep its last word: live it counts, kept from then it does not."""

from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.mosquitto import Mosquitto, needs_mosquitto
from support.service import FLOOR, Service, wait_until

pytestmark = [pytest.mark.live, needs_mosquitto]


def publish_retained(port: int, payload: str) -> None:
    client = paho.Client(callback_api_version=CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    client.publish(FLOOR, payload, qos=1, retain=True).wait_for_publish(30)
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
