"""The first thing to do about a floor that is cold or on its way there, where no alarm says it yet:
a delay is still running, or the fall is only seen on the screen. Pure; called by `now`."""

from monitor.events import AlarmName, Cause, Facts
from monitor.page.phrases import Phrases
from monitor.site import Brooder, Place
from monitor.tell.wording.first_aid import check_cold
from monitor.tell.wording.words import listed
from monitor.thermal.witness import beneath, cover_or_heat
from monitor.watch.status import BrooderStatus, ProbeStatus

# A plate's thermostat and a draught move a probe under the heat by less. Common practice.
FALLEN_K = 3.0
_SAYS_IT = (AlarmName.COLD, AlarmName.CHILL, AlarmName.HEAT_LOSS)


def first_thing(box: BrooderStatus, setting: Brooder | None, say: Phrases) -> str | None:
    """One line; None: an alarm above says it."""
    if any(alarm.alarm in _SAYS_IT and alarm.active for alarm in box.alarms):
        return None
    fallen = [probe for probe in box.probes if _has_fallen(probe)]
    cause, facts = _cause(box, fallen, setting)
    do = check_cold(cause, facts, setting)
    if not fallen:
        return f"Go and look. {do}"
    seen = listed([_fall(probe, say) for probe in fallen])
    return f"Go and look. {do.rstrip('.')}: {seen}."


def _fall(probe: ProbeStatus, say: Phrases) -> str:
    high_c = probe.lately_high_c or 0.0
    return f"{probe.name} fell from {say.figure(high_c)} to {say.temp(probe.temp_c)}"


def _has_fallen(probe: ProbeStatus) -> bool:
    return (
        probe.place is Place.UNDER_HEAT
        and probe.temp_c is not None
        and probe.lately_high_c is not None
        and not (probe.silent or probe.fault or probe.out_of_service)
        and probe.lately_high_c - probe.temp_c >= FALLEN_K
    )


def _cause(
    box: BrooderStatus, fallen: list[ProbeStatus], setting: Brooder | None
) -> tuple[Cause, Facts]:
    """What the watch makes of it; before it is sure, what lies under one source and has gone cold
    names that source."""
    found = box.diagnosis
    if found is not None and found.cause is not None:
        heard = [p.place for p in box.probes if p.temp_c is not None and not p.silent]
        facts = Facts(either=setting is not None and cover_or_heat(setting, heard))
        if found.source is not None:
            facts["source"], facts["source_sure"] = found.source, found.source_sure
            facts["suspects"] = list(found.suspects)
        return found.cause, facts
    if len(fallen) == 1 and setting is not None:
        index = beneath(setting, fallen[0].name)
        if index is not None:
            return Cause.HEAT_SOURCE, Facts(source=setting.heat[index].name)
    return Cause.UNKNOWN, Facts()
