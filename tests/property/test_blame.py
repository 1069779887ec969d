"""Promises of the diagnosis over any readings: whoever is seen to work is not blamed, a source
whose own probe collapses is told soon, heat that is there is not missed."""

from random import Random

from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.brooding.heat_balance import prior
from monitor.events import Cause
from monitor.site import Brooder, HeatSource, Place, Probe
from monitor.thermal.diagnosis import Diagnosis
from monitor.thermal.thermal_watch import ThermalWatch

TARGET_C = 35.0
EVERY_S = st.sampled_from([10.0, 15.0, 30.0, 60.0])
SEEDS = st.integers(0, 10_000)
HOUR_S = 3600.0


class Box:
    """Two lamps, a probe on the floor and one beneath each of those lamps that are `watched`."""

    def __init__(self, seed: int, every_s: float, *, watched: int, hour: float, birds: bool = True):
        self.rng = Random(seed)
        self.every_s = every_s
        self.tick = 0.0
        under = [f"under {name} lamp" for name in ("west", "east")[:watched]]
        self.brooder = Brooder(
            name="porch",
            length_m=1.5,
            width_m=1.5,
            height_m=0.5,
            cover="plywood",
            probes=tuple(
                Probe(key=name, brooder="porch", name=name, topic=name, place=place)
                for name, place in [
                    ("floor", Place.FLOOR),
                    *((name, Place.UNDER_HEAT) for name in under),
                ]
            ),
            heat=tuple(
                HeatSource(name=f"{name} lamp", kind="lamp", watts=self.rng.choice([125, 250]))
                for name in ("west", "east")
            ),
        )
        self.watch = ThermalWatch(self.brooder, prior(self.brooder, 100, 3.0), False)
        self.watch.hour_is(0.0, hour)
        self.watch.target_is(TARGET_C if birds else None)
        self.seen: list[tuple[float, Diagnosis]] = []

    def lives(self, for_s: float, *, floor: tuple[float, float], **under: float) -> None:
        """`floor`: from where to where, evenly; each probe beneath a lamp at its degrees."""
        begun, until = self.tick, self.tick + for_s
        while self.tick < until:
            self.tick += self.every_s
            part = (self.tick - begun) / for_s
            self.hears("floor", floor[0] + part * (floor[1] - floor[0]))
            for name, temp_c in under.items():
                self.hears(f"under {name} lamp", temp_c)
            self.seen.append((self.tick, self.watch.diagnosis))

    def hears(self, key: str, temp_c: float) -> None:
        said = round((temp_c + self.rng.gauss(0.0, 0.05)) * 16.0) / 16.0
        self.watch.observe(self.tick, key, said)

    def blamed(self) -> set[str]:
        """Every source that was named, by itself or among others."""
        return {
            name
            for _, found in self.seen
            if found.cause is Cause.HEAT_SOURCE
            for name in (
                *found.suspects,
                *(
                    [source.name for source in self.brooder.heat]
                    if found.source == "every heat source"
                    else [found.source]
                ),
            )
            if name is not None
        }


@settings(max_examples=12, deadline=None)
@given(
    seed=SEEDS,
    every_s=EVERY_S,
    hour=st.floats(0.0, 24.0),
    warm_c=st.floats(36.0, 55.0),
    down_k=st.floats(1.0, 20.0),
    minutes=st.floats(2.0, 120.0),
)
def test_a_source_whose_own_probe_is_warm_is_never_named(
    seed, every_s, hour, warm_c, down_k, minutes
):
    box = Box(seed, every_s, watched=1, hour=hour)
    box.lives(1.5 * HOUR_S, floor=(35.3, 35.3), west=warm_c)
    box.lives(minutes * 60.0, floor=(35.3, 35.3 - down_k), west=warm_c)
    box.lives(HOUR_S, floor=(35.3 - down_k, 35.3 - down_k), west=warm_c)
    assert "west lamp" not in box.blamed()


