"""What the mirror's tests share: whom it is for, and sending until there is nothing left."""

from typing import Any

from monitor.journal.mirror.sending import Mirror
from monitor.journal.mirror.state import Scope, target_of


def scope(site: str = "Hillside", **said: Any) -> Scope:
    """Everything of a site, to one bucket."""
    return Scope(target=target_of("http://server", "farm", "brooder", site), site=site, **said)


def send_all(mirror: Mirror) -> int:
    """Steps until nothing is left; how many."""
    steps = 1
    while mirror.step() == 0.0:
        steps += 1
        assert steps < 1000
    return steps
