"""The outside temperature of the coming hours, from whatever is known. Called by `thermal`, which
remembers what the outside probe said, and by the engine and `brooder tonight` for the other ways.

In falling order of trust: a low the grower names, a forecast, the outside probe's own cooling laid
over yesterday's curve. Each curve carries how wrong it may be, growing with the hours ahead; the
spreads are common practice for a short forecast, checked on simulated and real weather in tests."""

from bisect import bisect_right
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, exp, hypot, pi, sqrt

from monitor.events import Moment, State
from monitor.thermal.night_cooling import fit_cooling

_SLOT_S = 1800.0
_SLOTS = 100  # two days and an hour
_DAY_S = 86400.0
_LIKE_S, _LIKE_K = 5 * 3600.0, 0.5  # alike: within half a kelvin of parallel for five hours


@dataclass(frozen=True, slots=True, kw_only=True)
class OutsideCurve:
    """`points` are (Unix s, degC) in time order; between them straight, beyond them level."""

    points: tuple[tuple[float, float], ...]
    from_at: float  # when it was made: the spread grows from here
    sd_k: float  # spread at once
    sd_k_per_h: float  # and how it grows
    sd_most_k: float
    source: str  # for the grower: "the low you gave", "forecast, 3 h old", ...

    def at(self, at: float) -> float:
        """Expected outside temperature."""
        points = self.points
        index = bisect_right(points, (at, 1e9))
        if index == 0:
            return points[0][1]
        if index == len(points):
            return points[-1][1]
        before, after = points[index - 1], points[index]
        share = (at - before[0]) / (after[0] - before[0])
        return before[1] + share * (after[1] - before[1])

    def lowered(self, by_k: float, share: float, source: str) -> "OutsideCurve":
        """The same curve, colder all along, with a share of its coming changes."""
        now_c = self.points[0][1]
        points = tuple((at, now_c + share * (c - now_c) - by_k) for at, c in self.points)
        return replace(self, points=points, source=source)

    def sd(self, at: float) -> float:
        """Its standard deviation."""
        hours = max(0.0, at - self.from_at) / 3600.0
        return min(self.sd_most_k, hypot(self.sd_k, self.sd_k_per_h * hours))


def from_low(now: Moment, now_c: float, low_c: float, low_at: float) -> OutsideCurve:
    """Down to `low_c` by `low_at` along half a cosine (fast in the evening, level before dawn)."""
    span_s = max(_SLOT_S, low_at - now.at)
    points = [
        (now.at + span_s * k / 24.0, low_c + (now_c - low_c) * (1.0 + cos(pi * k / 24.0)) / 2.0)
        for k in range(25)
    ]
    points.append((low_at + 4 * 3600.0, low_c + 0.5 * abs(now_c - low_c)))
    return OutsideCurve(
        points=tuple(points),
        from_at=now.at,
        sd_k=0.8,
        sd_k_per_h=0.0,
        sd_most_k=0.8,
        source="the low you gave",
    )


def from_forecast(
    now: Moment, forecast: Sequence[tuple[float, float]], age_s: float, now_c: float | None
) -> OutsideCurve | None:
    """A forecast of (Unix s, degC), pulled onto what the outside probe says now (`now_c`): the
    difference between site and forecast fades over six hours but not to nothing. None: it does not
    reach six hours ahead."""
    points = sorted(forecast)
    if len(points) < 2 or points[-1][0] < now.at + 6 * 3600.0 or points[0][0] > now.at + 3 * 3600.0:
        return None
    hours = age_s / 3600.0
    bare = OutsideCurve(
        points=tuple(points),
        from_at=now.at,
        sd_k=sqrt(1.0 + 0.04 * hours),
        sd_k_per_h=0.08,
        sd_most_k=3.0,
        source="forecast, under an hour old" if hours < 1.0 else f"forecast, {hours:.0f} h old",
    )
    if now_c is None:
        return bare
    off_k = now_c - bare.at(now.at)
    pulled = [(now.at, now_c)]
    pulled += [
        (at, temp_c + off_k * (0.4 + 0.6 * exp(-(at - now.at) / 21600.0)))
        for at, temp_c in points
        if at > now.at
    ]
    return OutsideCurve(
        points=tuple(pulled),
        from_at=now.at,
        sd_k=0.5,
        sd_k_per_h=0.09,
        sd_most_k=bare.sd_most_k,
        source=bare.source,
    )


