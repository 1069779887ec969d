"""Who is told what, and when. Plain data, made by the service from the settings.

A contact's URL holds passwords and tokens: it is never printed, logged or put into an error."""

import re
from dataclasses import dataclass, field
from datetime import time

from monitor.events import Priority

_SCHEME = re.compile(r"^\s*([A-Za-z][A-Za-z0-9+._-]{0,30})://")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """One way to reach one person."""

    name: str
    url: str = field(repr=False)  # any Apprise URL; a secret
    priorities: frozenset[Priority] = frozenset(Priority)
    quiet_from: time | None = None  # advice waits from here ...
    quiet_to: time | None = None  # ... to here, local time; may go over midnight
    after_minutes: float = 0.0  # told only when an urgent alarm went unanswered for this long

    def is_quiet(self, local: time) -> bool:
        """Does advice wait at this local time of day?"""
        if self.quiet_from is None or self.quiet_to is None:
            return False
        if self.quiet_from <= self.quiet_to:
            return self.quiet_from <= local < self.quiet_to
        return local >= self.quiet_from or local < self.quiet_to


def masked(url: str) -> str:
    """What may be shown of a contact's URL: the kind of service alone."""
    found = _SCHEME.match(url)
    return f"{found[1].lower()}://…" if found else "(not a URL)"


def first_told(contacts: tuple[Contact, ...], priority: Priority) -> tuple[Contact, ...]:
    """Those told at once: who want this priority and wait for nobody. When all of them wait for
    somebody, the ones who wait least, for an alarm must reach someone."""
    wanting = [contact for contact in contacts if priority in contact.priorities]
    if not wanting:
        return ()
    least = min(contact.after_minutes for contact in wanting)
    if least > 0 and priority is not Priority.URGENT:
        return ()
    return tuple(contact for contact in wanting if contact.after_minutes == least)
