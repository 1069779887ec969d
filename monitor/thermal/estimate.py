"""The thermal side of one brooder as the engine uses it: fed, asked, and put aside if it fails.

The estimate is an aid: whatever goes wrong in it, the band alarms go on, and the status says why
there is no estimate; the service takes that to the log, the page and `brooder check`. Owned by
watch.brooder_watch."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, tzinfo
from typing import Annotated, Any, NamedTuple, TypeVar

from pydantic import WrapSerializer, WrapValidator

from monitor.brooding.batch import Batch
from monitor.brooding.heat_balance import BoxChange, Flock, changed, prior, with_watts
from monitor.brooding.night_hours import NIGHT_TO_H, hour_after
from monitor.events import Moment
from monitor.kept import Kept, Tick, part
from monitor.site import Brooder
from monitor.thermal.by_size import BySize, by_size
from monitor.thermal.coming_night import CLEAR_CHANCE, LowAt
from monitor.thermal.diagnosis import Diagnosis, HeatKnown, Interval, Learned, Outlook
from monitor.thermal.forecast_share import ForecastShare
from monitor.thermal.mending import Mends
from monitor.thermal.outside_curve import Skies, from_low
from monitor.thermal.thermal_watch import ThermalWatch

T = TypeVar("T")
FORECAST_MAX_AGE_S = 36 * 3600.0  # an older one says nothing of tonight
LOWEST_AT_H = 6  # the coldest hour, about sunrise, where a grower names only the low
_EDGE_S = 900.0  # steps come on the quarter hour in every time zone
_DAY_S, _BLOCK_S = 86400.0, 3 * 3600.0
_WHOLE_DAY = 8  # blocks: a night was among them
_EVENING_ABOVE_LOW_K = 6.0  # where nothing measures the outside: an evening over its low


class Forecast(NamedTuple):
    """Expected outside temperatures, (Unix s, degC), and when they were got (Unix s)."""

    pairs: tuple[tuple[float, float], ...]
    got_at: float


class Nights(NamedTuple):
    """The coldest that is to be reckoned with in the coming nights, degC, and in words where that
    is from. `origin` None: no more than a bound was seen, the nights may be colder. `mornings_at`:
    when those nights end, Unix s, where a forecast says so."""

    lows_c: tuple[float, ...]
    origin: str | None
    mornings_at: tuple[float, ...] = ()


class Wish(NamedTuple):
    """What somebody asks of tonight: what if?"""

    outside_low_c: float | None = None
    cover: str | None = None
    extra_watts: float = 0.0


def _real_alone(it: object, as_json: Callable[[object], Any]) -> Any:
    return as_json(it) if isinstance(it, ThermalWatch) else None


def _if_it_fits(state: Any, thawed: Callable[[Any], ThermalWatch | None]) -> ThermalWatch | None:
    with suppress(ValueError):
        return thawed(state)
    return None


@part
class Estimate(Kept):
    """One brooder's estimator, guarded. `spare_w`: what the box's circuit can carry besides its own
    heat."""

    outside_c: float | None = None  # the last outside reading
    # What was measured outside in the last day: when each block began, and its lowest.
    _outside_lows: list[tuple[Tick, float]]
    _share: ForecastShare
    # One of another form begins anew, and the rest goes on.
    estimator: Annotated[
        ThermalWatch | None, WrapSerializer(_real_alone), WrapValidator(_if_it_fits)
    ]

    def __init__(
        self, brooder: Brooder, estimator: ThermalWatch | None, zone: tzinfo, *, spare_w: float
    ) -> None:
        self._brooder = brooder
        self._zone = zone
        self._spare_w = spare_w
        self._flock = Flock()
        self.bird_watts = 0.0  # sensible, of all birds
        self.estimator = estimator
        self.fault: str | None = None  # why it was put aside
        self.error: Exception | None = None  # the same, with where it happened
        self._lost = False  # it has failed since the last reading: what it said holds no longer
        self._share, self._outside_lows = ForecastShare(), []

    @property
    def diagnosis(self) -> Diagnosis:
        """What the floor is doing, and why."""
        return self.guarded(lambda it: it.diagnosis) or Diagnosis()

    @property
    def learned(self) -> Learned | None:
        """What is known of the box by now."""
        return self.guarded(lambda it: it.learned)

    def observe(self, tick: float, probe: str, temp_c: float) -> bool:
        """An inside reading: is the diagnosis another one now?"""
        lost, self._lost = self._lost, False
        if self.estimator is None:
            return lost
        try:
            return self.estimator.observe(tick, probe, temp_c) is not None or lost
        except Exception as error:
            self._give_up(error)
            return True

    def observe_outside(self, tick: float, temp_c: float) -> None:
        """An outside reading."""
        self.outside_c = temp_c
        self._remember(tick, temp_c)
        if self.estimator is None:
            return
        try:
            self.estimator.observe_outside(tick, temp_c)
        except Exception as error:
            self._give_up(error)

    def heat_is(self, tick: float, known: HeatKnown) -> bool:
        """What is measured of heat and cover: is the diagnosis another one now?"""
        return self.guarded(lambda it: it.heat_is(tick, known)) is not None

    @property
    def w_per_k(self) -> float | None:
        """What the box loses for each kelvin above the outside, as its plugs have shown."""
        return self.guarded(lambda it: it.w_per_k)

    def leave_out(self, probe: str) -> None:
        """An inside probe is not in use any more."""
        self.guarded(lambda it: it.leave_out(probe))

    def birds(
        self,
        batch: Batch | None,
        age_days: float | None,
        target_c: float | None,
        *,
        low_c: float | None,
        high_c: float | None,
    ) -> None:
        """What is in the box, how old, and what it should have: its target, and the band's edges:
        the lower one as it may be already, the upper one as it may be still."""
        heads = 0 if batch is None else batch.head_count()
        kind = None if batch is None else batch.kind
        start = prior(self._brooder, heads, age_days or 0.0, kind)
        self.bird_watts = start.bird_watts
        self._flock = Flock(kind=kind or Flock().kind, age_days=age_days or 0.0, head_count=heads)
        self.guarded(lambda it: it.prior_is(start))
        warm_c = None if high_c is None else high_c - self._brooder.limits.band_c
        self.guarded(lambda it: it.target_is(target_c, warm_c, low_c))

    def hour(self, tick: float, at: float) -> None:
        """What the clock on the wall shows."""
        shown = datetime.fromtimestamp(at, self._zone)
        hour = shown.hour + shown.minute / 60.0 + shown.second / 3600.0
        self.guarded(lambda it: it.hour_is(tick, hour))

    def foretold(self, now: Moment, forecast: Forecast | None) -> None:
        """The newest forecast, beside what is measured: every quarter of an hour."""
        if forecast is not None:
            shown = datetime.fromtimestamp(now.at, self._zone)
            hour = shown.hour + shown.minute / 60.0
            self._share.see(now, forecast.pairs, self.outside_c, hour)

    def acted(self, tick: float) -> None:
        """The grower did something to the box or the birds."""
        self.guarded(lambda it: it.grower_acted(tick))

    def heat_changed(self, tick: float, since: float | None) -> None:
        """The grower changed the heat at tick `since`; None: did not, that entry is taken back."""
        self.guarded(lambda it: it.heat_changed(tick, since))

    def minutes_to(self, limit_c: float, tick: float) -> Interval | None:
        """Minutes until the floor reaches a limit."""
        return self.guarded(lambda it: it.minutes_to(limit_c, tick))

    def tonight(
        self, now: Moment, *, low_at: LowAt, forecast: Forecast | None, wish: Wish
    ) -> Outlook | None:
        """Until the coming morning: will the floor leave the band, whose lower edge is `low_at` a
        Unix time? None: nothing is known of the outside, or of the floor. Once the coldest hour has
        passed, a low that is named is that of the next night, and the morning is the one after."""
        from_at = now.at
        if wish.outside_low_c is not None:
            from_at = hour_after(now.at, LOWEST_AT_H, self._zone)
        until_at = hour_after(from_at, NIGHT_TO_H, self._zone)
        skies = self._skies(now, until_at, forecast, wish.outside_low_c)
        if skies is None:
            return None

        def edge(at: float) -> float:
            return low_at(
                at // _EDGE_S * _EDGE_S
            )  # whole quarters: whoever is asked remembers them

        night = self.guarded(lambda it: it.coming_night(now, skies, until_at, low_at=edge))
        if night is None:
            return None

        flock = self._flock  # as it is now: what would help is read later

        def change(wished: Brooder) -> BoxChange:
            return changed(self._brooder, wished, flock)

        def chance(wished: Brooder) -> float | None:
            return self._tried(lambda: night.chance(change(wished)))

        covered = replace(self._brooder, cover=wish.cover or self._brooder.cover)
        wished = change(with_watts(covered, wish.extra_watts))
        outlook = self._tried(lambda: night.outlook(wished))
        asks_what_if = wish.cover is not None or wish.extra_watts != 0.0
        if outlook is None or asks_what_if or outlook.chance < CLEAR_CHANCE:
            return outlook
        mend = Mends(self._brooder, chance, flock=flock, spare_w=self._spare_w)
        return replace(outlook, mend=mend)

    def by_size(
        self,
        now: Moment,
        *,
        target_c: float,
        low_c: float,
        forecast: Forecast | None,
        wish: Wish,
    ) -> BySize:
        """The same by the size of the box and its heat alone, for a target and its band's edge."""
        until_at = hour_after(now.at, NIGHT_TO_H, self._zone)
        skies = self._skies(now, until_at, forecast, wish.outside_low_c)
        outside = None
        if skies is not None and not skies[0].by_floor:
            sky = max(skies, key=lambda one: one.weight)
            outside = min(point.temp_c for point in sky.points), sky.source

        def look(wished: Brooder) -> BySize:
            return by_size(wished, self._flock, target_c=target_c, low_c=low_c, outside=outside)

        covered = replace(self._brooder, cover=wish.cover or self._brooder.cover)
        found = look(with_watts(covered, wish.extra_watts))
        coldest = found.coldest
        asks_what_if = wish.cover is not None or wish.extra_watts != 0.0
        if coldest is None or asks_what_if or coldest.chance < CLEAR_CHANCE:
            return found

        def try_(wished: Brooder) -> float | None:
            there = look(wished).coldest
            return None if there is None else there.chance

        mend = tuple(Mends(self._brooder, try_, flock=self._flock, spare_w=self._spare_w))
        return replace(found, coldest=replace(coldest, mend=mend))

    def nights(self, now: Moment, forecast: Forecast | None, outlook: Outlook | None) -> Nights:
        """How cold the coming nights are, by the forecast; without one by last night, and by
        tonight's outlook where the outside is measured."""
        foretold = coming_lows(forecast, now.at, self._zone)
        if foretold:
            mornings_at, lows_c = zip(*foretold, strict=True)
            return Nights(lows_c, "forecast", mornings_at)
        blocks = [low for low in self._outside_lows if low[0] > now.tick - _DAY_S - _BLOCK_S]
        lows = [temp_c for _, temp_c in blocks]
        origin = "by last night" if len(blocks) >= _WHOLE_DAY else None
        if outlook is not None and lows:
            lows.append(outlook.outside_low_c)
            origin = "by tonight's outlook" if origin is None else "by last night and tonight"
        return Nights(tuple(lows), origin)

    def _remember(self, tick: float, temp_c: float) -> None:
        blocks = self._outside_lows
        if not blocks or tick - blocks[-1][0] >= _BLOCK_S:
            while blocks and blocks[0][0] <= tick - _DAY_S - _BLOCK_S:
                del blocks[0]
            blocks.append((tick, temp_c))
        elif temp_c < blocks[-1][1]:
            blocks[-1] = (blocks[-1][0], temp_c)

    def _skies(
        self, now: Moment, until_at: float, forecast: Forecast | None, low_c: float | None
    ) -> Skies | None:
        if low_c is not None:
            start_c = low_c + _EVENING_ABOVE_LOW_K if self.outside_c is None else self.outside_c
            return (from_low(now, start_c, low_c, hour_after(now.at, LOWEST_AT_H, self._zone)),)
        if forecast is not None and now.at - forecast.got_at <= FORECAST_MAX_AGE_S:
            age_s = max(0.0, now.at - forecast.got_at)
            curve = self._share.curve(now, until_at, age_s)
            if curve is not None:
                return (curve,)
        return self.guarded(lambda it: it.skies(now, until_at))

    def guarded(self, work: Callable[[ThermalWatch], T]) -> T | None:
        """`work` on the estimator; None where there is none, or once it has failed."""
        estimator = self.estimator
        return None if estimator is None else self._tried(lambda: work(estimator))

    def _tried(self, work: Callable[[], T]) -> T | None:
        try:
            return work()
        except Exception as error:
            self._give_up(error)
            return None

    def _give_up(self, error: Exception) -> None:
        self._lost = True
        self.fault = f"{type(error).__name__}: {error}"
        self.error = error
        self.estimator = None

    def _take_over(self, before: "Estimate") -> None:
        """An estimator that had failed gets another chance."""
        mine = self.estimator
        super()._take_over(before)
        self.estimator = mine


def coming_lows(forecast: Forecast | None, at: float, zone: tzinfo) -> list[tuple[float, float]]:
    """The morning (Unix s) and the lowest of each of the next three nights that the forecast
    reaches."""
    if forecast is None or at - forecast.got_at > FORECAST_MAX_AGE_S:
        return []
    lows = []
    morning = hour_after(at, NIGHT_TO_H, zone)
    for _ in range(3):
        night: Sequence[float] = [
            temp_c for when, temp_c in forecast.pairs if morning - 14 * 3600.0 <= when <= morning
        ]
        if len(night) > 3:
            lows.append((morning, min(night)))
        morning = hour_after(morning, NIGHT_TO_H, zone)
    return lows
