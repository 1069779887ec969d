"""Nights for the watch, each from a seed: a box, its birds, its probes, the weather, and one thing
that happens (or nothing, or something growers do every day). The benchmark and the tests use them.

Even seeds are for development, odd seeds are held back: figures that are reported come from odd
seeds only."""

from dataclasses import dataclass, field
from random import Random

from support.boxmodel import DAY_S, Act, Box, Lamp, Run, Thermometer, Weather, run

from monitor.site import Brooder, HeatSource, Place, Probe, ScheduleRow

HOUR = 3600.0
LAYOUTS: dict[str, tuple[str, ...]] = {
    "floor": ("floor", "outside"),
    "floor, no outside": ("floor",),
    "under heat": ("floor", "under-heat", "outside"),
    "two floor": ("floor", "floor", "cool-end", "outside"),
    "full": ("floor", "floor", "under-heat", "outside"),
}
FAILURES = ("lamp", "weak", "all")
NUISANCES = ("feeding", "raised", "sun", "litter", "chick", "gap")
FAULTS = ("spikes", "stuck", "drift", "fell-out", "swapped", "under-lamp")


@dataclass
class Night:
    """One scenario with its readings and the truth."""

    kind: str
    seed: int
    brooder: Brooder
    head_count: int
    age_days: float
    target_c: float
    run: Run
    event_at: float | None  # tick at which it happened
    lost: tuple[str, ...] = ()  # heat sources that went out
    faulty: tuple[str, ...] = ()  # probes
    from_s: float = 0.0
    watch_from: float = 0.0  # the night that counts
    layout: str = ""
    facts: dict[str, float] = field(default_factory=dict)
    forecast: tuple[tuple[float, float], ...] = ()  # (scenario second, degC)

    @property
    def low_c(self) -> float:
        return self.target_c - self.brooder.limits.band_c

    @property
    def chill_c(self) -> float:
        return self.target_c - self.brooder.limits.harm_c

    def first_below(self, limit_c: float, after: float) -> float | None:
        """When the true floor first is below, for the watched stretch."""
        return next((t for t, c in self.run.floor if t >= after and c < limit_c), None)

    def first_above(self, limit_c: float, after: float) -> float | None:
        return next((t for t, c in self.run.floor if t >= after and c > limit_c), None)

    def lowest(self, after: float, until: float) -> float:
        return min(c for t, c in self.run.floor if after <= t <= until)


