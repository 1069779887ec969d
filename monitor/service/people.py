"""The configured contacts and the teller's policy, from the settings."""

from monitor.events import Priority
from monitor.settings import Settings
from monitor.tell.contact import Contact
from monitor.tell.policy import Policy


def contacts_of(settings: Settings) -> tuple[Contact, ...]:
    """As `tell` knows them."""
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
    """How patient the teller is."""
    tell = settings.file.tell
    return Policy(
        urgent_repeat_s=tell.urgent_repeat_minutes * 60,
        warning_repeat_s=tell.warning_repeat_minutes * 60,
        morning_at=tell.morning_at,
        evening_at=tell.evening_at,
    )
