"""What is measured in one box beside temperature, and what follows from it: a source that is out, a
cover that is open, a meter that is silent. Owned by watch.brooder_watch; fed by watch.engine."""

from collections.abc import Iterable
from operator import itemgetter

from monitor.events import AlarmName, Cause, Facts, Measured
from monitor.kept import NEVER, Kept, Tick, part
from monitor.quantities import CONTACT, COVER, POWER
from monitor.site import Brooder, HeatSource, Meter
from monitor.thermal.diagnosis import HeatKnown
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.heat_in import Plug
from monitor.watch.heat_seen import FloorWarmth, HeatSeen
from monitor.watch.status import MeterStatus
from monitor.watch.taken_out import GONE

_COVER_KNOWN_S = 2 * 3600.0  # a switch that was not heard for so long says nothing of the cover
_UNHEARD = (
    f"the switch of the cover has not been heard for {_COVER_KNOWN_S / 3600.0:g} hours: "
    "look whether it is closed"
)


@part
class MeterWatch(Kept):
    """One meter: what it said last."""

    value: float | None = None
    at: float = 0.0  # Unix s
    tick: Tick | None = None

    def __init__(self, meter: Meter, alarm: Alarm | None) -> None:
        self.meter = meter
        self.alarm = alarm  # of its silence; None: it speaks when it is moved

    def take(self, said: Measured) -> bool:
        """Is it news? A word from before the last one is not."""
        if self.tick is not None and said.tick < self.tick:
            return False
        self.value, self.at, self.tick = said.value, said.at, said.tick
        return True

    def silent(self, tick: float, silent_s: float) -> bool:
        """Was it heard once, and not for so long now?"""
        return self.tick is not None and tick - self.tick > silent_s


