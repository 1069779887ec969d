"""What else is said on the broker is heard, bounded, and never at a reading's expense."""

import subprocess

import pytest
from support.links import clock, eventually, listening, publish
from support.mosquitto import Mosquitto, needs_mosquitto

from monitor.intake.link import BrokerAddress
from monitor.intake.listener import Listener
from monitor.intake.unclaimed import MOST_TOPICS, Unclaimed

pytestmark = [pytest.mark.live, needs_mosquitto]

FLOOR = "brooder/porch/floor"


def test_a_flood_of_junk_topics_is_heard_bounded_and_delays_no_reading(tmp_path):
    with Mosquitto(tmp_path / "b", "max_queued_messages 100") as broker:
        unclaimed = Unclaimed()
        listener = Listener(
            BrokerAddress(host="127.0.0.1", port=broker.port),
            unclaimed=unclaimed,
            claimed={FLOOR}.__contains__,
            now=lambda: clock().at,
        )
        listener.start()
        listener.start()  # a second call does nothing
        with listening(broker.port, [FLOOR]) as heard:
            eventually(lambda: broker.log().count("\t# (QoS 0)") == 1, "listening")
            # mosquitto_pub has one topic a call, so junk comes in the topic of a script's making.
            junk = subprocess.Popen(
                [
                    "sh",
                    "-c",
                    f"seq 1 300 | xargs -P 2 -I% mosquitto_pub -p {broker.port} -t j/% -m %",
                ]
            )
            for number in range(20):
                publish(broker.port, FLOOR, str(number))
                (one,) = heard.take(1)
                heard.session.acknowledge([one.token])
                assert one.payload == str(number).encode()
            assert junk.wait(250) == 0
            eventually(lambda: len(unclaimed.latest()) == MOST_TOPICS, "the junk heard")
        heard_topics = unclaimed.latest()
        assert all(one.topic != FLOOR for one in heard_topics)
        listener.stop()

        def all_gone() -> bool:  # whoever gave itself no name: the listener among them
            log = broker.log()
            return log.count("Received DISCONNECT from auto-") == log.count(" as auto-") > 300

        eventually(all_gone, "ended")
        publish(broker.port, "after", "1")
        assert all(one.topic != "after" for one in unclaimed.latest())
