"""One attempt to get into a broker, for `brooder check`, and to say one thing there, for
`brooder probes try`. Leaves no session behind."""

import threading
import uuid

from paho.mqtt.reasoncodes import ReasonCode

from monitor.intake.link import BrokerAddress, words_for_failure
from monitor.intake.plain_client import plain_client, secure

_LET_IN_S = 10.0
_ACKNOWLEDGED_S = 45.0


def try_broker(address: BrokerAddress, say: tuple[str, str] | None = None) -> str | None:
    """None: it lets us in, and has acknowledged what was to be said there, topic and payload (the
    built-in one does when it is on the disk). Else why not, in words without the password."""
    within_s = _LET_IN_S if say is None else _ACKNOWLEDGED_S
    answered = threading.Event()
    said: list[str | None] = []

    def on_connect(reason: ReasonCode) -> None:
        refused = f"{address} turns us away: {reason.getName().lower()}; look at user and password"
        said.append(refused if reason.is_failure else None)
        answered.set()

    client = plain_client(on_connect, f"brooder-check-{uuid.uuid4().hex[:8]}")
    try:
        secure(client, address)
        client.connect(address.host, address.real_port, keepalive=15)
    except (OSError, ValueError) as error:
        return words_for_failure(address, error)
    client.loop_start()
    try:
        if not answered.wait(within_s):
            return f"{address} does not answer as a broker within {within_s:.0f} s"
        if said[0] is None and say is not None:
            info = client.publish(*say, qos=1)
            info.wait_for_publish(within_s)
            if not info.is_published():
                return f"{address} has not acknowledged it within {within_s:.0f} s"
        return said[0]
    finally:
        client.disconnect()
        client.loop_stop()
