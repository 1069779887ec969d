"""Where the configured broker is, from the settings."""

from monitor.intake.link import BrokerAddress
from monitor.settings import Settings


def broker_address(settings: Settings) -> BrokerAddress | None:
    """`[broker]` as `intake` knows it; None: the built-in broker runs."""
    broker = settings.file.broker
    if broker is None:
        return None
    return BrokerAddress(
        host=broker.host,
        port=broker.port or 0,
        username=broker.username,
        password=broker.password.get_secret_value() if broker.password else None,
        tls=broker.tls,
        ca_file=broker.ca_file,
    )
