"""paho clients: what all need to get in, and those that keep no session."""

from collections.abc import Callable

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from monitor.intake.link import BrokerAddress


def secure(client: paho.Client, address: BrokerAddress) -> None:
    """Sets user, password and certificates; call before connecting. Raises OSError (ssl.SSLError
    among them) for certificate files that cannot be read."""
    if address.username is not None:
        client.username_pw_set(address.username, address.password)
    if address.tls:
        client.tls_set(ca_certs=address.ca_file)


def plain_client(on_connect: Callable[[ReasonCode], None], client_id: str = "") -> paho.Client:
    """MQTT 3.1.1: all that publishing and listening need, and all brokers speak it."""
    client = paho.Client(
        callback_api_version=CallbackAPIVersion.VERSION2,
        client_id=client_id,
        protocol=MQTTProtocolVersion.MQTTv311,
    )
    client.suppress_exceptions = True
    client.reconnect_delay_set(1, 60)
    client.on_connect = lambda _client, _userdata, _flags, reason, _properties: on_connect(reason)
    return client