def target_for(age_days: float) -> float:
    """A plain table: 33 degC, 2.8 less each week."""
    return 33.0 - 2.8 * int(age_days // 7)


@dataclass
class Plan:
    """A box with its names, before anything happens in it."""

    box: Box
    names: list[str]

    def brooder(self, target_c: float) -> Brooder:
        """The box as it is configured; its own schedule holds `target_c` at any age."""
        box = self.box
        return Brooder(
            name="porch",
            length_m=box.length_m,
            width_m=box.width_m,
            height_m=box.height_m,
            cover="plywood",
            own_schedule=(ScheduleRow(from_day=0.0, target_c=target_c),),
            probes=tuple(
                Probe(
                    key=p.key,
                    brooder="porch",
                    name=p.key.split("/")[1],
                    topic=p.key,
                    place=Place(p.place),
                )
                for p in box.probes
            ),
            heat=tuple(
                HeatSource(name=name, kind=lamp.kind, watts=lamp.watts)
                for name, lamp in zip(self.names, box.lamps, strict=True)
            ),
        )


def fitted_box(
    layout: str,
    weather: Weather,
    *,
    floor_c: float,
    rng: Random,
    age_days: float = 8.0,
    at_s: float = 0.0,
) -> Plan:
    """A box by chance, aired so that its floor is `floor_c` in that weather at `at_s`."""
    watts = rng.choice(([250.0, 250.0, 100.0], [250.0, 250.0], [250.0, 175.0], [250.0, 100.0]))
    box = Box(
        lamps=[Lamp(w, kind="plate" if w == 100.0 else "lamp") for w in watts],
        probes=_probes(layout, watts, rng),
        weather=weather,
        length_m=rng.uniform(1.2, 1.8),
        width_m=rng.uniform(1.2, 1.6),
        height_m=rng.uniform(0.5, 0.6),
        wall_r=rng.choice((0.109, 0.14, 0.35, 0.6)),
        leak=rng.uniform(0.7, 1.8),
        birds=rng.randrange(50, 130),
        bird_w=(0.35 + 0.12 * age_days) * rng.uniform(0.8, 1.2),
        bird_kg=0.042 + 0.014 * age_days,
        lively=rng.uniform(0.6, 1.3),
    )
    _fit(box, floor_c, at_s)
    return Plan(box, _names(watts))


def make(
    kind: str,
    seed: int,
    *,
    layout: str | None = None,
    every_s: float = 30.0,
    hours: float = 44.0,
) -> Night:
    """The night of that kind and seed. Begins at noon; the night that counts is the second one."""
    rng = Random(f"{kind}/{seed}")
    if layout is None:
        layout = rng.choice(sorted(LAYOUTS))
    age = rng.choice((1.0, 3.0, 5.0, 8.0, 12.0, 16.0))
    target = target_for(age)
    weather = Weather(
        mean_c=rng.uniform(4.0, 14.0),
        swing_c=rng.uniform(1.0, 2.2),
        wander_c=rng.uniform(0.2, 0.5),
        wind=rng.uniform(0.3, 1.4),
        sun_w=rng.choice((0.0, 20.0, 40.0)),
    )
    start = 12.0 * HOUR
    night = start + DAY_S
    plan = fitted_box(
        layout,
        weather,
        floor_c=target + rng.uniform(-0.4, 0.9),
        rng=rng,
        age_days=age,
        at_s=night + 12.0 * HOUR,
    )
    box = plan.box
    acts: list[tuple[float, Act]] = []
    plot = _Plot(kind, rng, box, plan.names, night)
    plot.lay(acts)
    box.settle(start)
    for probe in box.probes:
        probe.temp_c = box.felt_c(probe)
    stretch = run(box, from_s=start, to_s=start + hours * HOUR, every_s=every_s, acts=acts, rng=rng)
    if kind == "swapped":
        stretch = _swapped(stretch, plot)
    return Night(
        kind=kind,
        seed=seed,
        brooder=plan.brooder(target),
        head_count=box.birds,
        age_days=age,
        target_c=target,
        run=stretch,
        event_at=plot.event_at,
        lost=plot.lost,
        faulty=plot.faulty,
        from_s=start,
        watch_from=night + 6.0 * HOUR,
        layout=layout,
        facts=plot.facts,
        forecast=plot.forecast,
    )


def _names(watts: list[float]) -> list[str]:
    names = []
    for index, w in enumerate(watts):
        names.append("plate" if w == 100.0 else ("west lamp", "east lamp")[index])
    return names


def _probes(layout: str, watts: list[float], rng: Random) -> list[Thermometer]:
    """Where each probe lies decides which lamp it sees. An under-heat probe lies beneath the first
    source."""
    made = []
    count = 0
    for place in LAYOUTS[layout]:
        views: list[float] = []
        for index, w in enumerate(watts):
            if place == "floor":
                view = w / 250.0 * rng.uniform(1.2, 2.4)
            elif place == "under-heat":
                view = w / 250.0 * (rng.uniform(9.0, 14.0) if index == 0 else rng.uniform(0.2, 1.0))
            elif place == "cool-end":
                view = w / 250.0 * rng.uniform(0.1, 0.6)
            else:
                view = 0.0
            views.append(view)
        name = place if place != "floor" else ("floor", "floor 2")[count]
        count += place == "floor"
        made.append(
            Thermometer(
                key=f"porch/{name}",
                place=place,
                views=tuple(views),
                air_share=rng.uniform(0.4, 0.65),
                lit_share={"under-heat": 1.0, "cool-end": 0.0}.get(place, rng.uniform(0.3, 0.7)),
                lag_s=rng.uniform(50.0, 120.0),
                offset_c=rng.uniform(-0.3, 0.3),
                noise_c=rng.uniform(0.02, 0.06),
                wander_c=rng.uniform(0.08, 0.22),
            )
        )
    return made


def _fit(box: Box, floor_c: float, clock_s: float) -> None:
    """As a grower would: tighten or air the box until the floor is right for the night; where the
    lamps cannot, the place is warmer than thought."""
    floors = [p for p in box.probes if p.place == "floor"]

    def floor_at(vent: float) -> float:
        box.vent = vent
        box.settle(clock_s)
        return sum(box.felt_c(p) for p in floors) / len(floors)

    low, high = 0.0, 150.0
    if floor_at(low) < floor_c:
        box.weather.mean_c += floor_c - floor_at(low)
        return
    for _ in range(14):
        mid = 0.5 * (low + high)
        if floor_at(mid) > floor_c:
            low = mid
        else:
            high = mid
    box.vent = 0.5 * (low + high)


class _Plot:
    """What happens in a night."""

    def __init__(self, kind: str, rng: Random, box: Box, names: list[str], night: float) -> None:
        self.kind = kind
        self.rng = rng
        self.box = box
        self.names = names
        self.night = night  # noon before the night that counts
        self.event_at: float | None = None
        self.lost: tuple[str, ...] = ()
        self.faulty: tuple[str, ...] = ()
        self.facts: dict[str, float] = {}
        self.forecast: tuple[tuple[float, float], ...] = ()

    def lay(self, acts: list[tuple[float, Act]]) -> None:
        """Put the acts of this kind into `acts`."""
        at = self.night + self.rng.uniform(8.5, 15.5) * HOUR
        getattr(self, "_" + self.kind.replace("-", "_"))(acts, at)

    def _quiet(self, acts: list[tuple[float, Act]], at: float) -> None:
        pass

    def _fail(self, acts: list[tuple[float, Act]], at: float, which: list[int]) -> None:
        def off(box: Box) -> None:
            for index in which:
                box.lamps[index].on = False

        self.event_at = at
        self.lost = tuple(self.names[index] for index in which)
        acts.append((at, off))

    def _lamp(self, acts: list[tuple[float, Act]], at: float) -> None:
        strong = [i for i, lamp in enumerate(self.box.lamps) if lamp.watts > 100.0]
        self._fail(acts, at, [self.rng.choice(strong)])

    def _weak(self, acts: list[tuple[float, Act]], at: float) -> None:
        self._fail(acts, at, [len(self.box.lamps) - 1])

    def _all(self, acts: list[tuple[float, Act]], at: float) -> None:
        self._fail(acts, at, list(range(len(self.box.lamps))))

    def _feeding(self, acts: list[tuple[float, Act]], at: float) -> None:
        """In the evening and again: late, early in the morning, or (one in ten) in the night."""
        hours = self.rng.choice(((8.5, 10.0), (17.0, 19.0)))
        if self.rng.random() > 0.1:
            at = self.night + self.rng.uniform(*hours) * HOUR
        self.event_at = at
        opened = self.rng.uniform(0.35, 1.0)
        for begin in (at, self.night + self.rng.uniform(6.2, 7.5) * HOUR):
            length = self.rng.uniform(300.0, 900.0)
            acts.append((begin, lambda box: setattr(box, "cover_open", opened)))
            acts.append((begin + length, lambda box: setattr(box, "cover_open", 0.0)))

    def _cover(self, acts: list[tuple[float, Act]], at: float) -> None:
        """The wind takes the cover, and nobody comes."""
        self.event_at = at
        opened = self.rng.uniform(0.5, 1.0)
        acts.append((at, lambda box: setattr(box, "cover_open", opened)))

    def _raised(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at = self.night + self.rng.uniform(6.2, 9.0) * HOUR
        up = self.rng.uniform(1.1, 1.25)
        air = self.rng.uniform(0.2, 0.8)

        def raise_lamps(box: Box) -> None:
            box.cover_open = 0.6
            for lamp in box.lamps:
                lamp.height = up
            box.vent += air

        acts.append((at, raise_lamps))
        acts.append((at + 150.0, lambda box: setattr(box, "cover_open", 0.0)))

    def _sun(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.box.weather.sun_w = self.rng.uniform(60.0, 110.0)
        self.event_at = self.night + 2.0 * HOUR

    def _litter(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at = self.night + self.rng.uniform(6.2, 9.0) * HOUR
        share = self.rng.uniform(0.15, 0.35)

        def spread(box: Box) -> None:
            box.cover_open = 0.7
            box.lit_c += share * (box.outside_c - box.lit_c)
            box.litter_c += share * (box.outside_c - box.litter_c)

        acts.append((at, spread))
        acts.append(
            (at + self.rng.uniform(240.0, 480.0), lambda box: setattr(box, "cover_open", 0.0))
        )

    def _chick(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at
        probe = next(p for p in self.box.probes if p.place == "floor")
        for begin in (at, at - self.rng.uniform(1.0, 2.0) * HOUR):
            skin = self.rng.uniform(37.5, 39.8)
            acts.append((begin, lambda box, skin=skin: setattr(probe, "chick_c", skin)))
            acts.append(
                (
                    begin + self.rng.uniform(120.0, 600.0),
                    lambda box: setattr(probe, "chick_c", None),
                )
            )

    def _gap(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at

        def silence(box: Box, silent: bool) -> None:
            for probe in box.probes:
                probe.silent = silent

        acts.append((at, lambda box: silence(box, True)))
        acts.append((at + self.rng.uniform(500.0, 650.0), lambda box: silence(box, False)))

    def _overheat(self, acts: list[tuple[float, Act]], at: float) -> None:
        """A lamp slips down its chain, near the floor probe."""
        self.event_at = at
        down = self.rng.uniform(0.35, 1.0)
        acts.append((at, lambda box: setattr(box.lamps[0], "slipped", down)))

    def _evening(self, fall_k: float) -> None:
        """The coming night is `fall_k` colder at its coldest than the box was fitted for: a clear
        night, which cools from sunset on, or clouds that break up or come in at some hour. Every
        other night a forecast is at hand, an hour old and wrong as forecasts are."""
        self.event_at = self.night + 6.0 * HOUR
        weather = self.box.weather
        weather.wander_c = self.rng.uniform(0.3, 0.8)
        self.facts["clear"] = float(self.rng.random() < 0.65)
        if self.facts["clear"]:
            weather.clear_from_s = self.night + self.rng.uniform(4.8, 6.2) * HOUR
            weather.clear_k = fall_k
        else:
            begins = self.rng.uniform(6.0, 10.0)
            weather.fronts = tuple(
                (self.night + begins * HOUR + k * 5400.0, -fall_k / 3.0, 7200.0) for k in range(3)
            )
        if self.rng.random() < 0.5:
            self._foretell()

    def _foretell(self) -> None:
        weather = self.box.weather
        bias, tilt = self.rng.gauss(0.0, 0.9), self.rng.gauss(0.0, 0.5)
        self.forecast = tuple(
            (
                self.night + hour * HOUR,
                weather.base_c(self.night + hour * HOUR) + bias + tilt * (hour - 12.0) / 6.0,
            )
            for hour in range(5, 25)
        )

    def _front(self, hours: tuple[float, float]) -> None:
        """It comes in the evening or by night; a forecast says so."""
        self.box.weather.wander_c = self.rng.uniform(0.3, 0.8)
        self.event_at = self.night + self.rng.uniform(6.5, 11.0) * HOUR
        lasts_s = self.rng.uniform(*hours) * HOUR
        self.box.weather.fronts = ((self.event_at, -self.rng.uniform(8.0, 16.0), lasts_s),)
        self._foretell()

    def _gradual_front(self, acts: list[tuple[float, Act]], at: float) -> None:
        self._front((4.0, 9.0))

    def _abrupt_front(self, acts: list[tuple[float, Act]], at: float) -> None:
        self._front((0.3, 0.9))

    def _usual_night(self, acts: list[tuple[float, Act]], at: float) -> None:
        """As the one before, give or take a little; a forecast says so."""
        self._mild_night(acts, at)
        self._foretell()

    def _cold_night(self, acts: list[tuple[float, Act]], at: float) -> None:
        self._evening(self.rng.uniform(4.0, 9.0))

    def _mild_night(self, acts: list[tuple[float, Act]], at: float) -> None:
        self._evening(self.rng.uniform(-1.5, 1.5))

    # -- probes

    def _a_floor(self) -> Thermometer:
        probe = self.rng.choice([p for p in self.box.probes if p.place == "floor"])
        self.faulty = (probe.key,)
        return probe

    def _spikes(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at
        probe = self._a_floor()
        for k in range(8):
            height = self.rng.choice((-1.0, 1.0)) * self.rng.uniform(5.0, 40.0)
            acts.append(
                (
                    at + 200.0 * k + self.rng.uniform(0.0, 100.0),
                    lambda box, height=height: probe.spikes.append(height),
                )
            )

    def _stuck(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at
        probe = self._a_floor()
        acts.append((at, lambda box: setattr(probe, "stuck", True)))

    def _drift(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = self.night + 2.0 * HOUR
        probe = self._a_floor()
        rate = self.rng.choice((-1.0, 1.0)) * self.rng.uniform(0.3, 0.6)
        acts.append((self.event_at, lambda box: setattr(probe, "drift_k_per_h", rate)))

    def _fell_out(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at
        probe = self._a_floor()
        acts.append((at, lambda box: setattr(probe, "fallen", True)))

    def _swapped(self, acts: list[tuple[float, Act]], at: float) -> None:
        """Two probes of unlike places are exchanged, by the next reading."""
        self.event_at = at
        places = {p.place: p.key for p in self.box.probes}
        other = places.get("under-heat") or places.get("outside") or places["floor"]
        self.faulty = (places["floor"], other)

    def _under_lamp(self, acts: list[tuple[float, Act]], at: float) -> None:
        self.event_at = at
        probe = self._a_floor()
        extra = self.rng.uniform(10.0, 16.0)
        acts.append((at, lambda box: setattr(probe, "lit_extra_c", extra)))


def _swapped(stretch: Run, plot: _Plot) -> Run:
    one, other = plot.faulty
    names = {one: other, other: one}
    at = plot.event_at or 0.0
    return Run(
        [(t, names.get(key, key) if t >= at else key, c) for t, key, c in stretch.samples],
        stretch.floor,
        stretch.extremes,
    )
