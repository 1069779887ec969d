"""The numbers behind a temperature alarm, for the wording and the journal. Called by
watch.temperature_alarms when an alarm is raised, passed on or cleared."""

from monitor.events import LOSES_HEAT, AlarmName, Cause, Facts, Priority
from monitor.site import Place
from monitor.thermal.coming_night import CLEAR_CHANCE
from monitor.thermal.diagnosis import PROVES_NOTHING, Interval, Outlook, Warmth
from monitor.thermal.witness import cover_or_heat
from monitor.units import Unit, from_celsius, to_celsius
from monitor.watch.alarm import Alarm, Description
from monitor.watch.alarm_table import OF_HEAT, TOO_COLD
from monitor.watch.box import Box
from monitor.watch.probe_watch import ProbeWatch

_USUAL_K = 1.0  # a box's rise above the outside wanders by so much. Common practice
# So near its target, and else so far from it, a number was meant in the other unit. Assumed.
_OTHER_UNIT_K, _OTHER_UNIT_FROM_K = 6.0, 15.0
_MINUTES_HELP = (AlarmName.COLD, AlarmName.HEAT_LOSS)  # later it is too late, and hot is not cold


def describe(box: Box, alarm: Alarm, tick: float, priority: Priority | None) -> Description:
    """The numbers at the moment it is raised. `priority` None: the table's."""
    facts = temperature_facts(box, alarm, tick)
    cause = cause_of(box, alarm)
    if alarm is box.cold_night:
        outlook = box.tonight.outlook
        if outlook is not None:
            outlook_facts(outlook, facts)
            then_c = box.needs.target_at(outlook.lowest_at)
            if then_c is not None:
                facts["target_c"] = then_c
        return Description(facts, cause)
    if cause is Cause.HEAT_SOURCE:
        source_facts(box, alarm, facts)
        box.meters.source_facts(facts)
    if cause in LOSES_HEAT and _either(box, cause):
        facts["either"] = True
    lead = lead_probe(box, alarm.rule.alarm)
    return Description(facts, cause, None if lead is None else lead.key, priority)


def _either(box: Box, cause: Cause) -> bool:
    """May it be the heat or the cover? What was told of a fall that has ended stands."""
    diagnosis, told = box.estimate.diagnosis, box.heat_loss
    sure = diagnosis.cause_sure
    if told.active and not diagnosis.heat_lost:
        sure = not told.facts.get("either")
    heard = [p.place for p in box.probes.usable()]
    return cover_or_heat(box.needs.brooder, heard, cause, sure=sure)


def temperature_facts(box: Box, alarm: Alarm, tick: float) -> Facts:
    """Now against target, how fast, how long until it is worse, and every probe of the box."""
    name, needs = alarm.rule.alarm, box.needs
    facts = Facts(probes=[p.fact() for p in box.probes.inside if not p.out_of_service])
    lead = lead_probe(box, name)
    if lead is not None and lead.temp_c is not None:
        facts["temp_c"] = lead.temp_c
    if needs.target_c is not None and needs.low_c is not None and needs.high_c is not None:
        facts["target_c"] = needs.target_c
        facts["low_c"], facts["high_c"] = needs.low_c, needs.high_c
    if needs.chill_c is not None:
        facts["chill_c"], facts["overheat_c"] = needs.chill_c, needs.overheat_c
    if needs.age_days is not None:
        facts["age_days"] = int(needs.age_days)
    if box.estimate.outside_c is not None:
        facts["outside_c"] = box.estimate.outside_c
    rate = rate_c_per_h(box, tick, name)
    if rate is not None:
        facts["rate_c_per_h"] = rate
    minutes = minutes_to_chill(box, tick) if name in _MINUTES_HELP else None
    if minutes is not None:
        facts["minutes_to_chill"] = minutes.mid
        facts["minutes_to_chill_low"] = minutes.low
        facts["minutes_to_chill_high"] = minutes.high
    if lead is not None and lead.finding is not None:
        facts["doubt"] = f"the {lead.probe.name} probe may be wrong: {lead.finding}"
    elif name in (*TOO_COLD, AlarmName.OVERHEAT) and lead is not None and _in_other_unit(lead):
        set_, sent = ("°F", "°C") if lead.probe.unit is Unit.FAHRENHEIT else ("°C", "°F")
        facts["doubt"] = (
            f"the {lead.probe.name} probe may read in another unit: what it says would be right "
            f"in {sent}, and its `unit` is {set_}"
        )
    if name in OF_HEAT:
        if cause_of(box, alarm) is Cause.OVERHEAT:
            put_minutes_to_overheat(
                facts,
                temp_c=facts.get("temp_c"),
                rate_c_per_h=rate,
                overheat_c=needs.overheat_c,
            )
        cold_ahead(box.tonight.outlook, facts, told=box.cold_night.active)
    if name is AlarmName.OVERHEAT and lead is not None and lead.burning:
        facts["reason"] = "hotter than any floor should be: a lamp may have fallen"
    return facts


