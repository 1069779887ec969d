"""The configuration that is in force, kept with the state. A start lives through the end of the
record by that one, and only then takes the new one, as a reload does: what was heard under one is
never judged by the other."""

from dataclasses import dataclass, replace

from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.policy import Policy


@dataclass(frozen=True, slots=True)
class InForce:
    """All that the core is configured with, but for secrets: nothing that is decided hangs on a
    URL."""

    site: Site
    contacts: tuple[Contact, ...]
    policy: Policy

    @classmethod
    def of(cls, site: Site, contacts: tuple[Contact, ...], policy: Policy) -> "InForce":
        """With contacts that may have their URLs."""
        return cls(site, tuple(replace(one, url="") for one in contacts), policy)
