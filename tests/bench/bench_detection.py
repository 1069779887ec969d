"""How soon, how surely and with what cause the watch tells what happens in simulated nights, beside
a plain threshold alarm with five minutes' delay on the same nights.

    python tests/bench/bench_detection.py [--nights 40] [--seeds held|open] [--kinds lamp,all]

Held-back (odd) seeds unless told otherwise: the watch has been developed on even ones."""

import argparse
import sys
from collections import Counter, defaultdict
from collections.abc import Iterable
from pathlib import Path
from statistics import median

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

# ruff: noqa: E402
from support.scenarios import FAILURES, FAULTS, NUISANCES, Night, make
from support.watched import DAY_0, Watched, outlook_at, plain_alarm, watch

LATE_S = 3600.0  # recognised later than this counts as missed
BAD = ("cold", "hot", "chill", "overheat", "heat-loss", "cold-night", "no-readings", "probe-fault")


def minutes(seconds: Iterable[float]) -> str:
    """Quartiles in minutes."""
    values = sorted(seconds)
    if not values:
        return "-"
    n = len(values)
    pick = (values[n // 10], values[n // 2], values[(9 * n) // 10])
    return "/".join(f"{v / 60.0:.1f}" for v in pick)


def share(part: int, whole: int) -> str:
    """As a percentage with its counts."""
    return f"{100.0 * part / whole:.0f} % ({part}/{whole})" if whole else "-"


def false_alarms(seen: Watched, since: float) -> list[str]:
    """Urgent and warning alarms after `since` that the truth does not bear out."""
    night = seen.night
    found = []
    for change in seen.raised(*BAD, after=since):
        at = change.at - DAY_0
        around = [row for row in night.run.extremes if at - 900.0 <= row[0] <= at + 60.0]
        coldest = min(row[1] for row in around)
        hottest = max(row[2] for row in around)
        name = change.alarm.value
        limits = night.brooder.limits
        true = {
            "cold": coldest < night.low_c + 0.8,  # the probe's error, and the place's wandering
            "chill": coldest < night.chill_c + 0.8,
            "hot": hottest > night.target_c + limits.band_c - 0.8,
            "overheat": hottest > night.target_c + limits.harm_c - 0.8,
            "cold-night": min(r[1] for r in night.run.extremes if r[0] > at) < night.low_c + 0.3,
        }.get(name, False)
        if not true:
            found.append(f"{name}/{change.cause.value}@{(at - since) / 3600.0:.1f}h")
    return found


def failures(nights: int, first: int, kinds: Iterable[str], verbose: bool) -> None:
    """Heat sources that go out."""
    rows: dict[str, list[tuple[Night, float | None, float | None, float | None, str]]]
    rows = defaultdict(list)
    sources: Counter[str] = Counter()
    for kind in kinds:
        for seed in range(first, first + 2 * nights, 2):
            night = make(kind, seed)
            assert night.event_at is not None
            at = night.event_at
            below = next(
                (t for t, low, _ in night.run.extremes if t > at and low < night.low_c), None
            )
            if below is None:
                continue  # the rest of the heat is enough: nothing to recognise in time
            seen = watch(night)
            told = seen.first("heat-loss", after=at)
            plain = plain_alarm(night, at)
            chill = night.first_below(night.chill_c, at)
            causes = [c.cause.value for c in seen.raised(*BAD, after=at) if c.alarm != "cold-night"]
            cause = causes[0] if causes else "none"
            rows[kind].append((night, told, plain, chill, cause))
            if told is not None:
                found = seen.raised("heat-loss", after=at)[0].facts
                right = set(night.lost) == {found.get("source")} or (
                    len(night.lost) > 1 and found.get("source") == "every heat source"
                )
                sources[f"{'sure' if found.get('source_sure') else 'unsure'} {right}"] += 1
            if verbose:
                print(
                    f"  {kind} {seed} [{night.layout}] told",
                    None if told is None else f"{(told - at) / 60:.1f}",
                    "low",
                    f"{(below - at) / 60:.1f}",
                    "plain",
                    None if plain is None else f"{(plain - at) / 60:.1f}",
                    cause,
                )
    every = [row for kind in rows.values() for row in kind]
    for name, group in [*rows.items(), ("all together", every)]:
        told_in = [r for r in group if r[1] is not None and r[1] - r[0].event_at <= LATE_S]
        print(
            f"{name:14} recognised {share(len(told_in), len(group))};"
            f" delay min {minutes(r[1] - r[0].event_at for r in told_in)} (10/50/90 %);"
            f" plain {minutes(r[2] - r[0].event_at for r in group if r[2])};"
            f" lead over plain {minutes(r[2] - r[1] for r in told_in if r[2])};"
            f" lead over chill {minutes(r[3] - r[1] for r in told_in if r[3])};"
            f" cause right {share(sum(r[4] == 'heat-source' for r in group), len(group))}"
        )
    by_layout: dict[str, list[float]] = defaultdict(list)
    for row in every:
        by_layout[row[0].layout].append((row[1] or 1e9) - (row[0].event_at or 0.0))
    for layout, delays in sorted(by_layout.items()):
        print(f"    {layout:18} {len(delays)} nights, delay median {median(delays) / 60:.1f} min")
    print(f"    source named: {dict(sources)}")


def nuisances(nights: int, first: int, kinds: Iterable[str], verbose: bool) -> None:
    """Quiet nights and what growers do."""
    for kind in kinds:
        false: list[str] = []
        plain = 0
        bad_nights = 0
        for seed in range(first, first + 2 * nights, 2):
            night = make(kind, seed)
            seen = watch(night)
            since = (
                night.watch_from
                if kind == "quiet"
                else min(night.event_at or 0.0, night.watch_from)
            )
            found = false_alarms(seen, since)
            if found:
                bad_nights += 1
                false += found
                if verbose:
                    print(f"  {kind} {seed} [{night.layout}] {found}")
            plain += plain_alarm(night, since) is not None
        print(
            f"{kind:14} nights with a false urgent or warning alarm {share(bad_nights, nights)};"
            f" plain alarm rang in {plain}; {dict(Counter(f.split('@')[0] for f in false))}"
        )


def cold_nights(nights: int, first: int, verbose: bool) -> None:
    """Nights that turn cold, and nights that do not."""
    leads = []
    by: dict[str, list[bool]] = defaultdict(list)
    warned_wrongly = quiet = cold = warnings = 0
    for kind in ("cold-night", "mild-night"):
        for seed in range(first, first + 2 * nights, 2):
            night = make(kind, seed)
            seen = watch(night)
            since = night.event_at or 0.0
            warned = seen.first("cold-night", after=since - 10800.0)
            lows = [(t, low) for t, low, _ in night.run.extremes if t >= since]
            below = next((t for t, c in lows if c < night.low_c), None)
            least = min(c for _, c in lows)
            if below is not None and below - since < 7200.0:
                continue  # already cold at dusk
            warnings += warned is not None
            if below is None:
                quiet += 1
                warned_wrongly += warned is not None
                if verbose and warned:
                    print(
                        f"  {kind} {seed} [{night.layout}] warned wrongly,"
                        f" lowest {least - night.low_c:+.1f}"
                    )
            else:
                cold += 1
                how = "clear night" if night.facts["clear"] else "clouds break"
                how += ", forecast" if night.forecast else ", none"
                how += (
                    ""
                    if any(p.place.value == "outside" for p in night.brooder.probes)
                    else ", no probe"
                )
                by[how].append(warned is not None and below - warned >= 7200.0)
                if warned is not None and below - warned >= 7200.0:
                    leads.append(below - warned)
                else:
                    if verbose:
                        print(
                            f"  {kind} {seed} [{night.layout}] missed: warned",
                            None if warned is None else f"{(below - warned) / 60:.0f} min before",
                            f"below {(below - since) / 3600:.1f} h,"
                            f" lowest {least - night.low_c:+.1f}",
                        )
    print(
        f"cold nights    told >= 2 h ahead {share(len(leads), cold)}; lead min {minutes(leads)};"
        f" false warnings {share(warned_wrongly, warnings)} of all warnings,"
        f" in {share(warned_wrongly, quiet)} of nights that held"
    )
    for name, told in sorted(by.items()):
        print(f"    {name:28} told {share(sum(told), len(told))}")


def intervals(nights: int, first: int, verbose: bool) -> None:
    """Does the 80 % interval for tonight's lowest, given in the evening, hold it?"""
    for hour in (18.5, 21.0, 24.0):
        inside = asked = 0
        off = []
        widths = []
        for kind in ("cold-night", "mild-night", "quiet"):
            for seed in range(first, first + 2 * nights, 2):
                night = make(kind, seed, layout=None)
                got = outlook_at(night, night.watch_from + (hour - 18.0) * 3600.0)
                if got is None:
                    continue
                outlook, truth = got
                asked += 1
                inside += outlook.lowest_c.low <= truth <= outlook.lowest_c.high
                off.append(truth - outlook.lowest_c.mid)
                widths.append(outlook.lowest_c.high - outlook.lowest_c.low)
                if verbose:
                    print(f"  {kind} {seed} {night.layout}: {outlook.lowest_c} truth {truth:.1f}")
        off.sort()
        n = len(off)
        print(
            f"tonight, asked at {hour:04.1f} h: 80 % interval holds {share(inside, asked)};"
            f" error K {off[n // 10]:+.1f}/{off[n // 2]:+.1f}/{off[9 * n // 10]:+.1f};"
            f" width {median(widths):.1f} K"
        )


def overheats(nights: int, first: int, verbose: bool) -> None:
    """A lamp that slips."""
    delays = []
    cases = 0
    for seed in range(first, first + 2 * nights, 2):
        night = make("overheat", seed)
        at = night.event_at or 0.0
        seen = watch(night)
        keys = {p.key for p in night.brooder.probes if p.place.value == "floor"}
        high_c = night.target_c + night.brooder.limits.band_c
        left = next(
            (t for t, k, c in night.run.samples if t > at and k in keys and c > high_c), None
        )
        if left is None:
            continue
        cases += 1
        told = seen.first("overheat", after=at - 60.0)
        if told is not None:
            delays.append(max(0.0, told - left))
        if verbose and (told is None or told - left > 120.0):
            print(f"  overheat {seed} [{night.layout}]", None if told is None else told - left)
    soon = sum(delay <= 120.0 for delay in delays)
    print(
        f"overheat       told within 2 min of leaving the band {share(soon, cases)};"
        f" delay min {minutes(delays)}"
    )


def faults(nights: int, first: int, kinds: Iterable[str], verbose: bool) -> None:
    """Probes that mislead, in layouts with neighbours and without."""
    for kind in kinds:
        told = blamed = cases = other = 0
        delays = []
        for seed in range(first, first + 2 * nights, 2):
            night = make(kind, seed, layout=("two floor", "full", "under heat")[seed // 2 % 3])
            at = night.event_at or 0.0
            seen = watch(night)
            cases += 1
            found = seen.raised("probe-fault", after=at)
            if found:
                told += 1
                blamed += found[0].probe in night.faulty
                delays.append(found[0].at - DAY_0 - at)
            urgent = [
                c.alarm.value
                for c in seen.raised("heat-loss", "chill", "overheat", after=at)
                if not found or c.at < found[0].at
            ]
            other += bool(urgent)
            if verbose and (not found or urgent):
                print(f"  {kind} {seed} [{night.layout}] {'told' if found else 'missed'} {urgent}")
        print(
            f"{kind:14} told {share(told, cases)}, right probe {share(blamed, told)},"
            f" delay min {minutes(delays)}; an urgent alarm came first in {other}"
        )


def covers(nights: int, first: int, verbose: bool) -> None:
    """A cover that the wind took: which cause was named with the first alarm that it led to?"""
    causes: Counter[str] = Counter()
    for seed in range(first, first + 2 * nights, 2):
        night = make("cover", seed)
        seen = watch(night)
        found = seen.raised("cold", "chill", "heat-loss", after=night.event_at or 0.0)
        cause = found[0].cause.value if found else "nothing told"
        causes[
            f"{'sole floor' if night.layout.startswith('floor') else 'more probes'}: {cause}"
        ] += 1
        if verbose:
            print(f"  cover {seed} [{night.layout}] {cause}")
    print(f"cover taken    {dict(causes)}")


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--nights", type=int, default=40)
    ask.add_argument("--seeds", choices=("held", "open"), default="held")
    ask.add_argument("--begin", type=int, default=0, help="even: seeds from here on")
    ask.add_argument("--kinds", default="")
    ask.add_argument("--verbose", action="store_true")
    told = ask.parse_args()
    first = told.begin + (1 if told.seeds == "held" else 0)
    kinds = [kind for kind in told.kinds.split(",") if kind]

    def wanted(names: Iterable[str]) -> list[str]:
        return [name for name in names if not kinds or name in kinds]

    if wanted(FAILURES):
        failures(told.nights, first, wanted(FAILURES), told.verbose)
    if wanted(("quiet", *NUISANCES)):
        nuisances(told.nights, first, wanted(("quiet", *NUISANCES)), told.verbose)
    if wanted(("cover",)):
        covers(told.nights, first, told.verbose)
    if wanted(("overheat",)):
        overheats(told.nights, first, told.verbose)
    if wanted(("cold-night",)):
        cold_nights(told.nights, first, told.verbose)
    if wanted(("tonight",)):
        intervals(told.nights, first, told.verbose)
    if wanted(FAULTS):
        faults(told.nights, first, wanted(FAULTS), told.verbose)


if __name__ == "__main__":
    main()
