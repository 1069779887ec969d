"""Where the configured broker is, and who may do what at the built-in one, from the settings."""

from monitor.intake.link import BrokerAddress
from monitor.intake.rights import Rights
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


def rights_of(settings: Settings) -> Rights | None:
    """At the built-in broker; None: there are no accounts, and it is for this machine alone. Raises
    RightsFault or OSError."""
    own = settings.file.built_in_broker
    if own.accounts_file is None:
        return None
    base = settings.source.parent
    return Rights.from_files(
        base / own.accounts_file,
        base / own.rights_file if own.rights_file else None,
        settings.site.published,
    )
