"""By how much a probe's own clock is behind, and its stamps set right by that. Pure; owned by
`service.hearing`.

No reading is later than it came, so a clock that is ahead shows at once (`payload`). One that is
behind looks like a probe that sends late. It is found by the newest stamp of each message: of a
store that is emptied the stamps catch up, and of packs the last word is new. Where every message
of five minutes is late by about the same, it is the clock, or a delay that nobody can tell from
one: either way the floor is known from when the message came. Common practice."""

from dataclasses import dataclass

from monitor.events import Moment
from monitor.kept import Kept, part

LEAST_S = 30.0  # less is the way of the message, and is let be; so is what is known as well
MOST_S = 900.0  # more is told: see `watch.silence`
_STEADY_S, _LONG_S, _MESSAGES = 60.0, 300.0, 3


@dataclass(slots=True)
class _Lateness:
    """Of the messages since a tick."""

    since: float
    least_s: float
    most_s: float
    messages: int = 0


@part
class ProbeClocks(Kept):
    """Of all probes and meters that stamp what they say."""

    behind_s: dict[str, float]  # of those that are behind, by key

    def __init__(self) -> None:
        self.behind_s = {}
        self._late: dict[str, _Lateness] = {}
        self.news = False  # `behind_s` has changed

    def see(self, sensor: str, newest_at: float, received: Moment) -> None:
        """A message that came as soon as it was sent: when, and its newest stamp."""
        late_s, tick = received.at - newest_at, received.tick
        late = self._late.get(sensor)
        if late is not None:
            late.least_s, late.most_s = min(late.least_s, late_s), max(late.most_s, late_s)
        if late is None or late.most_s - late.least_s > _STEADY_S:
            late = self._late[sensor] = _Lateness(tick, late_s, late_s)
        late.messages += 1
        if late.messages < _MESSAGES or tick - late.since < _LONG_S:
            return
        del self._late[sensor]
        behind_s = late.least_s if LEAST_S <= late.least_s <= MOST_S else 0.0
        if abs(behind_s - self.behind_s.get(sensor, 0.0)) > LEAST_S:
            self.news = True
            self.behind_s.pop(sensor, None)
            if behind_s:
                self.behind_s[sensor] = behind_s
