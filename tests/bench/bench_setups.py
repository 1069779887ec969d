"""The set-ups that growers have: what is told in each, how soon, with what cause, and what for
nothing, beside a plain low alarm with five minutes' delay.

    python tests/bench/bench_setups.py [--nights 12] [--seeds held|open] [--kinds plates,one-probe]

Held-back (odd) seeds unless told otherwise: the watch has been developed on even ones."""

import argparse
import sys
from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from random import Random
from statistics import median
from zoneinfo import ZoneInfo

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

# ruff: noqa: E402
from support.birds import chicks_in
from support.setups import BEGINS_H, HOUR, World
from support.watched import DAY_0

from monitor.events import AlarmName, Change, ChangeKind, Moment, Reading
from monitor.site import Site
from monitor.units import Unit
from monitor.watch.engine import Engine

Act = Callable[[World, float], None]
HEAT = ("heat-loss", "cold", "chill")
FULL = ("floor", "under 0", "under 1", "cool", "outside")


def stops(which: int | None) -> Callable[[float], Act]:
    """A source, or all of them, from that hour on."""

    def act(at_h: float) -> Act:
        def live(world: World, hour: float) -> None:
            if hour >= at_h:
                world.on = [
                    0.0 if which is None or k == which else 1.0 for k in range(world.sources)
                ]

        return live

    return act


def sets(name: str, value: float | bool, minutes: float = 1e9) -> Callable[[float], Act]:
    """Something of the world, for so long from that hour on."""

    def act(at_h: float) -> Act:
        usual = None

        def live(world: World, hour: float) -> None:
            nonlocal usual
            if usual is None:
                usual = getattr(world, name)
            setattr(world, name, value if at_h <= hour < at_h + minutes / 60.0 else usual)

        return live

    return act


def hourly(at_h: float) -> Act:
    """Children lift the cover for three minutes of every hour until nine in the evening."""

    def live(world: World, hour: float) -> None:
        world.cover = 0.6 if hour < 21.0 and (hour - at_h) % 1.0 < 0.05 else 0.0

    return live


def dimmed(share: float, gone_min: float = 0.0) -> Callable[[float], Act]:
    """The first source by daylight: raised, or swapped for another after a few minutes without."""

    def act(_: float) -> Act:
        def live(world: World, hour: float) -> None:
            since_min = (hour - 18.3) * 60.0
            if since_min >= 0.0:
                world.on[0] = 0.0 if since_min < gone_min else share

        return live

    return act


# what the world is like, what happens in it, and the cause that should be told (None: nothing)
KINDS: dict[str, tuple[dict, Callable[[float], Act], str | None]] = {
    "one lamp of two": ({}, stops(1), "heat-source"),
    "all power": ({"probes": FULL}, stops(None), "heat-source"),
    "probe beneath each": ({"probes": FULL}, stops(1), "heat-source"),
    "plates": ({"plates": True}, stops(0), "heat-source"),
    "cycle stops": ({"thermostat_s": 720.0}, stops(0), "heat-source"),
    "one probe": ({"probes": ("floor",), "sources": 1}, stops(0), "heat-source"),
    "no outside": ({"probes": ("floor", "under 0")}, stops(1), "heat-source"),
    "no floor probe": ({"probes": ("under 0",), "sources": 1}, stops(0), "heat-source"),
    "every 60 s": ({"every_s": 60.0}, stops(1), "heat-source"),
    "every 300 s": ({"every_s": 300.0}, stops(None), "heat-source"),
    "a fifth lost": ({"lost": 0.2}, stops(1), "heat-source"),
    "9 bit": ({"quantum_c": 0.5}, stops(1), "heat-source"),
    "Fahrenheit, whole": ({"quantum_c": 1.0, "fahrenheit": True}, stops(1), "heat-source"),
    "big birds": ({"birds": 0.45}, stops(None), "heat-source"),
    "cover off": ({"probes": ("floor", "cool", "outside")}, sets("cover", 1.0), "cover-open"),
    "quiet": ({}, sets("cover", 0.0), None),
    "quiet, thermostat": ({"thermostat_s": 600.0}, sets("cover", 0.0), None),
    "feeding": ({}, sets("cover", 1.0, 7.0), None),
    "children": ({}, hourly, None),
    "lamp raised": ({}, dimmed(0.93), None),
    "lamp swapped": ({}, dimmed(0.95, 4.0), None),
    "huddling": ({"restless_k": 0.35}, sets("cover", 0.0), None),
    "chick on it": ({}, sets("chick", 0.35, 20.0), None),
    "litter over it": ({}, sets("buried", True), None),
    "drinker spilled": ({"probes": FULL}, sets("wet_k", 2.2), "sensor"),
    "probe carried off": ({"probes": FULL}, sets("carried", 0.25), "sensor"),
    "probe lifted": ({"probes": ("floor", "cool", "outside")}, sets("carried", 0.7), "sensor"),
    "sun on the outside": ({"probes": FULL}, sets("sun_k", 14.0, 90.0), "sensor"),
}


