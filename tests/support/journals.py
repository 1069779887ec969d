"""What journal tests write: a small site and its readings."""

from zoneinfo import ZoneInfo

from monitor.events import Moment, Reading
from monitor.journal.records import Commit
from monitor.site import Brooder, Place, Probe, Site
from monitor.units import Unit

T0 = 1_770_685_200.0  # 2026-02-10T01:00:00Z


def floor_probe(**changed: object) -> Probe:
    known: dict[str, object] = {
        "key": "porch/floor",
        "brooder": "porch",
        "name": "floor",
        "topic": "brooder/porch/floor",
        "place": Place.FLOOR,
    }
    return Probe(**(known | changed))  # type: ignore[arg-type]


def site(*probes: Probe, outside: tuple[Probe, ...] = ()) -> Site:
    return Site(
        name="Hillside",
        timezone=ZoneInfo("America/Chicago"),
        units=Unit.FAHRENHEIT,
        brooders=(
            Brooder(
                name="porch",
                length_m=1.5,
                width_m=1.5,
                height_m=0.56,
                probes=probes or (floor_probe(),),
            ),
        ),
        probes=outside,
    )


def reading(at: float, temp_c: float = 33.4, probe: str = "porch/floor") -> Reading:
    return Reading(at, at, probe, temp_c)


def batch(*readings: Reading) -> Commit:
    last = readings[-1]
    return Commit(inputs=list(readings), advanced_to=Moment(last.at, last.tick))
