"""How well the night's lowest outside air is foretold, on measured days, beside "the night falls as
last night fell".

    python tests/bench/bench_tonight.py [--weeks 12]

The highs and lows are those of Seattle, 2012 to 2015 (`seattle-weather` of vega_datasets 0.9, BSD
licence, from the NOAA National Climatic Data Center), shrunk to what reaches a porch and shifted.
Between them the air goes two ways: falling by half a cosine, or by an exponential from the warmest
hour; a place in between would lie between. Fails where ours is further off than the baseline."""

import argparse
from collections import defaultdict
from collections.abc import Iterator
from math import cos, exp, pi
from random import Random
from statistics import NormalDist, mean

from vega_datasets import local_data

from monitor.brooding.heat_balance import Prior
from monitor.events import Moment
from monitor.thermal.outside_heard import OutsideHeard

H = 3600.0
COLDEST_H, WARMEST_H, JUDGED_TO_H = 6, 15, 6.75
DAYS = 7
EVERY_MIN = 10
NO_PRIOR = Prior(
    rise_k=0.0,
    rise_sd_k=1.0,
    time_constant_s=3600.0,
    time_constant_spread=2.0,
    watts_per_k=1.0,
    bird_watts=0.0,
)
Z80 = NormalDist().inv_cdf(0.9)


def week(first: int, evening: str, rng: Random) -> list[float]:
    """degC every ten minutes of seven days; the first day begins at midnight."""
    table = local_data.seattle_weather().iloc[first : first + DAYS + 1]
    lows, highs = list(table["temp_min"]), list(table["temp_max"])
    share, shift_k = rng.uniform(0.5, 1.0), rng.uniform(-10.0, 5.0)
    course = []
    for step in range(DAYS * 24 * 60 // EVERY_MIN):
        day, hour = divmod(step * EVERY_MIN / 60.0, 24.0)
        d = int(day)
        if COLDEST_H <= hour < WARMEST_H:
            a, b, gone = lows[d], highs[d], (hour - COLDEST_H) / (WARMEST_H - COLDEST_H)
        else:
            yesterday = d - 1 if hour < COLDEST_H else d
            a, b = highs[max(0, yesterday)], lows[yesterday + 1]
            gone = ((hour - WARMEST_H) % 24.0) / (24.0 - WARMEST_H + COLDEST_H)
        if COLDEST_H <= hour < WARMEST_H or evening == "cosine":
            part = 0.5 - 0.5 * cos(pi * gone)
        else:
            part = (1.0 - exp(-2.5 * gone)) / (1.0 - exp(-2.5))
        course.append((a + (b - a) * part) * share + shift_k + rng.gauss(0.0, 0.1))
    return course


def looks(course: list[float]) -> Iterator[tuple[int, float, float, float]]:
    """Each full hour from 18:00 to 2:00 of each night but the first: hour, how far ours is off the
    night's low, its standard deviation, how far "as last night fell" is off; K."""
    heard = OutsideHeard()
    per_h = 60 // EVERY_MIN
    for step, temp_c in enumerate(course):
        hour = step * EVERY_MIN / 60.0
        heard.observe(hour * H, temp_c, 0.0)
        clock = hour % 24.0
        if hour < 24 + 18 or clock % 1.0 or not (clock >= 18 or clock <= 2):
            continue
        last = step + round(((JUDGED_TO_H - clock) % 24.0) * per_h)
        if last >= len(course):
            return
        low_c = min(course[step : last + 1])
        now = Moment(hour * H, hour * H)
        curve = heard.curve(now, last / per_h * H, 0.0, NO_PRIOR)
        assert curve is not None
        ours = min(curve.points, key=lambda point: point.temp_c)
        day = 24 * per_h
        fell_c = min(course[step - day : last + 1 - day]) - course[step - day]
        yield int(clock), low_c - ours.temp_c, ours.sd_k, low_c - (temp_c + fell_c)


def main() -> int:
    """Prints the table; 1 if ours is no better than the baseline."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--weeks", type=int, default=12)
    weeks = options.parse_args().weeks
    print("hour  nights  off the low, mean K: ours / as last night   80 % interval holds, %")
    worse = False
    for evening in ("cosine", "exponential"):
        rng = Random(f"tonight {evening}")
        rows = defaultdict(list)
        for _ in range(weeks):
            for hour, *found in looks(week(rng.randrange(1400), evening, rng)):
                rows[hour].append(found)
        print(evening)
        for hour in (18, 20, 22, 0, 2):
            found = rows[hour]
            ours = mean(abs(off) for off, _, _ in found)
            as_last = mean(abs(off) for _, _, off in found)
            inside = 100 * mean(abs(off) < Z80 * sd for off, sd, _ in found)
            print(f"{hour:4d} {len(found):7d} {ours:28.2f} / {as_last:.2f} {inside:26.0f}")
        every = [row for found in rows.values() for row in found]
        worse |= mean(abs(o) for o, _, _ in every) > mean(abs(b) for _, _, b in every)
    return int(worse)


if __name__ == "__main__":
    raise SystemExit(main())
