"""What the watch derived and is worth keeping beside the readings: target, band, estimate. Pure;
used by the watch thread. A number is kept when it changed and once an hour, so that the mirror
can be read without knowing the schedules.

    head_count                         birds in the box
    target_c, low_c, high_c            what the floor should have
    rise_k, rise_sd_k                  what the heat sustains above the outside, and how sure
    time_constant_s                    how fast the box cools
    learned                            0: all that from its dimensions, 1: all from its readings
    lowest_tonight_c, .._low_c, .._high_c, cold_chance   the outlook, with its 80 % interval"""

from collections.abc import Iterator

from monitor.journal.records import Sample
from monitor.watch.status import BrooderStatus, SiteStatus

HOURLY_S = 3600.0
LEAST_CHANGE = 0.05  # K or share of one; less is the estimate breathing
LEAST_CHANGE_OF_TIME = 0.05  # of itself


class Sampler:
    """Remembers what was kept last, per brooder and name."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], tuple[float, float]] = {}

    def new(self, status: SiteStatus) -> list[Sample]:
        found = []
        for box in status.brooders:
            for name, value in _numbers(box):
                at, before = self._kept.get((box.name, name), (float("-inf"), float("nan")))
                least = LEAST_CHANGE_OF_TIME * value if name.endswith("_s") else LEAST_CHANGE
                changed = not abs(value - before) < least
                if changed or status.at - at >= HOURLY_S:
                    self._kept[box.name, name] = (status.at, value)
                    found.append(Sample(status.at, box.name, name, round(value, 4)))
        return found


def _numbers(box: BrooderStatus) -> Iterator[tuple[str, float]]:
    heads = 0.0 if box.batch is None else float(box.batch.head_count)
    numbers = {
        "head_count": heads,
        "target_c": box.target_c,
        "low_c": box.low_c,
        "high_c": box.high_c,
    }
    learned, outlook = box.learned, box.outlook
    if learned is not None:
        numbers["time_constant_s"] = learned.time_constant_s
        numbers["learned"] = learned.share
        if learned.rise_k is not None:
            numbers["rise_k"] = learned.rise_k
            numbers["rise_sd_k"] = learned.rise_sd_k
    if outlook is not None:
        numbers["lowest_tonight_c"] = outlook.lowest_c.mid
        numbers["lowest_tonight_low_c"] = outlook.lowest_c.low
        numbers["lowest_tonight_high_c"] = outlook.lowest_c.high
        numbers["cold_chance"] = outlook.chance
    for name, value in numbers.items():
        if value is not None:
            yield name, value