@part
class BoxMeters(Kept, Owner):
    """The meters of one box."""

    _meters: dict[str, MeterWatch]
    _heat: dict[str, HeatSeen]
    _age_days: float | None = None

    def __init__(self, brooder: Brooder, register: AlarmRegister) -> None:
        self._brooder = brooder
        self._register = register
        self.left_open = self._open(AlarmName.LEFT_OPEN)
        self._meters = {
            m.key: MeterWatch(
                m,
                None if m.quantity.is_state else self._open(AlarmName.METER_SILENT, m.series),
            )
            for m in brooder.meters
        }
        # Those of the cover.
        self._switches = [m for m in self._meters.values() if m.meter.quantity in (COVER, CONTACT)]
        named = {source.name: source for source in brooder.heat}
        self._heat = {
            m.key: HeatSeen(named[m.source])
            for m in brooder.meters
            if m.quantity is POWER and m.source in named
        }
        self._air = {
            m.key: self._open(AlarmName.AIR, m.series) for m in brooder.meters if m.quantity.bounds
        }

    def _open(self, name: AlarmName, subject: str | None = None) -> Alarm:
        box = self._brooder
        return self._register.open(name, box.name, self, limits=box.limits, subject=subject)

    # -- what comes in

    def take(self, said: Measured, tick: float, floor: FloorWarmth, *, mains_off: bool) -> bool:
        """A word of one of them: does it change what is known of heat or cover?"""
        meter = self._meters[said.meter]
        before = (self.sources_out, self.cover_open(tick))
        if not meter.take(said):
            return False
        if meter.alarm is not None:
            self._register.see(meter.alarm, False, tick)
        heat = self._heat.get(said.meter)
        if heat is not None:
            heat.take(tick, said.value, floor)
        if mains_off:  # that is told by itself, once
            for each in self._heat.values():
                each.out = False
        return before != (self.sources_out, self.cover_open(tick))

    def review(
        self, tick: float, floor: FloorWarmth, heard: Iterable[float], *, age_days: float | None
    ) -> None:
        """Every quarter of an hour, and with each word of a cover. `heard`: when the box's probes
        were heard last. Who is silent while others are heard is itself at fault. `age_days` None:
        there are no birds."""
        birds, self._age_days = age_days is not None, age_days
        for key, alarm in self._air.items():
            self._register.see(alarm, self._is_off(self._meters[key], tick), tick)
        is_open = self.cover_open(tick)
        if is_open is None:  # to say that it is closed would be a guess
            self._register.stop(self.left_open, tick, _UNHEARD if self._switches else GONE)
        self._register.see(self.left_open, birds and is_open is True, tick)
        silent_s = self._brooder.limits.silent_s
        others = [*heard, *(m.tick for m in self._meters.values() if m.tick is not None)]
        alive = max(others, default=float("-inf")) > tick - silent_s
        for meter in self._meters.values():
            if meter.alarm is not None and alive:
                self._register.see(meter.alarm, birds and meter.silent(tick, silent_s), tick)
        for heat in self._heat.values():
            if tick - heat.tick <= silent_s:
                heat.judge(tick, floor)

    def _is_off(self, meter: MeterWatch, tick: float) -> bool:
        """Is it outside of what is right for the birds' age?"""
        right = None if self._age_days is None else meter.meter.quantity.right_at(self._age_days)
        silent = meter.silent(tick, self._brooder.limits.silent_s)
        if right is None or meter.value is None or silent:
            return False
        return not right.low <= meter.value <= right.high

    def answered_while_warm(self) -> None:
        """Somebody has answered that heat is out, and the floor is warm without it: it is meant."""
        for heat in self._heat.values():
            heat.meant = heat.meant or heat.out
            heat.out = False

    # -- what is known

    @property
    def sources_out(self) -> tuple[HeatSource, ...]:
        """The heat sources that draw nothing and should."""
        return tuple(heat.source for heat in self._heat.values() if heat.out)

    def cover_open(self, tick: float) -> bool | None:
        """Is a cover open? None: no switch says so, or none was heard for long."""
        said = [_is_open(m) for m in self._switches if not m.silent(tick, _COVER_KNOWN_S)]
        if True in said:
            return True
        return None if not said or None in said else False

    def known(self, tick: float, *, mains_off: bool) -> HeatKnown:
        """For the estimate: which sources are surely lit (and when that was said), which out."""
        place = {source.name: index for index, source in enumerate(self._brooder.heat)}
        rests = (heat.rest for heat in self._heat.values())
        rest = max(rests, key=itemgetter(1), default=(NEVER, NEVER))
        return HeatKnown(
            lit={
                place[heat.source.name]: heat.tick
                for heat in self._heat.values()
                if heat.proves_lit(tick)
            },
            out=frozenset(place[source.name] for source in self.sources_out),
            cover_open=self.cover_open(tick),
            mains_off=mains_off,
            drawn_w=self._drawn_w(tick),
            whole_w=sum(heat.usual_w or heat.source.watts for heat in self._heat.values())
            if any(heat.thermostat for heat in self._heat.values())
            else None,
            rests_since=rest[0],
            rests_until=rest[1],
        )

    def _drawn_w(self, tick: float) -> float | None:
        silent_s = self._brooder.limits.silent_s
        said = [heat.watts for heat in self._heat.values() if tick - heat.tick <= silent_s]
        if len(said) < len(self._brooder.heat):
            return None
        return sum(max(0.0, watts) for watts in said if watts is not None)

    def plugs(self, tick: float) -> list[Plug] | None:
        """Every source as its plug has measured it for an hour or more; None: not every one is."""
        silent_s = self._brooder.limits.silent_s
        found = []
        for heat in self._heat.values():
            duty = heat.duty(tick)
            if duty is None or heat.usual_w is None or tick - heat.tick > silent_s:
                return None
            found.append(Plug(heat.source.name, heat.usual_w, duty))
        return found if found and len(found) == len(self._brooder.heat) else None

    def source_facts(self, facts: Facts) -> None:
        """Which source is out, by its own watts: no guess."""
        out = [heat for heat in self._heat.values() if heat.out]
        if not out:
            return
        names = [heat.source.name for heat in out]
        every = len(names) == len(self._brooder.heat) > 1
        facts["source"] = "every heat source" if every else " and ".join(names)
        facts["source_sure"] = True
        facts["source_watts"] = sum(heat.source.watts for heat in out)
        facts["suspects"] = names
        facts["draws_w"] = sum(heat.watts or 0.0 for heat in out)
        facts["usual_w"] = sum(heat.usual_w or heat.source.watts for heat in out)
        facts["since"] = min(heat.since for heat in out) + self._register.offset_s

    def status(self, tick: float) -> tuple[MeterStatus, ...]:
        """Each meter as it stands."""
        silent_s = self._brooder.limits.silent_s
        return tuple(
            meter_status(m, self._heat.get(m.meter.key), tick, silent_s)
            for m in self._meters.values()
        )

    # -- Owner

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """What the alarm is about, and since when."""
        if alarm is self.left_open:
            return Description(Facts(), Cause.COVER_OPEN)
        meter = next((m for m in self._meters.values() if m.alarm is alarm), None)
        if meter is None:
            return self._describe_air(alarm)
        facts = Facts(meter=meter.meter.title, quantity=meter.meter.quantity.title)
        if meter.tick is not None:
            facts["silent_s"] = tick - meter.tick
        return Description(facts, Cause.SILENCE)

    def _describe_air(self, alarm: Alarm) -> Description:
        key = next(key for key, one in self._air.items() if one is alarm)
        meter = self._meters[key]
        facts = Facts(meter=meter.meter.title, quantity=meter.meter.quantity.kind)
        right = meter.meter.quantity.right_at(self._age_days or 0.0)
        if right is not None and meter.value is not None:
            facts["value"] = meter.value
            facts["right_low"], facts["right_high"] = right.low, right.high
        return Description(facts)

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """Which meter the alarm was about."""
        return self.describe(alarm, tick).facts


def _is_open(meter: MeterWatch) -> bool | None:
    if meter.value is None:
        return None
    return (meter.value > 0.0) is (meter.meter.quantity is COVER)


def meter_status(
    meter: MeterWatch, heat: HeatSeen | None, tick: float, silent_s: float
) -> MeterStatus:
    """One meter as it stands."""
    return MeterStatus(
        key=meter.meter.key,
        title=meter.meter.title,
        kind=meter.meter.quantity.kind,
        value=meter.value,
        at=meter.at if meter.tick is not None else None,
        silent=not meter.meter.quantity.is_state and meter.silent(tick, silent_s),
        usual_w=None if heat is None else heat.usual_w,
        lit=None if heat is None else heat.lit,
        out=heat is not None and heat.out,
        turned_down=heat is not None and heat.turned_down,
        thermostat=heat is not None and heat.thermostat,
        duty=None if heat is None else heat.duty(tick),
    )
