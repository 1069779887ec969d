"""Changes to say something about: one of each alarm, with the facts that come with it. Read as
`from tell_samples import ...` by the tests beside it."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from support.birds import chicks_in
from support.engine_night import a_brooder, a_probe

from monitor.events import (
    AlarmName,
    Cause,
    Change,
    ChangeKind,
    Facts,
    Moment,
    Priority,
    ProbeFact,
    Reading,
)
from monitor.intake.plausible import fault_of
from monitor.site import Brooder, HeatSource, Place, Probe, Site
from monitor.units import Unit
from monitor.watch.alarm_table import TABLE
from monitor.watch.engine import Engine
from monitor.watch.status import SiteStatus

ZONE = ZoneInfo("America/Chicago")


def local(day: int, hour: int, minute: int = 0) -> float:
    """Unix seconds of a local time in February 2026."""
    return datetime(2026, 2, day, hour, minute, tzinfo=ZONE).timestamp()


NIGHT = local(11, 2, 20)


def probe(name: str, place: Place = Place.FLOOR, brooder: str = "porch") -> Probe:
    return a_probe(brooder, name, place)


def site(units: Unit = Unit.CELSIUS) -> Site:
    porch = replace(a_brooder(), probes=(probe("floor"), probe("cool end", Place.COOL_END)))
    shed = Brooder(
        name="shed",
        length_m=2,
        width_m=1,
        height_m=0.6,
        probes=(probe("floor", brooder="shed"),),
        heat=(HeatSource(name="plate", kind="plate", watts=100),),
    )
    return Site(name="Hillside", timezone=ZONE, units=units, brooders=(porch, shed))


def heated(*sources: tuple[str, float]) -> Site:
    """The same site, the porch's heat made up of these kinds and watts."""
    here = site()
    heat = tuple(
        HeatSource(name=f"{kind} {number}", kind=kind, watts=watts)
        for number, (kind, watts) in enumerate(sources, 1)
    )
    porch = replace(here.brooders[0], heat=heat)
    return replace(here, brooders=(porch, *here.brooders[1:]))


_SITE_WIDE = (
    AlarmName.BROKER_LOST,
    AlarmName.NAME_TAKEN,
    AlarmName.MAINS_LOST,
    AlarmName.BATTERY_LOW,
    AlarmName.STORAGE_FAULT,
    AlarmName.DELIVERY_FAULT,
    AlarmName.MIRROR_FAULT,
    AlarmName.CLOCK_FAULT,
    AlarmName.WAS_DOWN,
)
_BAND = Facts(target_c=35.0, low_c=32.2, high_c=37.8, chill_c=29.4, age_days=3)
_TWO = [
    ProbeFact(probe="porch/floor", place="floor", temp_c=31.0),
    ProbeFact(probe="porch/cool end", place="cool-end", temp_c=None),
]