class OutsideHistory:
    """What the outside probe said, as half-hour means of the last two days; and beside it the rise
    the box held, so that sun and wind of the hour are known from yesterday. O(1) in memory."""

    __slots__ = ("_count", "_origin", "_rise", "_slot", "_sum", "_temps", "last_c", "last_tick")

    def __init__(self) -> None:
        self._temps: deque[tuple[int, float]] = deque(maxlen=_SLOTS)
        self._rise: deque[tuple[int, float]] = deque(maxlen=_SLOTS)
        self._origin = 0.0  # where half hours are counted from; moves with the tick at a restart
        self._slot = -1
        self._sum = 0.0
        self._count = 0
        self.last_c: float | None = None
        self.last_tick = 0.0

    def add(self, tick: float, temp_c: float) -> None:
        """One reading of the outside probe."""
        slot = int((tick - self._origin) // _SLOT_S)
        if slot != self._slot:
            if self._count:
                self._temps.append((self._slot, self._sum / self._count))
            self._slot = slot
            self._sum = 0.0
            self._count = 0
        self._sum += temp_c
        self._count += 1
        self.last_c = temp_c
        self.last_tick = tick

    def add_rise(self, tick: float, rise_k: float) -> None:
        """The rise the box holds now; the latest of each half hour is kept."""
        slot = int((tick - self._origin) // _SLOT_S)
        if self._rise and self._rise[-1][0] >= slot:
            self._rise[-1] = (slot, rise_k)
        else:
            self._rise.append((slot, rise_k))

    def rise_yesterday(self, tick: float) -> float | None:
        """The rise held a day before `tick`."""
        return _slot_value(self._rise, tick - self._origin - _DAY_S)

    def curve(self, now: Moment, until_at: float) -> OutsideCurve | None:
        """The coming hours from own cooling and yesterday. None: nothing heard outside lately."""
        if self.last_c is None or now.tick - self.last_tick > 3 * 3600.0:
            return None
        now_c = self._mean_since(now.tick - 2700.0)
        slope = self._slope(now.tick)
        cooling = fit_cooling(self._points(now.tick - 10.0 * 3600.0))
        dawn = self._coldest(now.tick) if cooling is None else cooling.start_s + 13.0 * 3600.0
        yesterday = _slot_value(self._temps, now.tick - self._origin - _DAY_S)
        unlike = self._unlike_yesterday(now.tick)
        points = [(now.at, now_c)]
        ahead = _SLOT_S
        reach = max(_SLOT_S, until_at - now.at)
        while ahead <= reach + _SLOT_S:
            if cooling is None:
                own = now_c + slope * 3.0 * (1.0 - exp(-ahead / (3.0 * 3600.0)))
            else:
                end = max(now.tick, min(now.tick + ahead, dawn))
                own = now_c - cooling.further_k(now.tick, end)
            then = _slot_value(self._temps, now.tick - self._origin - _DAY_S + ahead)
            if yesterday is None or then is None:
                temp_c = own
            else:
                temp_c = unlike * own + (1.0 - unlike) * (now_c + (then - yesterday))
            points.append((now.at + ahead, temp_c))
            ahead += _SLOT_S
        known = yesterday is not None
        return OutsideCurve(
            points=tuple(points),
            from_at=now.at,
            sd_k=0.3,
            sd_k_per_h=0.10 if known else 0.16,
            sd_most_k=3.5 if known else 4.5,
            source="the outside probe's cooling and yesterday's curve"
            if known
            else "the outside probe's own cooling",
        )

    def _mean_since(self, tick: float) -> float:
        temps = [temp_c for _, temp_c in self._points(tick)]
        if self._count:
            temps.append(self._sum / self._count)
        return temps[-1] if temps else float(self.last_c or 0.0)

    def _points(self, since: float) -> list[tuple[float, float]]:
        return [
            (self._origin + (slot + 0.5) * _SLOT_S, temp_c)
            for slot, temp_c in self._temps
            if self._origin + (slot + 0.5) * _SLOT_S >= since
        ]

    def _unlike_yesterday(self, tick: float) -> float:
        """0: the last hours went as yesterday's did; towards 1: they did not. By how far the two
        strayed from being parallel."""
        apart = []
        for at, temp_c in self._points(tick - _LIKE_S):
            then = _slot_value(self._temps, at - self._origin - _DAY_S)
            if then is not None:
                apart.append(temp_c - then)
        if len(apart) < 4:
            return 0.5
        mean = sum(apart) / len(apart)
        stray = sum((a - mean) ** 2 for a in apart) / len(apart)
        return stray / (stray + _LIKE_K**2)

    def _coldest(self, tick: float) -> float:
        """When it will be coldest: as yesterday, or in half a day."""
        past = self._points(tick - _DAY_S)
        if len(past) < 44:
            return tick + 0.5 * _DAY_S
        return min(past, key=lambda point: point[1])[0] + _DAY_S

    def _slope(self, tick: float) -> float:
        """K per hour over the last two and a half hours, by least squares."""
        pairs = [(at - tick, temp_c) for at, temp_c in self._points(tick - 2.5 * 3600.0)]
        if len(pairs) < 3:
            return 0.0
        mean_t = sum(t for t, _ in pairs) / len(pairs)
        mean_c = sum(c for _, c in pairs) / len(pairs)
        across = sum((t - mean_t) ** 2 for t, _ in pairs)
        return 3600.0 * sum((t - mean_t) * (c - mean_c) for t, c in pairs) / across

    def state(self) -> State:
        """What is needed to go on after a restart."""
        return {
            "temps": [list(pair) for pair in self._temps],
            "rise": [list(pair) for pair in self._rise],
            "origin": self._origin,
            "slot": self._slot,
            "sum": self._sum,
            "count": self._count,
            "last_c": self.last_c,
            "last_tick": self.last_tick,
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self._origin = float(state["origin"]) + shift_s
        self._temps.clear()
        self._temps.extend((int(slot), float(temp)) for slot, temp in state["temps"])
        self._rise.clear()
        self._rise.extend((int(slot), float(rise)) for slot, rise in state["rise"])
        self._slot = int(state["slot"])
        self._sum = float(state["sum"])
        self._count = int(state["count"])
        self.last_c = None if state["last_c"] is None else float(state["last_c"])
        self.last_tick = float(state["last_tick"]) + shift_s


def _slot_value(pairs: deque[tuple[int, float]], tick: float) -> float | None:
    """The value at `tick`, between the middles of the half hours around it; None where it is not
    known within an hour."""
    at = tick / _SLOT_S - 0.5
    before: tuple[int, float] | None = None
    for pair in pairs:
        if pair[0] >= at:
            if before is None:
                return pair[1] if pair[0] - at <= 1.0 else None
            if pair[0] - before[0] > 4:
                return None
            share = (at - before[0]) / (pair[0] - before[0])
            return before[1] + share * (pair[1] - before[1])
        before = pair
    return before[1] if before is not None and at - before[0] <= 1.5 else None
