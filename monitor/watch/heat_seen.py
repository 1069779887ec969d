"""One heat source as its plug measures it: is it lit, is it out, does a thermostat switch it? Owned
by watch.box_meters.

A watt that falls to zero is a dead lamp, whatever the floor does. Only a thermostat may do the same
and mean nothing: one that the grower has named, or one that has shown itself. It is out when its
rest is over: longer than any before while the floor is colder than it ever came on again at, or
longer than the shortest while the floor is far colder than that. (Without the floor a plug that is
stuck at 0 W would do.)"""

from collections import deque
from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import HeatSource

_LIT_SHARE = 0.15  # of its usual watts; a plug's own electronics and a thermostat draw a few
_WHOLE_SHARE = 0.75  # draws less: turned down
_TWICE = 2  # one word alone proves nothing
_CYCLE_S = 180.0  # off for less is a loose plug or a dying bulb, not a thermostat
_CYCLES = 2  # then it is one
_UNKNOWN_S = 7200.0  # a plug heard for less may be a thermostat's, that was never seen to switch
_PATIENCE_S = 1800.0  # so long a thermostat is waited for where no floor tells
_CLEARLY_K = 0.3
_BELOW_K, _MISSED_K = 1.0, 2.0  # K; the wide one for a thermostat not yet seen to switch

_STAYS_S = 180.0  # the floor stays that cold for so long
_LONGER = 1.25  # than the longest rest
_WARMS_S = 900.0  # after a rest a plate warms the floor that late
_SAID_S = 300.0  # a plug that says nothing for so long no longer proves a rest
_DUTY_S = 3 * 3600.0
_REMEMBERED, _SWITCHED = 12, 200  # rests, times
_SAME_S = 1800.0  # the very same watts for so long: the plug may be stuck, and proves nothing
_ADOPTED_S = 6 * 3600.0  # turned down for so long: that is usual now


class FloorWarmth(NamedTuple):
    """How warm the floor is, for whoever judges whether heat should be on. None: not known."""

    coldest_c: float | None
    target_c: float | None
    high_c: float | None

    @property
    def too_hot(self) -> bool:
        """Above its band: no heat is missing."""
        if self.coldest_c is None or self.high_c is None:
            return False
        return self.coldest_c > self.high_c