@settings(max_examples=12, deadline=None)
@given(
    seed=SEEDS,
    every_s=EVERY_S,
    hour=st.floats(0.0, 24.0),
    down_k=st.floats(1.5, 12.0),
    minutes=st.floats(3.0, 90.0),
)
@example(seed=0, every_s=30.0, hour=1.0, down_k=8.0, minutes=45.0)  # long enough to look like one
def test_a_floor_probe_that_cools_alone_is_no_lamp(seed, every_s, hour, down_k, minutes):
    box = Box(seed, every_s, watched=2, hour=hour)
    box.lives(1.5 * HOUR_S, floor=(35.3, 35.3), west=44.0, east=42.0)
    box.lives(minutes * 60.0, floor=(35.3, 35.3 - down_k), west=44.0, east=42.0)
    box.lives(HOUR_S, floor=(35.3 - down_k, 35.3 - down_k), west=44.0, east=42.0)
    assert box.blamed() == set()


@settings(max_examples=12, deadline=None)
@given(
    seed=SEEDS,
    every_s=EVERY_S,
    hour=st.floats(0.0, 24.0),
    warm_c=st.floats(40.0, 55.0),
    cold_c=st.floats(12.0, 33.0),
)
def test_a_source_whose_own_probe_collapses_is_named_within_three_minutes(
    seed, every_s, hour, warm_c, cold_c
):
    box = Box(seed, every_s, watched=2, hour=hour)
    box.lives(1.5 * HOUR_S, floor=(35.3, 35.3), west=42.0, east=warm_c)
    box.lives(180.0, floor=(35.3, 35.3), west=42.0, east=cold_c)
    assert box.blamed() == {"east lamp"}


@settings(max_examples=10, deadline=None)
@given(seed=SEEDS, every_s=EVERY_S, hour=st.floats(0.0, 24.0), down_k=st.floats(2.0, 15.0))
def test_no_heat_is_missed_once_the_floor_has_been_at_its_target_for_ten_minutes(
    seed, every_s, hour, down_k
):
    box = Box(seed, every_s, watched=1, hour=hour)
    box.lives(1.5 * HOUR_S, floor=(35.5, 35.5), west=44.0)
    box.lives(1500.0, floor=(35.5, 35.5 - down_k), west=44.0 - 2.0 * down_k)
    box.lives(1200.0, floor=(35.5 - down_k, 35.5), west=44.0 - 2.0 * down_k)
    box.lives(900.0, floor=(35.5, 35.5), west=44.0 - 2.0 * down_k)
    assert not box.watch.diagnosis.heat_lost


@settings(max_examples=10, deadline=None)
@given(
    seed=SEEDS,
    every_s=EVERY_S,
    hour=st.floats(0.0, 24.0),
    swings=st.lists(st.floats(10.0, 45.0), min_size=1, max_size=6),
)
def test_whatever_an_empty_box_did_no_heat_is_missed_when_the_birds_come(
    seed, every_s, hour, swings
):
    """Lamps on at seven, off, on again; the chicks at eleven."""
    box = Box(seed, every_s, watched=1, hour=hour, birds=False)
    temp_c = 12.0
    for to_c in (*swings, 35.4):
        box.lives(0.6 * HOUR_S, floor=(temp_c, to_c), west=to_c + 5.0)
        temp_c = to_c
    box.watch.target_is(TARGET_C)
    box.lives(2 * HOUR_S, floor=(35.4, 35.3), west=41.0)
    assert box.blamed() == set()
    assert not any(found.heat_lost for _, found in box.seen)


@settings(max_examples=8, deadline=None)
@given(seed=SEEDS, every_s=EVERY_S, down_k=st.floats(4.0, 15.0), minutes=st.floats(8.0, 30.0))
def test_a_cold_floor_on_its_way_back_by_night_is_no_overheat(seed, every_s, down_k, minutes):
    box = Box(seed, every_s, watched=1, hour=23.5)
    box.lives(HOUR_S, floor=(35.0, 35.0), west=44.0)
    box.lives(1.2 * HOUR_S, floor=(35.0 - down_k, 35.0 - down_k), west=30.0)
    box.lives(minutes * 60.0, floor=(35.0 - down_k, 35.0), west=44.0)
    box.lives(HOUR_S, floor=(35.0, 35.0), west=44.0)
    assert not any(found.cause is Cause.OVERHEAT for _, found in box.seen)
