"""A brooder box to try the watch on: air, two zones of litter and the walls as stores of their own,
radiation from each lamp, wind, sun, birds, leaks, probes with lag, noise and 1/16 degC steps.

Deliberately another and richer model than the watch has inside (that one knows a single store and
one rise), and none of its code is used there or the other way round. Used by the scenarios, by the
tests of the thermal estimate and by the benchmark. All figures are plausible, none is fitted to the
watch: films and R-values as in building handbooks, lamp shares common practice."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from math import cos, exp, floor, pi, sqrt
from random import Random

STEP_S, SETTLE_STEP_S = 10.0, 20.0
DAY_S = 86400.0
QUANTUM_C = 0.0625  # DS18B20 at 12 bit


@dataclass
class Weather:
    """Outside air, wind and sun, hour by hour; a slow random wander on top of the day's curve."""

    mean_c: float
    swing_c: float  # half of day's high minus night's low
    wander_c: float = 0.8
    coldest_h: float = 6.2
    wind: float = 1.0
    sun_w: float = 0.0
    fronts: tuple[tuple[float, float, float], ...] = ()  # from, K, seconds: a change over so long
    clear_from_s: float = 0.0  # a clear night begins here (0: none) ...
    clear_k: float = 0.0  # ... and is this much colder 13 hours later

    def base_c(self, clock_s: float) -> float:
        """Without wander. `clock_s`: seconds since a midnight."""
        hour = (clock_s / 3600.0 - self.coldest_h) % 24.0
        # rises in 8.8 hours, falls in 15.2, as clear days do
        phase = pi * hour / 8.8 if hour < 8.8 else pi + pi * (hour - 8.8) / 15.2
        temp = self.mean_c - self.swing_c * cos(phase)
        for at_s, change_k, lasts_s in self.fronts:
            temp += change_k * min(1.0, max(0.0, (clock_s - at_s) / lasts_s))
        since = clock_s - self.clear_from_s
        if self.clear_k and since > 0.0:
            night_s = 13.0 * 3600.0
            gone = (
                (since / night_s) ** 0.6
                if since < night_s
                else max(0.0, 1.0 - (since - night_s) / 14400.0)
            )
            temp -= self.clear_k * gone
        return temp

    def sun_now_w(self, clock_s: float) -> float:
        """Through cover and walls on a clear day."""
        hour = (clock_s / 3600.0) % 24.0
        return self.sun_w * max(0.0, cos(pi * (hour - 13.5) / 8.0)) if 9.5 < hour < 17.5 else 0.0


@dataclass
class Lamp:
    """A heat source as it hangs. `height` 1 is as at the start; `slipped` 0..1 is how near the
    floor probe it has come."""

    watts: float
    kind: str = "lamp"
    on: bool = True
    height: float = 1.0
    slipped: float = 0.0


@dataclass
class Thermometer:
    """A probe: what it feels, its lag, its faults."""

    key: str
    place: str  # floor | under-heat | cool-end | outside
    views: tuple[float, ...] = ()  # K of radiant lift from each lamp when on
    air_share: float = 0.55
    lit_share: float = 0.5  # of the litter it feels, how much is the lit zone
    lag_s: float = 80.0
    offset_c: float = 0.0
    noise_c: float = 0.04
    wander_c: float = 0.15
    temp_c: float = 20.0
    wander_now: float = 0.0
    chick_c: float | None = None  # a chick sits on it
    fallen: bool = False  # lies outside
    stuck: bool = False
    drift_k_per_h: float = 0.0
    drifted_c: float = 0.0
    lit_extra_c: float = 0.0  # has come to lie in the light
    says: float | None = None
    silent: bool = False
    spikes: list[float] = field(default_factory=list)  # the next readings are off by these


