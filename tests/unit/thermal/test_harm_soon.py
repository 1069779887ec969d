"""The least time to the chill limit is one that the truth seldom undercuts."""

from monitor.thermal.harm import minutes_to


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