FACTS: dict[AlarmName, Facts] = {
    AlarmName.COLD: Facts(
        **_BAND,
        temp_c=31.8,
        rate_c_per_h=-4.1,
        since=NIGHT - 200,
        minutes_to_chill=38.0,
        minutes_to_chill_low=24.0,
        minutes_to_chill_high=71.0,
        source="west lamp",
        source_sure=True,
        source_watts=250.0,
        probes=_TWO,
    ),
    AlarmName.HOT: Facts(**_BAND, temp_c=38.4, rate_c_per_h=2.0, since=NIGHT - 200),
    AlarmName.CHILL: Facts(
        **_BAND,
        temp_c=28.9,
        rate_c_per_h=-3.0,
        since=NIGHT - 40,
        source="west lamp",
        source_sure=False,
        suspects=["west lamp", "east lamp"],
        source_watts=250.0,
    ),
    AlarmName.OVERHEAT: Facts(**_BAND, temp_c=41.2, since=NIGHT - 40),
    AlarmName.HEAT_LOSS: Facts(
        **_BAND,
        temp_c=33.9,
        rate_c_per_h=-4.2,
        since=NIGHT - 360,
        minutes_to_chill=66.0,
        minutes_to_chill_low=42.0,
        minutes_to_chill_high=130.0,
        source="west lamp",
        source_sure=True,
        source_watts=250.0,
    ),
    AlarmName.COLD_NIGHT: Facts(
        **_BAND,
        temp_c=34.6,
        lowest_c=29.8,
        lowest_low_c=28.6,
        lowest_high_c=31.0,
        learned=0.8,
        lowest_at=local(11, 5, 30),
        leaves_band_at=local(11, 3, 10),
        chance=0.83,
        missing_watts=72.0,
        outside_low_c=-12.0,
        outside_from="forecast, 2 h old",
        mend=[
            "cover it with plywood with cardboard on it, clear of the lamps, leaving a gap for "
            "fresh air",
            "hang one more lamp of 100 W",
        ],
    ),
    AlarmName.NO_READINGS: Facts(
        target_c=35.0, temp_c=34.1, since=NIGHT - 900, silent_s=900.0, probes=_TWO[1:]
    ),
    AlarmName.PROBE_FAULT: Facts(reason=fault_of(85.0) or ""),
    AlarmName.UNWATCHED: Facts(
        reason="it has birds and no floor probe in use",
        detail="Put a probe on the floor, at the edge of the heat.",
    ),
    AlarmName.BROKER_LOST: Facts(since=NIGHT - 60, reason="the connection was refused"),
    AlarmName.NAME_TAKEN: Facts(
        reason="another service seems to use the client id brooder-Hillside at broker.local:8883"
    ),
    AlarmName.METER_SILENT: Facts(meter="west lamp", quantity="power", silent_s=1400.0),
    AlarmName.AIR: Facts(
        meter="humidity", quantity="humidity", value=81.0, right_low=30.0, right_high=75.0
    ),
    AlarmName.LEFT_OPEN: Facts(since=NIGHT - 1200),
    AlarmName.MAINS_LOST: Facts(battery_left_s=2400.0),
    AlarmName.BATTERY_LOW: Facts(battery_left_s=240.0),
    AlarmName.STORAGE_FAULT: Facts(reason="the card is full"),
    AlarmName.DELIVERY_FAULT: Facts(contact="my phone", reason="no connection to the service"),
    AlarmName.MIRROR_FAULT: Facts(
        reason="there is no bucket brooder of farm at http://server:8086; make the bucket"
    ),
    AlarmName.CLOCK_FAULT: Facts(jump_s=5400.0),
    AlarmName.WAS_DOWN: Facts(
        down_from=NIGHT - 4000, down_to=NIGHT - 20, before_c=34.8, after_c=31.9
    ),
    AlarmName.STEP_DOWN: Facts(
        target_c=35.0,
        next_target_c=32.2,
        step_at=local(12, 0, 0),
        age_days=7,
        origin="common practice",
    ),
    AlarmName.CROWDED: Facts(
        head_count=98, area_per_bird_m2=0.023, needed_area_per_bird_m2=0.046, origin="a handbook"
    ),
    AlarmName.LOSSES_HIGH: Facts(
        losses=4, losses_percent=4.0, usual_percent=1.0, age_days=3, since=local(8, 12)
    ),
    AlarmName.READY_TO_MOVE: Facts(
        age_days=29,
        reason="ready",
        low_c=10.0,
        outside_low_c=12.5,
        outside_from="forecast",
        origin="common practice",
    ),
}

CAUSES = {
    AlarmName.COLD: Cause.HEAT_SOURCE,
    AlarmName.CHILL: Cause.HEAT_SOURCE,
    AlarmName.HEAT_LOSS: Cause.HEAT_SOURCE,
    AlarmName.OVERHEAT: Cause.OVERHEAT,
    AlarmName.COLD_NIGHT: Cause.COLD_NIGHT,
    AlarmName.NO_READINGS: Cause.SILENCE,
    AlarmName.PROBE_FAULT: Cause.SENSOR,
}

_CLOSING = Facts(temp_c=34.2, target_c=35.0, extreme_c=30.1, lasted_s=2280.0)


def change(
    alarm: AlarmName,
    kind: ChangeKind = ChangeKind.RAISED,
    *,
    at: float = NIGHT,
    brooder: str | None = "porch",
    occurrence: str | None = None,
    priority: Priority | None = None,
    cause: Cause | None = None,
    facts: Facts | None = None,
) -> Change:
    """One change; whatever is not said is usual for that alarm."""
    if alarm in _SITE_WIDE:
        brooder = None
    if facts is None:
        facts = Facts(**FACTS[alarm])
        if kind is ChangeKind.CLEARED:
            facts = Facts(**_CLOSING)
            if alarm in (AlarmName.HOT, AlarmName.OVERHEAT):
                facts["extreme_c"] = 41.9
            if alarm in _SITE_WIDE or TABLE[alarm].priority is Priority.ADVICE:
                facts = Facts(lasted_s=2280.0)
            facts["since"] = at - 2280
        elif kind is ChangeKind.ACKNOWLEDGED:
            facts = Facts(by="Ann")
        elif kind is ChangeKind.SHELVED:
            facts = Facts(by="Ann", until=NIGHT + 3600, note="lamp is being changed")
    return Change(
        at=at,
        brooder=brooder,
        alarm=alarm,
        change=kind,
        priority=priority or TABLE[alarm].priority,
        cause=cause or CAUSES.get(alarm, Cause.UNKNOWN),
        probe="porch/floor" if alarm is AlarmName.PROBE_FAULT else None,
        occurrence=occurrence or f"{brooder or 'site'}/{alarm.value}/{int(NIGHT)}",
        facts=facts,
    )


def chilled() -> tuple[Engine, SiteStatus, float]:
    """An engine whose porch is too cold, its status, and when."""
    start = Moment(NIGHT, NIGHT)
    engine = Engine(site(), start)
    placed = chicks_in(NIGHT, number=1)
    engine.entry(placed, start)
    at = NIGHT
    for _ in range(20):
        at += 30.0
        engine.reading(Reading(at, at, "porch/floor", 25.0))
    return engine, engine.status(Moment(at, at)), at
