"""User, password and certificates of a broker address, set on a paho client."""

import paho.mqtt.client as paho

from monitor.intake.link import BrokerAddress


def secure(client: paho.Client, address: BrokerAddress) -> None:
    """Call before connecting. Raises OSError (ssl.SSLError among them) for certificate files that
    cannot be read."""
    if address.username is not None:
        client.username_pw_set(address.username, address.password)
    if address.tls:
        client.tls_set(
            ca_certs=address.ca_file, certfile=address.cert_file, keyfile=address.key_file
        )