def night(kind: str, seed: int) -> tuple[World, float, list[Change], float | None]:
    """The world, the second of the event, all changes, and when the plain alarm rang after it."""
    shape, act, _ = KINDS[kind]
    rng = Random(f"{kind}/{seed}")
    world = World(rng, **shape)
    evening = kind in ("feeding", "children", "lamp raised", "lamp swapped")
    at_h = rng.uniform(18.0, 21.5) if evening else rng.uniform(20.0, 28.0)
    brooder = world.brooder()
    site = Site(name="Hillside", timezone=ZoneInfo("UTC"), units=Unit.CELSIUS, brooders=(brooder,))
    start = Moment(DAY_0 + BEGINS_H * HOUR, DAY_0 + BEGINS_H * HOUR)
    engine = Engine(site, start)
    hatched = date.fromordinal(datetime.fromtimestamp(start.at, UTC).toordinal() - 3).isoformat()
    placed = chicks_in(start.at, number=1, hatched=hatched)
    changes = list(engine.entry(placed, start))
    low_c = world.target_c - brooder.limits.band_c
    since = plain = None
    for second, key, temp_c in world.live(act(at_h)):
        at = DAY_0 + second
        changes += engine.reading(Reading(at, at, key, temp_c))
        if key == "porch/floor":
            since = (since or second) if temp_c < low_c else None
            if plain is None and since and second >= max(since + 300.0, at_h * HOUR):
                plain = second
    return world, at_h * HOUR, changes, plain


def told(changes: list[Change], after: float) -> list[Change]:
    """Urgent and warning alarms raised and told since that second."""
    return [
        c
        for c in changes
        if c.change is ChangeKind.RAISED
        and c.priority.value in ("urgent", "warning")
        and not c.facts.get("folded")
        and c.at - DAY_0 >= after
    ]


def _named(changes: list[Change], after: float) -> list[float]:
    """Minutes until a probe was first said to be at fault, by whatever priority; none: never."""
    named = [
        c.at - DAY_0
        for c in changes
        if c.alarm is AlarmName.PROBE_FAULT and c.change is ChangeKind.RAISED
    ]
    return [(at - after) / 60.0 for at in named if at >= after][:1]


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--nights", type=int, default=12)
    ask.add_argument("--seeds", choices=("held", "open"), default="held")
    ask.add_argument("--kinds", default="")
    asked = ask.parse_args()
    first = 1 if asked.seeds == "held" else 0
    wanted = [kind for kind in asked.kinds.split(",") if kind] or list(KINDS)
    for kind in wanted:
        cause = KINDS[kind][2]
        delays, later, right, quiet_told = [], 0, 0, Counter()
        for seed in range(first, first + 2 * asked.nights, 2):
            _, at, changes, plain = night(kind, seed)
            before = told(changes, BEGINS_H * HOUR + HOUR)
            if cause is None:
                quiet_told.update(f"{c.alarm.value}/{c.cause.value}" for c in before)
                continue
            quiet_told.update(c.alarm.value for c in before if c.at - DAY_0 < at)
            if cause == "sensor":
                delays += _named(changes, at)
                continue
            found = [c for c in before if c.at - DAY_0 >= at and c.alarm.value in HEAT]
            if found:
                delay = found[0].at - DAY_0 - at
                delays.append(delay / 60.0)
                causes = [c.cause.value for c in found if c.at <= found[0].at + 1800.0]
                right += causes[-1] == cause
                later += plain is not None and plain - at < delay - 1.0
        words = f"told for nothing {dict(quiet_told)}" if quiet_told else "nothing for nothing"
        if cause is not None:
            delays.sort()
            middle = f"{median(delays):.1f}" if delays else "-"
            tenth = f"{delays[(9 * len(delays) - 1) // 10]:.1f}" if delays else "-"
            of_heat = f"cause right {right}, later than the plain alarm {later}"
            told_of = f"{len(delays)}/{asked.nights}, median {middle} min, nine of ten {tenth}"
            words = (
                f"probe named {told_of}; {words}"
                if cause == "sensor"
                else f"told {told_of}, {of_heat}; {words}"
            )
        print(f"{kind:20} {words}", flush=True)


if __name__ == "__main__":
    main()