@dataclass
class Box:
    """The box itself. Powers in W, conductances in W/K, capacities in J/K."""

    lamps: list[Lamp]
    probes: list[Thermometer]
    weather: Weather
    length_m: float = 1.5
    width_m: float = 1.5
    height_m: float = 0.56
    wall_r: float = 0.109  # m2 K/W, without films
    leak: float = 1.0  # factor on air exchange through cracks
    vent: float = 0.0  # W/K of cover left ajar
    cover_open: float = 0.0  # 0 closed .. 1 off
    birds: int = 100
    bird_w: float = 0.35  # sensible, each
    bird_kg: float = 0.06
    air_c: float = 25.0
    lit_c: float = 30.0
    litter_c: float = 27.0
    wall_c: float = 18.0
    outside_c: float = 5.0
    outside_wander: float = 0.0
    gust: float = 0.0
    lively: float = 1.0  # how much birds move about

    def settle(self, clock_s: float) -> None:
        """Bring every store near equilibrium at the weather of `clock_s`: always the same gusts.
        What the probes say is left as it is; only their wandering goes on."""
        gusts, wanderings = _calm(len(self.probes))
        base_c, gains = self.weather.base_c(clock_s), self._gains(clock_s)
        for gust in gusts:
            self._flow(SETTLE_STEP_S, base_c, gains, 0.0, gust)
        for probe, wandering in zip(self.probes, wanderings, strict=True):
            spread = self._wander_k(probe, clock_s, SETTLE_STEP_S)
            now = probe.wander_now
            for draw in wandering:
                now += -now * SETTLE_STEP_S / 300.0 + spread * draw
            probe.wander_now = now

    def step(self, clock_s: float, step_s: float, rng: Random) -> None:
        """Move on by `step_s`."""
        outside, gust = rng.gauss(0.0, 1.0), rng.gauss(0.0, 1.0)
        self._flow(step_s, self.weather.base_c(clock_s), self._gains(clock_s), outside, gust)
        for probe in self.probes:
            self._feel(probe, clock_s, step_s, rng)

    def _gains(self, clock_s: float) -> tuple[float, float, float, float]:
        """Heat from lamps, birds and sun (W): to the air, the lit litter, the rest, the walls."""
        to_air = to_lit = to_litter = to_wall = 0.0
        shut = 1.0 - self.cover_open
        for lamp in self.lamps:
            if not lamp.on:
                continue
            watts = lamp.watts
            if lamp.kind == "lamp":
                kept = 0.93 if shut > 0.5 else 0.8
                to_air += watts * 0.38 * kept
                to_lit += watts * 0.36 * kept * (1.0 - 0.25 * (lamp.height - 1.0))
                to_litter += watts * 0.12 * kept
                to_wall += watts * 0.14 * kept
            else:
                to_air += watts * 0.55
                to_lit += watts * 0.40
                to_wall += watts * 0.05
        sun = self.weather.sun_now_w(clock_s)
        to_wall += 0.6 * sun
        to_litter += 0.4 * sun
        bird_w = self.birds * self.bird_w
        to_air += 0.7 * bird_w
        to_lit += 0.3 * bird_w
        return to_air, to_lit, to_litter, to_wall

    def _flow(
        self,
        step_s: float,
        base_c: float,
        gains: tuple[float, float, float, float],
        outside_draw: float,
        gust_draw: float,
    ) -> None:
        """Heat goes where it goes for `step_s`. The draws are of a normal distribution."""
        weather = self.weather
        self.outside_wander += (
            -self.outside_wander * step_s / 18000.0
            + weather.wander_c * sqrt(2.0 * step_s / 18000.0) * outside_draw
        )
        outside = base_c + self.outside_wander
        self.outside_c = outside
        self.gust += -self.gust * step_s / 240.0 + 0.35 * sqrt(2.0 * step_s / 240.0) * gust_draw
        wind = max(0.1, weather.wind * (1.0 + self.gust))
        floor_m2 = self.length_m * self.width_m
        side_m2 = 2.0 * (self.length_m + self.width_m) * self.height_m
        shut = 1.0 - self.cover_open
        shell_m2 = side_m2 + floor_m2 * shut
        draft = max(0.0, self.air_c - outside)
        leak = self.leak * (0.6 + 0.55 * wind + 0.12 * sqrt(draft)) + self.vent
        opened = self.cover_open * floor_m2 * (9.0 + 4.5 * sqrt(draft) + 6.0 * wind)
        to_out = leak + opened
        inner = 5.0 * shell_m2
        outer = shell_m2 / (self.wall_r + 1.0 / (5.5 + 4.0 * wind))
        lit_m2 = min(1.0, 0.5 * floor_m2)
        rest_m2 = floor_m2 - lit_m2
        to_air, to_lit, to_litter, to_wall = gains
        air, lit, litter, wall = self.air_c, self.lit_c, self.litter_c, self.wall_c
        flow_wall = inner * (air - wall)
        flow_lit = 6.0 * lit_m2 * (lit - air)
        flow_litter = 5.0 * rest_m2 * (litter - air)
        glow = 2.5 * lit_m2 * (lit - wall)
        ground = weather.mean_c + 3.0
        air_j = 1250.0 * floor_m2 * self.height_m + 900.0 * self.birds * self.bird_kg
        self.air_c = air + step_s / air_j * (
            to_air - flow_wall + flow_lit + flow_litter - to_out * (air - outside)
        )
        self.lit_c = lit + step_s / (9500.0 * lit_m2 + 2500.0 * self.birds * self.bird_kg) * (
            to_lit - flow_lit - glow - 0.9 * lit_m2 * (lit - ground) - 3.0 * (lit - litter)
        )
        self.litter_c = litter + step_s / (12000.0 * rest_m2) * (
            to_litter - flow_litter - 0.9 * rest_m2 * (litter - ground) + 3.0 * (lit - litter)
        )
        self.wall_c = wall + step_s / (8800.0 * shell_m2) * (
            to_wall + flow_wall + glow - outer * (wall - outside)
        )

    def felt_c(self, probe: Thermometer) -> float:
        """What the probe would come to where it lies now."""
        if probe.place == "outside" or probe.fallen:
            return self.outside_c
        return self.place_c(probe) + probe.lit_extra_c

    def place_c(self, probe: Thermometer) -> float:
        """What a perfect thermometer in the probe's proper place would come to."""
        litter = probe.lit_share * self.lit_c + (1.0 - probe.lit_share) * self.litter_c
        lift = 0.0
        for lamp, view in zip(self.lamps, probe.views, strict=True):
            if lamp.on:
                lift += view / lamp.height**1.2 + (45.0 - 0.5 * litter) * lamp.slipped
        return probe.air_share * self.air_c + (1.0 - probe.air_share) * litter + lift

    def _wander_k(self, probe: Thermometer, clock_s: float, step_s: float) -> float:
        """How far birds and draughts push it in a step (K)."""
        hour = (clock_s / 3600.0) % 24.0
        lively = self.lively * (1.3 if 6.0 < hour < 20.0 else 0.8)
        away = probe.place == "outside" or probe.fallen
        return probe.wander_c * (0.3 if away else lively) * sqrt(2.0 * step_s / 300.0)

    def _feel(self, probe: Thermometer, clock_s: float, step_s: float, rng: Random) -> None:
        away = probe.place == "outside" or probe.fallen
        spread = self._wander_k(probe, clock_s, step_s)
        probe.wander_now += -probe.wander_now * step_s / 300.0 + spread * rng.gauss(0.0, 1.0)
        aim = self.felt_c(probe)
        lag_s = probe.lag_s
        if probe.chick_c is not None and not away:
            aim = 0.25 * aim + 0.75 * probe.chick_c
            lag_s *= 0.8
        probe.temp_c += (aim + probe.wander_now - probe.temp_c) * (1.0 - exp(-step_s / lag_s))
        probe.drifted_c += probe.drift_k_per_h * step_s / 3600.0

    def read(self, probe: Thermometer, rng: Random) -> float | None:
        """What the probe says now; None: nothing."""
        if probe.silent:
            return None
        if probe.stuck and probe.says is not None:
            return probe.says
        temp = probe.temp_c + probe.offset_c + probe.drifted_c + rng.gauss(0.0, probe.noise_c)
        probe.says = floor(temp / QUANTUM_C + 0.5) * QUANTUM_C
        if probe.spikes:
            return probe.says + probe.spikes.pop(0)
        return probe.says


