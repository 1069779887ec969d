"""By how much a probe's own clock is behind, and its stamps set right by that. Pure; owned by
`service.hearing`.

No reading is later than it came, so a clock that is ahead shows at once (`payload`). One that is
behind looks like a probe that sends late. Were it the way, and took it anything from nothing to the
longest lag, the chance that n more words all come no sooner than the least is (1 - least / longest)
to the n-th: below one in 10,000, where the least does not shrink, the clock is behind by the least.
One word that came sooner unlearns it.

So a lag that is always about the same is known as a clock's by its third word, one that varies
needs more of them, and a store that is emptied, whose stamps catch up, is none, also where it
pauses meanwhile: its lag falls in many steps and rises in few. A delay that never ends cannot be
told from a clock: either way the floor is known from when the message came. Of a pack the newest
stamp counts. The figures are common practice; a way of random delay is taken for a clock for fewer
than one in 100 of its words, whatever its law; in the long run for 2 in 1,000; a store that pauses
for one in 100."""

from typing import NamedTuple

from monitor.events import CameLate
from monitor.kept import Kept, Tick, part

LEAST_S = 30.0  # less is the way of the message, and is let be; so is what is known as well
MOST_S = 900.0  # more is told: see `watch.silence`
_CHANCE, _FEWEST, _MOST_WORDS, _LONG_S = 1e-4, 3, 40, 300.0
_SAME_S = 0.01  # times are in milliseconds
_SHRINKS = 0.1  # seconds a second; a store is emptied faster, or its words are no older than this
_FALLS = 2  # to a rise: a store that pauses has more, a way of random delay as many of both
_FEW_FALLS = 2  # are none at all, whatever the rises


class _Late(NamedTuple):
    """A word that came late."""

    tick: Tick
    lag_s: float  # of its newest stamp


@part
class ProbeClocks(Kept):
    """Of all probes and meters that stamp what they say."""

    behind_s: dict[str, float]  # of those that are behind, by key
    _late: dict[str, list[_Late]]  # since one came within `LEAST_S`, the last of them, by key

    def __init__(self) -> None:
        self.behind_s, self._late = {}, {}

    def see(self, message: CameLate) -> bool:
        """A message that came as soon as it was sent. Returns whether it changes what is known."""
        _, tick, sensor, lag_s = message
        if lag_s < LEAST_S:
            forgot = self._late.pop(sensor, None), self.behind_s.pop(sensor, None)
            return forgot != (None, None)
        late = self._late.setdefault(sensor, [])
        if late and abs(tick - lag_s - (late[-1].tick - late[-1].lag_s)) < _SAME_S:
            return False  # of a word that is said again the lag only grows
        late.append(_Late(tick, lag_s))
        del late[:-_MOST_WORDS]
        known_s, shown_s = self.behind_s.get(sensor, 0.0), _behind_s(late)
        if shown_s is not None and abs(shown_s - known_s) > LEAST_S:
            self.behind_s[sensor] = known_s = shown_s
        if lag_s < known_s - LEAST_S or known_s > MOST_S:
            self.behind_s.pop(sensor, None)
        return True


def _behind_s(late: list[_Late]) -> float | None:
    """What the last words show the clock to be behind, by as few of them as do; None: nothing."""
    now, lags = late[-1].tick, [word.lag_s for word in late]
    least_s = most_s = lags[-1]
    newer, falls, rises = late[-1], 0, 0
    for n, (tick, lag_s) in enumerate(reversed(late), 1):
        least_s, most_s = min(least_s, lag_s), max(most_s, lag_s)
        steady_s = _SHRINKS * (newer.tick - tick)
        falls += newer.lag_s < lag_s - steady_s
        rises += newer.lag_s > lag_s + steady_s
        newer = late[-n]
        if falls > max(_FEW_FALLS, _FALLS * rises):
            continue
        if n < _FEWEST or now - tick < _LONG_S or (1.0 - least_s / most_s) ** (n - 1) > _CHANCE:
            continue
        shrank_s = min(lags[-n : -(n // 2)]) - min(lags[-(n // 2) :])
        if shrank_s <= _SHRINKS * (now - tick) / 2.0:
            return least_s
    return None