def _in_other_unit(probe: ProbeWatch) -> bool:
    """Far from its target, and near it were the number in degrees of the other scale."""
    temp_c, target_c = probe.temp_c, probe.target_c
    if temp_c is None or target_c is None or abs(temp_c - target_c) < _OTHER_UNIT_FROM_K:
        return False
    as_sent = from_celsius if probe.probe.unit is Unit.FAHRENHEIT else to_celsius
    said = as_sent(temp_c, Unit.FAHRENHEIT)
    return abs(said - target_c) < _OTHER_UNIT_K


def source_facts(box: Box, alarm: Alarm, facts: Facts) -> None:
    """Which heat source is most likely lost, and since when."""
    diagnosis = box.estimate.diagnosis
    if diagnosis.source is not None:
        facts["source"] = diagnosis.source
        facts["source_sure"] = diagnosis.source_sure
        facts["source_watts"] = diagnosis.source_watts
        facts["suspects"] = list(diagnosis.suspects)
    if alarm.rule.alarm is AlarmName.HEAT_LOSS and diagnosis.started is not None:
        facts["since"] = diagnosis.started + box.register.offset_s


def cold_ahead(outlook: Outlook | None, facts: Facts, *, told: bool = False) -> None:
    """Whoever is to cool the box, or to raise the lamps, must know of the night that comes. `told`:
    a cold night stands as told, so nobody hears the contrary before it is called off."""
    if outlook is not None and (told or outlook.chance >= CLEAR_CHANCE):
        facts["chance"] = outlook.chance
        facts["lowest_c"], facts["lowest_at"] = outlook.lowest_c.mid, outlook.lowest_at
        facts["lowest_low_c"] = outlook.lowest_c.low


def outlook_facts(outlook: Outlook, facts: Facts) -> None:
    """How the night will go."""
    facts["lowest_c"] = outlook.lowest_c.mid
    facts["lowest_low_c"], facts["lowest_high_c"] = outlook.lowest_c.low, outlook.lowest_c.high
    facts["learned"] = outlook.learned
    facts["lowest_at"] = outlook.lowest_at
    if outlook.leaves_band_at is not None:
        facts["leaves_band_at"] = outlook.leaves_band_at
    facts["chance"] = outlook.chance
    facts["missing_watts"] = outlook.missing_watts
    facts["outside_from"] = outlook.outside_from
    if not outlook.by_floor:
        facts["outside_low_c"] = outlook.outside_low_c
    facts["mend"] = list(outlook.mend)


def cause_of(box: Box, alarm: Alarm) -> Cause:
    """Why, as far as the readings tell."""
    name = alarm.rule.alarm
    if name is AlarmName.OVERHEAT:
        return Cause.OVERHEAT
    if name is AlarmName.COLD_NIGHT:
        return Cause.COLD_NIGHT
    if name is not AlarmName.HOT and box.meters.sources_out:
        return Cause.HEAT_SOURCE
    diagnosis = box.estimate.diagnosis
    cause = diagnosis.cause
    if name is AlarmName.HOT:
        heats_up = cause is Cause.OVERHEAT or diagnosis.warmth in (Warmth.SOON, Warmth.HARMS)
        return Cause.OVERHEAT if heats_up else Cause.UNKNOWN
    return _cause_of_cold(box, alarm, cause)


