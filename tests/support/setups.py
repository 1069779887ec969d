"""Nights of set-ups that growers have, in a physics drawn broadly: one box, one thing that happens.

Deliberately crude and wide: the floor is air, litter and light over the outside, each with a weight
and a lag of its own by chance. What holds here for every draw rests on no constant of one model.
All figures are invented. The benchmark (bench_setups) and the property tests use them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from math import exp, pi, sin
from random import Random

from monitor.site import Brooder, HeatSource, Place, Probe, ScheduleRow

STEP_S = 5.0
HOUR = 3600.0
BEGINS_H, ENDS_H = 15.0, 29.5  # hours since a midnight
PLACES = {"floor": Place.FLOOR, "under": Place.UNDER_HEAT, "cool": Place.COOL_END}


@dataclass
class World:
    """A box by chance. Shares are of the rise of its floor over the outside."""

    rng: Random
    sources: int = 2
    plates: bool = False
    thermostat_s: float = 0.0  # period of the first source's cycle; 0: always on
    birds: float = 0.12  # share of the heat
    probes: tuple[str, ...] = ("floor", "outside")
    every_s: float = 30.0
    quantum_c: float = 0.0625
    fahrenheit: bool = False
    lost: float = 0.01  # share of readings
    restless_k: float = 0.0  # more than this box has by chance
    on: list[float] = field(default_factory=list)  # of each source's heat
    cover: float = 0.0  # open
    wet_k: float = 0.0  # taken off the floor probe alone
    carried: float = 0.0  # to the cool end, of the way
    chick: float = 0.0  # on the floor probe
    buried: bool = False
    sun_k: float = 0.0  # on the outside probe

    def __post_init__(self) -> None:
        rng = self.rng
        self.rise_k = rng.uniform(15.0, 27.0)
        self.target_c = rng.choice((35.0, 32.2, 29.4))
        self.above_k = rng.uniform(-0.3, 1.2)
        self.air = rng.uniform(0.1, 0.4)
        self.light = 0.0 if self.plates else rng.choice((0.0, rng.uniform(0.03, 0.12)))
        self.air_s, self.litter_s = rng.uniform(80.0, 240.0), rng.lognormvariate(7.6, 0.4)
        self.source_s = rng.uniform(420.0, 780.0) if self.plates else rng.uniform(60.0, 140.0)
        self.lag_s, self.own_k = rng.uniform(30.0, 120.0), rng.uniform(3.0, 12.0)
        self.swing_k, self.noise_k = rng.uniform(1.0, 3.0), rng.uniform(0.02, 0.06)
        self.wander_k = rng.uniform(0.04, 0.15) + self.restless_k
        self.on = [1.0] * self.sources
        shares = [rng.uniform(0.7, 1.3) for _ in self.on]
        self.shares = [(1.0 - self.birds) * s / sum(shares) for s in shares]

    def brooder(self) -> Brooder:
        """The box as it is configured."""
        kind = "plate" if self.plates else "lamp"
        names = [f"{word} {kind}" for word in ("west", "east", "north")[: self.sources]]
        return Brooder(
            name="porch",
            length_m=1.5,
            width_m=1.4,
            height_m=0.55,
            cover="plywood",
            own_schedule=(ScheduleRow(from_day=0.0, target_c=self.target_c),),
            probes=tuple(
                Probe(
                    key=f"porch/{name}",
                    brooder="porch",
                    name=self._named(name, names),
                    topic=name,
                    place=PLACES.get(name.split()[0], Place.OUTSIDE),
                )
                for name in self.probes
            ),
            heat=tuple(
                HeatSource(name=name, kind=kind, watts=round(500.0 * share / (1.0 - self.birds)))
                for name, share in zip(names, self.shares, strict=True)
            ),
        )

    @staticmethod
    def _named(name: str, sources: list[str]) -> str:
        place, *which = name.split()
        return f"under {sources[int(which[0])]}" if place == "under" else name

    def live(self, act: Callable[["World", float], None]) -> Iterator[tuple[float, str, float]]:
        """Readings (second, probe key, degC); `act` is called at every step with the hour."""
        rng = self.rng
        air = litter = self.rise_k
        light = 1.0
        heat = list(self.on)
        felt: dict[str, float] = {}
        due = {name: BEGINS_H * HOUR + rng.uniform(0.0, self.every_s) for name in self.probes}
        wander = 0.0
        second = BEGINS_H * HOUR
        while second < ENDS_H * HOUR:
            second += STEP_S
            act(self, second / HOUR)
            on = list(self.on)
            if self.thermostat_s and (second % self.thermostat_s) > 0.6 * self.thermostat_s:
                on[0] = 0.0
            part = 0.6 if self.thermostat_s else 1.0
            for k, now in enumerate(on):
                heat[k] += (now - heat[k]) * (1.0 - exp(-STEP_S / self.source_s))
            full = self.birds + sum(self.shares) - (1.0 - part) * self.shares[0]
            share = (self.birds + sum(map(_times, self.shares, heat))) / full
            lit = (self.birds + sum(map(_times, self.shares, on))) / full
            light += (lit - light) * (1.0 - exp(-STEP_S / 20.0))
            air_to = self.rise_k * share * (1.0 - 0.75 * self.cover)
            litter_to = self.rise_k * share * (1.0 - 0.45 * self.cover)
            air += (air_to - air) * (1.0 - exp(-STEP_S / self.air_s))
            litter += (litter_to - litter) * (1.0 - exp(-STEP_S / self.litter_s))
            wander += -wander * STEP_S / 500.0 + self.wander_k * (2 * STEP_S / 500.0) ** 0.5 * (
                rng.gauss(0.0, 1.0)
            )
            outside = self.target_c + self.above_k - self.rise_k
            outside += self.swing_k * sin((second / HOUR - 15.0) / 24.0 * 2 * pi + pi / 2) * 0.5
            rest = 1.0 - self.air - self.light
            floor = outside + self.air * air + rest * litter + self.light * light * self.rise_k
            cool = outside + 0.35 * air + 0.25 * litter
            for name in self.probes:
                aim = {"floor": floor, "cool": cool, "outside": outside}.get(name)
                if aim is None:
                    own = heat[int(name.split()[1])]
                    # litter beneath a source: the floor's share of the loss, and its own heat
                    aim = floor + self.own_k * (2.5 * own - 1.5 if own < 1.0 else 1.0)
                    aim = max(aim, outside + 2.0)
                if name == "outside":
                    aim += self.sun_k
                lag_s = self.lag_s
                if name == "floor":
                    aim += wander - self.wet_k
                    aim += self.carried * (cool - aim) + self.chick * max(0.0, 39.3 - aim)
                    lag_s *= 5.0 if self.buried else 1.0
                was = felt.get(name, aim)
                felt[name] = was + (aim - was) * (1.0 - exp(-STEP_S / lag_s))
                if due[name] <= second:
                    due[name] += self.every_s
                    if rng.random() >= self.lost:
                        yield second, f"porch/{name}", self._said(felt[name])

    def _said(self, temp_c: float) -> float:
        quantum = self.quantum_c
        temp_c += self.rng.gauss(0.0, self.noise_k)
        if self.fahrenheit:
            return (round((temp_c * 1.8 + 32.0) / quantum) * quantum - 32.0) / 1.8
        return round(temp_c / quantum) * quantum


def _times(one: float, other: float) -> float:
    return one * other
