"""A night as its probes send it, each in its own way: with or without time stamps, minutes behind
by its own clock, in packs, with losses. What the floor does is crude: what is compared is the watch
with itself."""

import json
from dataclasses import replace
from math import exp
from random import Random
from typing import NamedTuple

from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_meter, a_probe, a_site

from monitor.events import Entry, EntryKind
from monitor.quantities import COVER
from monitor.site import Place, Probe, Site

USUAL_C = {Place.FLOOR: 33.4, Place.UNDER_HEAT: 40.0, Place.COOL_END: 29.0, Place.OUTSIDE: 5.0}


class Said(NamedTuple):
    """A message as the broker hands it over."""

    at: float
    topic: str
    payload: str


Step = Said | Entry


class Senders:
    """A site by chance, and `steps`: all that its watch gets in `hours`, in order."""

    def __init__(self, seed: int, hours: float) -> None:
        self.rng = rng = Random(seed)
        self.ends = EVENING + hours * 3600.0
        box = a_brooder(floors=rng.choice([1, 1, 2]))
        more = [("under west lamp", Place.UNDER_HEAT), ("cool", Place.COOL_END)]
        more = [(name, place) for name, place in more if rng.random() < 0.4]
        probes = [*box.probes, *(a_probe("porch", name, place) for name, place in more)]
        probes = [self._sends(probe) for probe in probes]
        meters = (a_meter(COVER),) if rng.random() < 0.3 else ()
        site = a_site(replace(box, probes=tuple(probes), meters=meters), outside=True)
        self.site: Site = replace(site, probes=tuple(self._sends(p) for p in site.probes))
        began = EVENING + rng.uniform(1.5, hours - 2.5) * 3600.0
        self.falls = [(began, began + rng.uniform(600.0, 5400.0), rng.uniform(3.0, 14.0))]
        steps: list[Step] = [said for probe in self.site.all_probes for said in self._of(probe)]
        steps += [
            Said(at, meter.topic, rng.choice(["open", "shut"]))
            for meter in meters
            for at in (began - 600.0, began + 30.0, began + 900.0)
        ]
        steps.append(chicks_in(EVENING, id="placed", number=1, count=80, hatched="2026-02-04"))
        answer = Entry(
            id="answer",
            at=began + 2400.0,
            entry=EntryKind.ACKNOWLEDGE,
            brooder="porch",
            number=2,
        )
        self.steps = sorted([*steps, answer], key=lambda step: step.at)

    def _sends(self, probe: Probe) -> Probe:
        stamped = self.rng.random() < 0.7
        return replace(probe, value_pointer="/v", time_pointer="/t") if stamped else probe

    def _floor_c(self, at: float) -> float:
        """Against its usual temperature, K."""
        below_k = 0.0
        for began, ended, depth_k in self.falls:
            if at > began:
                below_k += depth_k * (1.0 - exp(-(min(at, ended) - began) / 2400.0))
            if at > ended:
                below_k *= exp(-(at - ended) / 1200.0)
        return -below_k

    def _of(self, probe: Probe) -> list[Said]:
        rng = self.rng
        every_s = rng.choice([5.0, 30.0, 30.0, 60.0, 150.0])
        pack = rng.choice([1, 1, 1, 5]) if probe.time_pointer else 1
        behind_s = rng.choice([0.0, 0.0, 20.0, 200.0, 700.0]) if probe.time_pointer else 0.0
        late_s = rng.choice([0.0, 0.0, 10.0, 90.0]) if probe.time_pointer else 0.0
        said: list[Said] = []
        waiting: list[tuple[float, float]] = []
        at = EVENING + rng.uniform(0.0, every_s)
        while at < self.ends:
            temp_c = USUAL_C[probe.place] + rng.gauss(0.0, 0.08)
            temp_c += 0.0 if probe.place is Place.OUTSIDE else self._floor_c(at)
            if rng.random() > 0.02:
                waiting.append((round(at - behind_s, 3), round(temp_c, 3)))
            if len(waiting) >= pack:
                sent = round(at + rng.uniform(0.0, late_s), 3)
                for stamp, value in waiting:
                    payload = {"v": value, "t": stamp}
                    said.append(
                        Said(
                            sent,
                            probe.topic,
                            json.dumps(payload) if probe.time_pointer else str(value),
                        )
                    )
                waiting = []
            at += every_s
        return said
