"""What the watch derived and is worth keeping beside the readings: target, band, estimate. Pure;
used by the watch thread. A number is kept when it changed and once an hour, so that a copy off
the board can be read without knowing the schedules."""

from collections.abc import Iterator

from monitor.journal.records import Sample
from monitor.watch.status import BrooderStatus, SiteStatus

HOURLY_S = 3600.0
LEAST_CHANGE = 0.05  # K; less is the estimate breathing


class Sampler:
    """Remembers what was kept last, per brooder and name."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], tuple[float, float]] = {}

    def new(self, status: SiteStatus) -> list[Sample]:
        """The numbers to keep now."""
        found = []
        for box in status.brooders:
            for name, value in _numbers(box):
                at, before = self._kept.get((box.name, name), (float("-inf"), float("nan")))
                changed = not abs(value - before) < LEAST_CHANGE
                if changed or status.at - at >= HOURLY_S:
                    self._kept[box.name, name] = (status.at, value)
                    found.append(Sample(status.at, box.name, name, round(value, 4)))
        return found


def _numbers(box: BrooderStatus) -> Iterator[tuple[str, float]]:
    numbers = {
        "target_c": box.target_c,
        "low_c": box.low_c,
        "high_c": box.high_c,
        "rise_k": None if box.outlook is None else box.outlook.rise_c.mid,
        "lowest_tonight_c": None if box.outlook is None else box.outlook.lowest_c.mid,
    }
    for name, value in numbers.items():
        if value is not None:
            yield name, value
