"""The least time to the chill limit is one that the truth seldom undercuts."""

from math import exp
from random import Random

from test_thermal_watch import box

from monitor.brooding.heat_balance import prior
from monitor.thermal.diagnosis import Interval
from monitor.thermal.harm import minutes_to
from monitor.thermal.thermal_watch import ThermalWatch

TARGET_C, CHILL_C, WENT_OUT_S = 33.0, 27.4, 3 * 3600.0


def left(falls_k_per_h: float):
    return minutes_to(
        29.4,
        floor_c=33.4,
        heading_c=10.0,
        heading_sd_k=1.0,
        tau_s=7200.0,
        lost=None,
        since_floor_s=0.0,
        tick=0.0,
        falls_k_per_h=falls_k_per_h,
    )


def test_a_fall_that_is_seen_may_grow_and_the_probe_says_it_late():
    """4 K at 12 K an hour is 20 minutes along a straight line; less than half of that if the pace
    grows, and a minute and a half is gone before the probe says so."""
    assert left(12.0).low <= 20.0 / 2.4 - 1.5 + 0.01
    assert left(12.0).low < left(12.0).mid


def test_a_floor_that_is_not_seen_to_fall_is_judged_by_where_it_heads():
    assert left(0.0).low > left(12.0).low


def first_said(
    *places: str, watts: tuple[float, ...], floor_k_per_min: float = 0.1, for_s: float = 0.0
) -> tuple[float, Interval | None]:
    """By night the probe beneath lamp 1 cools with a lag of four minutes, and the floor goes down:
    what is left `for_s` after lost heat was told, and the floor then."""
    brooder = box("floor", "outside", *places, watts=watts)
    watch = ThermalWatch(brooder, prior(brooder), True)
    watch.target_is(TARGET_C)
    rng, told = Random(5), None
    for step in range(500):
        tick = 30.0 * step
        watch.hour_is(tick, 2.0)
        watch.observe_outside(tick, 8.0)
        minutes = max(0.0, tick - WENT_OUT_S) / 60.0
        floor_c = TARGET_C - floor_k_per_min * minutes
        temps_c = {"floor": floor_c, **dict.fromkeys(places, 40.0)}
        temps_c["under-heat lamp 1"] -= 12.0 * (1.0 - exp(-minutes / 4.0))
        for name, temp_c in temps_c.items():
            said = watch.observe(
                tick, f"porch/{name}", round(16 * (temp_c + rng.gauss(0.0, 0.03))) / 16
            )
            if told is None and said is not None and said.heat_lost:
                told = tick
        if told is not None and tick >= told + for_s:
            return floor_c, watch.minutes_to(CHILL_C, tick)
    raise AssertionError("lost heat was not told")


def test_what_is_left_is_said_before_the_floor_has_fallen():
    """Told by the probe beneath the lamp: the only one, so the floor is on its way to the cold."""
    floor_c, left = first_said("under-heat lamp 1", watts=(250.0,))
    assert floor_c > TARGET_C - 0.5
    assert left is not None
    assert 0.0 < left.low < left.mid < left.high


def test_a_lamp_that_nobody_looks_beneath_may_be_out_as_well():
    """It may be the power."""
    both = ("under-heat lamp 1", "under-heat lamp 2")
    one, two = (first_said(*places, watts=(200.0, 200.0))[1] for places in (both[:1], both))
    assert one is not None
    assert two is None or one.low < two.low


def test_a_floor_that_holds_itself_for_long_is_not_said_to_reach_the_limit():
    """Litter lies over the probe beneath the lamp."""
    held = {"watts": (250.0,), "floor_k_per_min": 0.0}
    assert first_said("under-heat lamp 1", **held)[1] is not None
    assert first_said("under-heat lamp 1", **held, for_s=600.0)[1] is None
