"""One attempt to get into a broker, for `brooder check`, and to say one thing there, for
`brooder probes try`. Leaves no session behind."""

import threading
import uuid

from paho.mqtt.reasoncodes import ReasonCode

from monitor.intake.link import BrokerAddress, words_for_failure
from monitor.intake.plain_client import plain_client, secure


def try_broker(address: BrokerAddress, within_s: float = 10.0) -> str | None:
    """None: it lets us in. Else why not, in words without the password."""
    return _attempt(address, None, within_s)


def say_once(
    address: BrokerAddress, topic: str, payload: str, within_s: float = 45.0
) -> str | None:
    """None: the broker has acknowledged it (the built-in one does when it is on the disk). Else
    why not, in words without the password."""
    return _attempt(address, (topic, payload), within_s)


def _attempt(
    address: BrokerAddress, said_there: tuple[str, str] | None, within_s: float
) -> str | None:
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
        if said[0] is None and said_there is not None:
            info = client.publish(*said_there, qos=1)
            info.wait_for_publish(within_s)
            if not info.is_published():
                return f"{address} has not acknowledged it within {within_s:.0f} s"
        return said[0]
    finally:
        client.disconnect()
        client.loop_stop()
