"""What plugs, switches and sensors beside the thermometers say, in words. Called by the page, by
`brooder probes` and `brooder tonight`."""

from collections.abc import Iterable

from monitor.quantities import POWER
from monitor.tell.wording.words import Voice
from monitor.watch.status import BrooderStatus, MeterStatus


def meter_line(meter: MeterStatus) -> str:
    """`west lamp 243 W`, `plate 0 W (resting; on 60 % of the time)`, `humidity 62 %`."""
    if meter.silent:
        return f"{meter.title} not heard"
    note = ""
    if meter.out:
        note = " (out)"
    elif meter.thermostat and meter.duty is not None:
        resting = "resting; " if meter.lit is False else ""
        note = f" ({resting}its thermostat has it on {meter.duty:.0%} of the time)"
    elif meter.turned_down and meter.usual_w is not None:
        note = " (turned down: a dimmer, a thermostat or a smaller bulb)"
    return f"{meter.title} {meter.shown}{note}".replace("%)", " %)").replace("% of", " % of")


def heat_line(meters: Iterable[MeterStatus]) -> str | None:
    """All plugs in one line; None: there are none."""
    said = [meter_line(meter) for meter in meters if meter.kind == POWER.kind]
    return ", ".join(said) or None


def other_lines(meters: Iterable[MeterStatus]) -> list[str]:
    """A line for each meter that is not a plug."""
    return [meter_line(meter) for meter in meters if meter.kind != POWER.kind]


def reserve_line(box: BrooderStatus, voice: Voice) -> str | None:
    """What the plugs foretell of the night: `The plate works 90 % of the time; below 28 °F
    outside it has no reserve.`"""
    heat = box.heat_in
    if heat is None:
        return None
    if heat.busiest is None:
        return "Every heat source is on all the time: there is no reserve for a colder night."
    works = f"The {heat.busiest} works {heat.duty * 100:.0f} % of the time"
    if heat.no_reserve_below_c is None:
        return f"{works}."
    limit_c = heat.no_reserve_below_c
    outlook = box.outlook
    coming = None if outlook is None or outlook.by_floor else outlook.outside_low_c
    tonight = ""
    if coming is not None:
        tonight = " Tonight may be colder." if coming < limit_c else " Tonight should not be."
    return f"{works}; below {voice.temp(limit_c)} outside there is no reserve.{tonight}"
