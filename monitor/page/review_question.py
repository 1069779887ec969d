"""What the Record screen asks of the review. Travels to the child process by pickle."""

from dataclasses import dataclass
from pathlib import Path

from monitor.site import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One box; a batch of it (counted from 1), or a span."""

    journal: Path
    site: Site
    now: float
    brooder: str
    batch: int | None = None
    start: float | None = None
    stop: float | None = None  # of a loss: when it was written down
    dark: bool = False

    @property
    def key(self) -> tuple[object, ...]:
        """Two questions with the same key have the same answer for a minute."""
        return (self.brooder, self.batch, self.start, self.stop, self.dark)
