"""A simulated night watched by the whole engine, and by a plain threshold alarm beside it: what was
told, when, and what was true. Used by the benchmark and by the tests of the thermal estimate."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from support.birds import chicks_in
from support.boxmodel import DAY_S
from support.scenarios import Night

from monitor.brooding.heat_balance import prior
from monitor.events import Change, ChangeKind, Entry, Moment, Reading
from monitor.site import Brooder, Site
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.thermal_watch import ThermalWatch
from monitor.units import Unit
from monitor.watch.engine import Engine

PLAIN_DELAY_S = 300.0
DAY_0 = datetime(
    2026, 2, 9, tzinfo=UTC
).timestamp()  # a scenario's seconds since midnight begin here


@dataclass
class Watched:
    """What the engine told of one night."""

    night: Night
    changes: list[Change]
    engine: Engine

    def raised(self, *names: str, after: float = -1e18, until: float = 1e18) -> list[Change]:
        """Raised alarms of these names (any, if none is named), at scenario seconds."""
        return [
            change
            for change in self.changes
            if change.change is ChangeKind.RAISED
            and (not names or change.alarm.value in names)
            and after <= change.at - DAY_0 <= until
        ]

    def first(self, *names: str, after: float = -1e18) -> float | None:
        """Scenario second of the first of them."""
        found = self.raised(*names, after=after)
        return found[0].at - DAY_0 if found else None


def site_of(night: Night) -> Site:
    """The site with its one box; hatched so that the age is right on the watched night."""
    return Site(
        name="Hillside", timezone=ZoneInfo("UTC"), units=Unit.CELSIUS, brooders=(night.brooder,)
    )


def readings(night: Night) -> Iterator[Reading]:
    """All readings of the night."""
    for tick, key, temp_c in night.run.samples:
        yield Reading(DAY_0 + tick, DAY_0 + tick, key, temp_c)


def placed(night: Night) -> Entry:
    """The birds go in at the beginning."""
    first_day = datetime.fromtimestamp(DAY_0 + night.watch_from, UTC).date().toordinal()
    return chicks_in(
        DAY_0 + night.from_s,
        number=1,
        count=night.head_count,
        hatched=date.fromordinal(first_day - int(night.age_days)).isoformat(),
    )


def _thermal(brooder: Brooder, outside_known: bool) -> ThermalWatch:
    made = ThermalWatch(brooder, prior(brooder), outside_known)
    made.hour_is(DAY_0, 0.0)
    return made


def watch(night: Night, until: float | None = None) -> Watched:
    """Let the engine watch it all, or until that scenario second."""
    start = Moment(DAY_0 + night.from_s, DAY_0 + night.from_s)
    engine = Engine(site_of(night), start, make_estimator=_thermal)
    changes = list(engine.entry(placed(night), start))
    forecast = tuple((DAY_0 + at, temp_c) for at, temp_c in night.forecast)
    heard_at = DAY_0 + night.watch_from - 3600.0
    for reading in readings(night):
        if forecast and reading.at >= heard_at:
            changes += engine.forecast_is(forecast, heard_at, Moment(reading.at, reading.tick))
            forecast = ()
        changes += engine.reading(reading)
        if until is not None and reading.at - DAY_0 >= until:
            break
    changes += engine.advance(Moment(reading.at, reading.tick))
    return Watched(night, changes, engine)


def outlook_at(night: Night, at: float) -> tuple[Outlook, float] | None:
    """What was expected of the night at that scenario second, and the lowest true floor after it,
    until eight in the morning."""
    seen = watch(night, until=at)
    outlook = seen.engine.tonight("porch", Moment(DAY_0 + at, DAY_0 + at)).outlook
    if outlook is None:
        return None
    return outlook, night.lowest(at, night.watch_from + 14.0 * 3600.0)


def plain_alarm(night: Night, after: float) -> float | None:
    """The threshold alarm everybody has: any floor probe below the band for five minutes on end."""
    keys = {probe.key for probe in night.brooder.probes if probe.place.value == "floor"}
    since: dict[str, float] = {}
    for tick, key, temp_c in night.run.samples:
        if key not in keys:
            continue
        if temp_c < night.low_c:
            begun = since.setdefault(key, tick)
            if tick >= after and tick - begun >= PLAIN_DELAY_S:
                return tick
        else:
            since.pop(key, None)
    return None


__all__ = ["DAY_0", "DAY_S", "Watched", "plain_alarm", "readings", "site_of", "watch"]