def _cause_of_cold(box: Box, alarm: Alarm, cause: Cause | None) -> Cause:
    if cause in LOSES_HEAT:
        return cause
    # A fall that has ended says no more of its cause: what was told of it stands.
    cover_told = box.heat_loss.active and box.heat_loss.cause is Cause.COVER_OPEN
    lost = Cause.COVER_OPEN if cover_told else Cause.HEAT_SOURCE
    if alarm is box.heat_loss:
        return lost
    lead = lead_probe(box, alarm.rule.alarm)
    nothing = lead is not None and lead.found in PROVES_NOTHING
    if box.heat_loss.active and not nothing:
        return lost
    if cause is Cause.SENSOR or (lead is not None and lead.finding is not None):
        return Cause.SENSOR
    if alarm.active and alarm.cause in LOSES_HEAT:
        return alarm.cause  # while it is as cold, nothing says that the heat is back
    return Cause.COLD_NIGHT if _outside_explains(box, alarm) else Cause.UNKNOWN


def _outside_explains(box: Box, alarm: Alarm) -> bool:
    """Weather is named only where the measured outside explains the floor: it is about as far
    above it as its heat usually holds it, and warmer beneath each source. And from the first word
    of the cold on: what is foretold of a cold floor follows from that, whatever made it cold."""
    if alarm.active and alarm.cause is not Cause.COLD_NIGHT:
        return False
    learned, outside_c = box.estimate.learned, box.estimate.outside_c
    if learned is None or learned.rise_k is None or outside_c is None:
        return False
    beneath = [p for p in box.probes.usable() if p.place is Place.UNDER_HEAT]
    if any(_temp(p) < learned.floor_c for p in beneath):
        return False
    short_k = learned.rise_k - (learned.floor_c - outside_c)
    return box.cold_night.active and short_k < max(_USUAL_K, learned.rise_sd_k)


def lead_probe(box: Box, name: AlarmName | None = None) -> ProbeWatch | None:
    """The probe that decides: the hottest for a hot alarm, the coldest for a cold one, and for
    none the one furthest from its target."""
    counting = [p for p in box.probes.counting() if p.temp_c is not None]
    if name is not None and not counting:  # an alarm that ran on without them: what they said last
        counting = [p for p in box.probes.inside if p.known and not p.out_of_service]
    judged = [p for p in counting if p.target_c is not None]
    if name is AlarmName.OVERHEAT:  # the hottest, though it may be in doubt for being so hot
        usable = box.probes.usable() or counting
        burning = [p for p in usable if p.burning]
        beyond = burning or [p for p in usable if p.too_hot or p.hot.beyond]
        return max(beyond or judged or counting, key=_temp, default=None)
    if name is AlarmName.HOT:
        beyond = [p for p in counting if p.hot.beyond]
        return max(beyond or judged or counting, key=_temp, default=None)
    heard = box.probes.on_floor()
    if name is None and judged:
        cold = [p for p in heard if p.cold.beyond]
        return max(judged + cold, key=lambda p: abs(_temp(p) - (p.target_c or 0.0)))
    floor = [p for p in counting if p.place is Place.FLOOR]
    return min(heard or judged or floor or counting, key=_temp, default=None)


def put_minutes_to_overheat(
    facts: Facts, *, temp_c: float | None, rate_c_per_h: float | None, overheat_c: float
) -> None:
    """How long it is until the floor is at `overheat_c`, if it goes on rising as it does."""
    if temp_c is not None and rate_c_per_h is not None and rate_c_per_h > 0.0:
        facts["minutes_to_overheat"] = 60.0 * (overheat_c - temp_c) / rate_c_per_h


def rate_c_per_h(box: Box, tick: float, name: AlarmName | None = None) -> float | None:
    """How fast the floor falls or rises: what the estimate is sure of in the last minutes, or the
    slope of the probe that leads over a quarter of an hour, which a change of minutes hardly shows
    in, but no wandering of the readings either; the steeper. The latter where the estimate does not
    go by that probe."""
    lead, rate = lead_probe(box, name), box.estimate.diagnosis.rate_k_per_h
    own = None if lead is None else lead.trend.c_per_h(tick)
    if rate and (lead is None or lead in box.probes.counting()):
        return rate if own is None else max(own, rate, key=abs)
    return own


def minutes_to_chill(box: Box, tick: float) -> Interval | None:
    """Minutes to the configured chill limit; None: not on its way there, or there already."""
    lead, chill_c = lead_probe(box, AlarmName.COLD), box.needs.chill_c
    if chill_c is None or lead is None or (lead.temp_c or 0.0) <= chill_c:
        return None
    return box.estimate.minutes_to(chill_c, tick)


def _temp(probe: ProbeWatch) -> float:
    return 0.0 if probe.temp_c is None else probe.temp_c
