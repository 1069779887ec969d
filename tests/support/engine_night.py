"""A small invented site and an engine on it, driven by hand. For tests of the watch."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from monitor.events import BadValue, Change, ChangeKind, Entry, EntryKind, Measured, Moment, Reading
from monitor.quantities import POWER, Quantity
from monitor.site import Brooder, HeatSource, Limits, Meter, Place, Probe, Site
from monitor.thermal import estimator
from monitor.thermal.estimator import MakeEstimator
from monitor.units import Unit
from monitor.watch.engine import Engine
from monitor.watch.readings import LATE_S
from monitor.watch.status import BrooderStatus

ZONE = ZoneInfo("America/Chicago")
EVENING = datetime(2026, 2, 8, 18, 0, tzinfo=ZONE).timestamp()  # hatch day, six in the evening
TARGET_C = 35.0  # weekly schedule, first week


def a_probe(brooder: str | None, name: str, place: Place) -> Probe:
    key = f"{brooder or 'site'}/{name}"
    return Probe(key=key, brooder=brooder, name=name, topic=f"brooder/{key}", place=place)


def a_brooder(name: str = "porch", *, floors: int = 1, limits: Limits | None = None) -> Brooder:
    names = ["floor", "far floor", "third floor"][:floors]
    return Brooder(
        name=name,
        length_m=1.5,
        width_m=1.5,
        height_m=0.56,
        cover="plywood",
        probes=tuple(a_probe(name, n, Place.FLOOR) for n in names),
        heat=(
            HeatSource(name="west lamp", kind="lamp", watts=250),
            HeatSource(name="east lamp", kind="lamp", watts=250),
        ),
        limits=limits or Limits(),
    )


def with_probe(box: Brooder, name: str, place: Place) -> Brooder:
    """The same box with one more of them."""
    return replace(box, probes=(*box.probes, a_probe(box.name, name, place)))


def a_meter(quantity: Quantity, brooder: str | None = "porch", source: str | None = None) -> Meter:
    """Of that kind; of a heat source where it is a plug."""
    where = f"{brooder or 'site'}/{source or quantity.kind}"
    return Meter(brooder=brooder, name=source, topic=where, quantity=quantity, source=source)


def plugged(box: Brooder) -> Brooder:
    """The same box, its heat on plugs that measure power."""
    plugs = tuple(a_meter(POWER, box.name, source.name) for source in box.heat)
    return replace(box, meters=(*box.meters, *plugs))


def a_site(*brooders: Brooder, outside: bool = False) -> Site:
    return Site(
        name="Hillside",
        timezone=ZONE,
        units=Unit.FAHRENHEIT,
        brooders=brooders or (a_brooder(),),
        probes=(a_probe(None, "shade", Place.OUTSIDE),) if outside else (),
    )


class Night:
    """Drives an engine: `t` is seconds since the start; every change is kept in `changes`."""

    def __init__(
        self,
        site: Site | None = None,
        *,
        start: float = EVENING,
        batch: bool = True,
        make_estimator: MakeEstimator = estimator.thermal,
    ) -> None:
        self.site = site or a_site()
        self.start = start
        self._make_estimator = make_estimator
        self.t = 0.0
        self.shift_s = 0.0  # of the ticks, by restarts
        self.engine = Engine(self.site, Moment(start, start), make_estimator=make_estimator)
        self.changes: list[Change] = []
        self._number = 0
        if batch:
            for brooder in self.site.brooders:
                self.placed(brooder.name)

    @staticmethod
    def evening(day: str) -> float:
        """Six in the evening of a date, local time."""
        return datetime.fromisoformat(f"{day}T18:00").replace(tzinfo=ZONE).timestamp()

    def now(self, t: float | None = None) -> Moment:
        at = self.start + (self.t if t is None else t)
        return Moment(at, at + self.shift_s)

    def box(self, name: str = "porch") -> BrooderStatus:
        """How it stands now."""
        found = self.engine.status(self.now()).brooder(name)
        assert found is not None
        return found

    def restarts(self, shift_s: float) -> None:
        """Another process takes over, whose steady clock is `shift_s` ahead of the old one's."""
        state = json.loads(json.dumps(self.engine.kept()))
        self.shift_s += shift_s
        self.engine = Engine(self.site, self.now(), make_estimator=self._make_estimator)
        self.engine.restore(state, shift_s)

    def _keep(self, changes: list[Change]) -> list[Change]:
        self.changes += changes
        return changes

    def entry(self, what: EntryKind, **fields: Any) -> list[Change]:
        self._number += 1
        entry = Entry(at=self.start + self.t, entry=what, number=self._number, **fields)
        return self._keep(self.engine.entry(entry, self.now()))

    def placed(self, brooder: str = "porch", **fields: Any) -> list[Change]:
        given = {"count": 100, "hatched": "2026-02-08", "kind": "broiler", **fields}
        return self.entry(EntryKind.PLACED, brooder=brooder, **given)

    def says(self, temp_c: float, probe: str = "porch/floor", at: float | None = None) -> None:
        """One reading now; `at` (s since start) for one that was taken earlier."""
        when, tick = self._taken(at)
        self._keep(self.engine.reading(Reading(when, tick, probe, temp_c)))

    def _taken(self, at: float | None) -> Moment:
        """What is late counts from when it came, as the core has it."""
        when = self.start + (self.t if at is None else at)
        tick = when + self.shift_s
        late = self.now().tick - tick > LATE_S
        return Moment(when, max(self.now().tick if late else tick, self.engine.tick))

    def meter_says(self, meter: str, value: float) -> None:
        """One word of what measures something else than temperature."""
        when = self.start + self.t
        self._keep(self.engine.measured(Measured(when, when + self.shift_s, meter, value)))

    def says_bad(
        self, probe: str = "porch/floor", temp_c: float = 85.0, at: float | None = None
    ) -> None:
        when, tick = self._taken(at)
        bad = BadValue(when, tick, probe, "is 85 °C, its value at power-up", temp_c)
        self._keep(self.engine.bad_value(bad))

    def holds(
        self,
        temp_c: float,
        *,
        for_s: float,
        every_s: float = 10.0,
        probes: Iterable[str] = ("porch/floor",),
    ) -> None:
        """The probes say the same for a while, from now on; time moves on."""
        for _ in self.until(self.t + for_s, every_s):
            for probe in probes:
                self.says(temp_c, probe)

    def until(self, t: float, every_s: float = 30.0) -> Iterator[float]:
        """Moment after moment until then: time goes on once all is said that belongs to one."""
        while self.t < t:
            yield self.t
            self.t += every_s

    def waits(self, for_s: float) -> None:
        """Nothing is heard for a while."""
        self.t += for_s
        self._keep(self.engine.advance(self.now()))

    def told(self, kind: ChangeKind | None = ChangeKind.RAISED) -> list[str]:
        """`brooder/alarm` of every change of a kind, in order."""
        return [
            f"{c.brooder or 'site'}/{c.alarm}"
            for c in self.changes
            if kind is None or c.change is kind
        ]
