"""A clock, a waiting loop and a session for tests that talk to a real broker."""

import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from support.patience import LEAST_S, patience_s

from monitor.events import Moment
from monitor.intake.broker_session import BrokerSession
from monitor.intake.inbox import Inbox, MqttMessage
from monitor.intake.link import BrokerAddress, BrokerState

_STARTED = time.time() - time.monotonic()


def clock() -> Moment:
    """Now, as the service's clock gives it."""
    return Moment(time.time(), _STARTED + time.monotonic())


def eventually(true: Callable[[], object], what: str, within_s: float = 60.0) -> None:
    """Wait for a condition with a generous end."""
    deadline = time.monotonic() + patience_s(within_s)
    while not true():
        assert time.monotonic() < deadline, f"never: {what}"
        time.sleep(0.02)


class Heard:
    """A session with its inbox, its states, and everything taken so far."""

    def __init__(self, address: BrokerAddress, topics: list[str], client_id: str, **more) -> None:
        self.inbox = Inbox()
        self.states: list[BrokerState] = []
        self.session = BrokerSession(
            address,
            client_id=client_id,
            topics=topics,
            inbox=self.inbox,
            clock=clock,
            on_state=self.states.append,
            **more,
        )

    def take(self, count: int, within_s: float = 60.0) -> list[MqttMessage]:
        """So many deliveries, not yet acknowledged."""
        taken: list[MqttMessage] = []
        deadline = time.monotonic() + patience_s(within_s)
        while len(taken) < count:
            taken += self.inbox.take(count - len(taken), 0.5)
            assert time.monotonic() < deadline, f"{len(taken)} of {count} came"
        return taken

    def links(self) -> list[str]:
        """The states it went through, by name."""
        return [state.link.value for state in self.states]


@contextmanager
def listening(
    port: int, topics: list[str], client_id: str = "brooder-test", **more
) -> Iterator[Heard]:
    """A connected session that hears `topics`; ended afterwards."""
    address = more.pop("address", None) or BrokerAddress(host="127.0.0.1", port=port)
    heard = Heard(address, topics, client_id, **more)
    heard.session.start()
    try:
        eventually(lambda: heard.session.hears, "connected")
        yield heard
    finally:
        heard.session.stop()


def publish(port: int, topic: str, payload: str, *more: str) -> subprocess.CompletedProcess[str]:
    """One message by mosquitto_pub at QoS 1, which returns once the broker has it."""
    words = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(port), "-t", topic, "-m", payload]
    return subprocess.run(
        [*words, "-q", "1", *more], capture_output=True, text=True, timeout=LEAST_S, check=False
    )
