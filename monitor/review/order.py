"""What the child that draws an alert's picture is asked for. On its own, so that the service can
write an order without loading what the drawing needs."""

from dataclasses import dataclass
from pathlib import Path

from monitor.site import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """The last twelve hours before `until` (Unix s) of one box, into a folder."""

    journal: Path
    site: Site
    brooder: str
    until: float
    folder: Path
