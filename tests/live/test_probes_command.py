"""`brooder probes` on a real broker: what comes from the network is shown, and obeyed by nobody."""

import subprocess
import sys

import pytest
from support.patience import LEAST_S
from support.service import MAIN, Service, Thermometer

pytestmark = pytest.mark.live


def test_a_topic_and_a_payload_cannot_speak_to_the_growers_terminal(tmp_path):
    with Service(tmp_path) as service, Thermometer(service.broker_port) as probe:
        for topic in ("yard/\x1b]0;owned\x07\x1b[2J\x1b[31mALL WELL/t", "yard/\x9b31m\u202e/t"):
            probe.say("21.5", topic=topic)
        probe.say("\x1b[31m21.5", topic="yard/gate")
        probe.wait_acknowledged()
        done = subprocess.run(
            [sys.executable, "-c", MAIN, "probes", "--config", str(service.config)],
            capture_output=True,
            text=True,
            timeout=LEAST_S,
            check=False,
        )
        assert "yard/·]0;owned··[2J·[31mALL WELL/t" in done.stdout
        assert "yard/gate" in done.stdout
        unsafe = {char for char in done.stdout if not char.isprintable() and char != "\n"}
        assert unsafe == set()