@cache
def _calm(probes: int) -> tuple[list[float], list[list[float]]]:
    """The gusts of 2500 steps, and how each probe wanders in them."""
    rng = Random(0)
    drawn = [[rng.gauss(0.0, 1.0) for _ in range(2 + probes)] for _ in range(2500)]
    _, gusts, *wanderings = ([draws[k] for draws in drawn] for k in range(2 + probes))
    return gusts, wanderings


Act = Callable[[Box], None]


@dataclass
class Run:
    """A simulated stretch: readings in time order, and the true floor every minute."""

    samples: list[tuple[float, str, float]]
    floor: list[tuple[float, float]]  # (tick, mean of what the floor probes' places are at)
    extremes: list[tuple[float, float, float]]  # (tick, coldest, hottest of those places)


def run(
    box: Box,
    *,
    from_s: float,
    to_s: float,
    every_s: float,
    acts: list[tuple[float, Act]],
    rng: Random,
) -> Run:
    """Let the box live from `from_s` to `to_s` (seconds since a midnight), with `acts` at their
    times; each probe reads every `every_s`, at its own phase and a little irregularly."""
    pending = sorted(acts, key=lambda act: act[0])
    next_at = {probe.key: from_s + rng.uniform(0.0, every_s) for probe in box.probes}
    floors = [probe for probe in box.probes if probe.place == "floor"]
    samples: list[tuple[float, str, float]] = []
    truth: list[tuple[float, float]] = []
    extremes: list[tuple[float, float, float]] = []
    clock_s = from_s
    index = 0
    minute = from_s
    while clock_s < to_s:
        while index < len(pending) and pending[index][0] <= clock_s:
            pending[index][1](box)
            index += 1
        box.step(clock_s, STEP_S, rng)
        clock_s += STEP_S
        for probe in box.probes:
            due = next_at[probe.key]
            if due <= clock_s:
                next_at[probe.key] = due + every_s + rng.uniform(-0.4, 0.4)
                temp = box.read(probe, rng)
                if temp is not None:
                    samples.append((due, probe.key, temp))
        if clock_s >= minute:
            minute += 60.0
            felt = [box.place_c(probe) for probe in floors]
            truth.append((clock_s, sum(felt) / len(felt)))
            extremes.append((clock_s, min(felt), max(felt)))
    samples.sort()
    return Run(samples, truth, extremes)
