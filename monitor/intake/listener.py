"""Hears what else is said on the site's broker, for `brooder probes` and the set-up page.

A connection of its own with QoS 0 and no session, so that no flood of junk can displace a reading
from the broker's queue for the service. Start it when somebody looks, stop it afterwards. The
built-in broker needs none: it sees every message itself."""

import logging
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, field
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.reasoncodes import ReasonCode

from monitor.intake.link import BrokerAddress
from monitor.intake.plain_client import plain_client, secure
from monitor.intake.unclaimed import Unclaimed

log = logging.getLogger(__name__)


@dataclass(eq=False, repr=False)
class Listener:
    address: BrokerAddress
    _: KW_ONLY
    unclaimed: Unclaimed
    claimed: Callable[[str], bool]
    now: Callable[[], float]
    _client: paho.Client | None = field(default=None, init=False)

    def start(self) -> None:
        """Begin in the background; does nothing when it runs already."""
        if self._client is not None:
            return
        client = plain_client(self._on_connect)
        secure(client, self.address)
        client.on_message = self._on_message
        client.connect_async(self.address.host, self.address.real_port, keepalive=30)
        self._client = client
        client.loop_start()

    def stop(self) -> None:
        """Disconnects; what was heard stays."""
        client, self._client = self._client, None
        if client is not None:
            client.disconnect()

    def _on_connect(self, reason: ReasonCode) -> None:
        if reason.is_failure:
            log.warning("Cannot listen for other topics: %s.", reason.getName())
        elif self._client is not None:
            self._client.subscribe("#", 0)

    def _on_message(self, _client: paho.Client, _userdata: Any, message: paho.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = "(not UTF-8)"
        if not self.claimed(topic):
            self.unclaimed.add(topic, bytes(message.payload), self.now())