@part
class HeatSeen(Kept):
    """Mutable state of one source. Ticks in seconds."""

    watts: float | None = None
    usual_w: float | None = None  # what it draws when lit and not turned down
    lit: bool | None = None
    tick: Tick = NEVER  # of the last word
    since: Tick = 0.0  # when it was lit, or put out
    meant: bool = False  # somebody has answered, and the floor is warm without it
    out: bool = False
    _was_lit: bool = False
    _zeros: int = 0  # words in a row that it draws nothing
    _first: Tick | None = None  # word
    _differed: Tick = NEVER  # when it last said other watts than before
    _down_since: Tick | None = None  # turned down
    _missed_since: Tick | None = None
    _cycles: int = 0
    _rested_since: Tick = NEVER
    _rests_s: deque[float]
    _on_at_c: deque[float]
    _switched: deque[tuple[Tick, bool]]

    def __init__(self, source: HeatSource) -> None:
        self.source = source
        self._rests_s, self._on_at_c = deque(maxlen=_REMEMBERED), deque(maxlen=_REMEMBERED)
        self._switched = deque(maxlen=_SWITCHED)

    def take(self, tick: float, watts: float, floor: FloorWarmth) -> None:
        """A word of its plug."""
        if tick < self.tick:
            return
        if self._first is None:
            self._first = tick
        if watts != self.watts:
            self._differed = tick
        self.tick, self.watts = tick, watts
        lit = watts > _LIT_SHARE * (self.usual_w or self.source.watts)
        if lit is not self.lit:
            if lit and self.lit is False:
                self._came_on(tick - self.since, floor)
            self.lit, self.since = lit, tick
            self._switched.append((tick, lit))
        self._zeros = 0 if lit else self._zeros + 1
        if lit:
            self._was_lit = True
            self.meant = False
            self._learn(tick, watts)
        self.judge(tick, floor)

    def _came_on(self, off_s: float, floor: FloorWarmth) -> None:
        if off_s < _CYCLE_S and not self.source.thermostat:
            return
        self._cycles += 1
        self._rested_since = self.since
        self._rests_s.append(off_s)
        if floor.coldest_c is not None:
            self._on_at_c.append(floor.coldest_c)

    def _learn(self, tick: float, watts: float) -> None:
        usual = self.usual_w
        if usual is None or watts > usual:
            self.usual_w, self._down_since = watts, None
        elif watts >= _WHOLE_SHARE * usual:
            self.usual_w, self._down_since = usual + 0.05 * (watts - usual), None
        elif self._down_since is None:
            self._down_since = tick
        elif tick - self._down_since > _ADOPTED_S:
            self.usual_w, self._down_since = watts, None

    def judge(self, tick: float, floor: FloorWarmth) -> None:
        """Is it out, though it should be lit?"""
        if self.lit is not False or not self._was_lit or self.meant:
            self.out, self._missed_since = False, None
        elif not self.out and self._zeros >= _TWICE and not floor.too_hot:
            missed = self._is_missed(tick - self.since, floor)
            if not missed:
                self._missed_since = None
            elif self._missed_since is None:
                self._missed_since = tick
            # A thermostat is judged by the floor, and one wild reading of that proves nothing.
            wait_s = _STAYS_S if self.may_rest else 0.0
            self.out = missed and tick - (self._missed_since or tick) >= wait_s

    def _is_missed(self, off_s: float, floor: FloorWarmth) -> bool:
        if not self.may_rest:
            return True
        coldest_c, target_c, _ = floor
        if coldest_c is None or target_c is None:
            return off_s > max(_PATIENCE_S, 2.0 * max(self._rests_s, default=0.0))
        below_k = target_c - coldest_c
        if not self.thermostat:
            return below_k > _MISSED_K
        if not self._on_at_c:
            return below_k > _MISSED_K and off_s >= _CYCLE_S
        rests_s = self._rests_s or (off_s,)
        if coldest_c < min(self._on_at_c) - _BELOW_K:
            return below_k > 0.0 and off_s > _LONGER * min(rests_s)
        return off_s > _LONGER * max(rests_s) and coldest_c < min(self._on_at_c) - _CLEARLY_K

    @property
    def may_rest(self) -> bool:
        """Is a thermostat known to switch it, or heard for too short to say that none does?"""
        young = self._first is None or self.since - self._first < _UNKNOWN_S
        return self.thermostat or (self.source.thermostat is None and young)

    @property
    def rest(self) -> tuple[float, float]:
        """Its last rest as a thermostat's: since when, and until when (ticks) the floor may come
        down with it. NEVER: it has had none, or is out."""
        if self.lit and self._rested_since != NEVER:
            return self._rested_since, self.since + _WARMS_S
        if self.lit is not False or not self._was_lit or self.out or not self.may_rest:
            return NEVER, NEVER
        said = self.tick + _SAID_S
        return self.since, said if self._rests_s else min(self.since + _PATIENCE_S, said)

    @property
    def thermostat(self) -> bool:
        """Does one switch it: as the grower says, else as it has shown?"""
        said = self.source.thermostat
        return self._cycles >= _CYCLES if said is None else said

    @property
    def turned_down(self) -> bool:
        """Does it draw clearly less than it has drawn, or than it is said to?"""
        rated = _WHOLE_SHARE * self.source.watts
        low = self.usual_w is not None and self.usual_w < rated
        return self.lit is True and (self._down_since is not None or low)

    def proves_lit(self, tick: float) -> bool:
        """Is it surely lit? A plug that says the very same for half an hour may be stuck."""
        return self.lit is True and tick - self._differed < _SAME_S

    def duty(self, tick: float) -> float | None:
        """The share of the last three hours (or since it is heard) in which it was lit. None: heard
        for less than an hour."""
        if self._first is None or tick - self._first < 3600.0:
            return None
        begin = max(self._first, tick - _DUTY_S)
        lit_s, at, lit = 0.0, begin, False
        for switched, now_lit in self._switched:
            if switched > begin:
                lit_s += (switched - at) * lit
                at = switched
            lit = now_lit
        return (lit_s + (tick - at) * lit) / (tick - begin)

    def resume(self) -> None:
        self._rests_s = deque(self._rests_s, _REMEMBERED)
        self._on_at_c = deque(self._on_at_c, _REMEMBERED)
        self._switched = deque(self._switched, _SWITCHED)
