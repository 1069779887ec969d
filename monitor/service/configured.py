"""What the settings say, as the other parts know it: contacts and policy, the broker and who may do
what there, the mirror, this machine."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from monitor.doorway import THIS_MACHINE
from monitor.events import Priority
from monitor.intake.link import BrokerAddress
from monitor.intake.rights import Rights
from monitor.journal.mirror.influx_server import Server
from monitor.journal.mirror.state import Scope, target_of
from monitor.settings import Settings
from monitor.settings.file_model import InfluxSettings, SiteSettings
from monitor.tell.contact import Contact
from monitor.tell.missing import Machine
from monitor.tell.policy import Policy


def contacts_of(settings: Settings) -> tuple[Contact, ...]:
    return tuple(
        Contact(
            name=c.name,
            url=c.url.get_secret_value(),
            priorities=frozenset(Priority(p) for p in c.priorities),
            quiet_from=c.quiet_from,
            quiet_to=c.quiet_to,
            after_minutes=c.after_minutes,
        )
        for c in settings.file.contacts
    )


def policy_of(settings: Settings) -> Policy:
    tell = settings.file.tell
    return Policy(
        urgent_repeat_s=tell.urgent_repeat_minutes * 60,
        warning_repeat_s=tell.warning_repeat_minutes * 60,
        morning_at=tell.morning_at,
        evening_at=tell.evening_at,
    )


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


SUPPLIES = Path("/sys/class/power_supply")


def machine_of(settings: Settings, reached: Iterable[Mapping[str, Any]] = ()) -> Machine:
    """`reached`: the contacts as the running service tells of them."""
    page = settings.file.page
    return Machine(
        page_open=page.enabled
        and (page.listen not in THIS_MACHINE or page.behind_proxy or page.public_url is not None),
        on_battery=on_battery(),
        unreached=tuple(one["name"] for one in reached if one["last_ok_at"] is None),
    )


def on_battery(supplies: Path = SUPPLIES) -> bool | None:
    """As Linux tells it (the kernel's sysfs-class-power). None: no battery, or not known."""
    discharging = False
    known = False
    with suppress(OSError):
        for supply in supplies.iterdir():
            with suppress(OSError):  # a supply that was unplugged meanwhile
                if (supply / "type").read_text().strip() != "Battery":
                    continue
                scope = supply / "scope"
                if scope.exists() and scope.read_text().strip() == "Device":
                    continue  # a mouse's
                known = True
                discharging |= (supply / "status").read_text().strip() == "Discharging"
    return discharging if known else None


def server_of(influx: InfluxSettings) -> Server:
    """A connection to the bucket of `[influx]`."""
    return Server(influx.url, influx.token.get_secret_value(), influx.org, influx.bucket)


def scope_of(settings: Settings, influx: InfluxSettings) -> Scope:
    """What this service sends. The site's own probes are heard by every service of a site: the one
    that follows the first brooder of the configuration sends what they say."""
    site = settings.site
    names = frozenset(box.name for box in site.brooders)
    first = settings.file.brooders[0].name
    return Scope(
        target=target_of(influx.url, influx.org, influx.bucket, site.name),
        site=site.name,
        boxes=None if settings.pattern is None else names,
        site_probes=settings.pattern is None or first in names,
    )


def objection(settings: Settings) -> str | None:
    """Why nothing is sent, whatever the server says."""
    default = SiteSettings.model_fields["name"].default
    if settings.site.name != default:
        return None
    return (
        f'nothing is sent: [site] name is still "{default}", and the records of another board left '
        "at that name would be mixed with these in the bucket; give this site a name of its own"
    )
