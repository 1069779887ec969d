"""Nights of a box worked out from radiation, air and birds, replayed by the command as a grower
would: what `brooder replay` tells of them, beside a plain alarm (target +/- 2.8 degC for five
minutes).

    python tests/bench/bench_radiant.py [--nights 40] [--first 1] [--keep FOLDER] [--verbose]

Lamps shine by their beam and distance; litter is two layers; the leak goes by wind and warmth;
birds are heat that walks to where it is right and covers the litter; thermostats lag; a porch cools
with the square root of the hours since sunset (Brunt 1932, from memory). Probes err, lag, warm
themselves, and some send half degrees or lose a fifth. Odd numbers have no event. All figures are
invented."""

import argparse
import json
import subprocess
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import exp, pi, sin, sqrt
from pathlib import Path
from random import Random
from statistics import fmean, median

STEP_S, HOUR = 15.0, 3600.0
BEGINS_H, ENDS_H = (
    18.0,
    56.0,
)  # hours since the first midnight: an evening, a day, the night asked about
DAY_0 = datetime(2026, 2, 9, tzinfo=UTC).timestamp()
BAND_K, HARM_K = 2.8, 5.6
AHEAD_S, ERROR_K = 1800.0, 0.5  # of a word that speaks of what comes; of a probe
UNDER_WEST, EDGE, UNDER_EAST, COOL = range(4)
EVENTS = {  # what happens, and the cause that should be told
    "one lamp": "heat-source",
    "all power": "heat-source",
    "cover off": "cover-open",
    "thermostat off": "heat-source",
    "front": "cold-night",
    "probe out": "sensor",
}
HEAT = ("heat-loss", "cold", "chill")


def _wanders(rng: Random, was: float, lag_s: float, spread: float) -> float:
    share = STEP_S / lag_s
    return was * (1.0 - share) + rng.gauss(0.0, spread * sqrt(2.0 * share))


@dataclass
class Box:
    """A box with its heat, birds and probes, by chance."""

    rng: Random
    event: str | None
    event_h: float = 0.0
    power: float = 1.0  # of each source, of what is written on it
    set_c: float = 99.0  # of its thermostat
    readings: list[tuple[float, str, float]] = field(default_factory=list)
    floor: list[tuple[float, float]] = field(default_factory=list)  # true, each minute

    def __post_init__(self) -> None:
        rng = self.rng
        self.plates = rng.random() < 0.25
        self.switched = self.event == "thermostat off" or rng.random() < 0.3
        self.age_days = rng.randint(2, 19)
        self.target_c = (35.0, 32.2, 29.4)[self.age_days // 7]
        self.two = self.event == "one lamp" or rng.random() < 0.7
        self.length_m, self.width_m = rng.uniform(1.2, 2.0), rng.uniform(0.9, 1.4)
        area = self.length_m * self.width_m
        self.areas = [area * share for share in (0.2, 0.3, 0.2, 0.3)]
        away = rng.uniform(0.22, 0.34), self.length_m * rng.uniform(0.3, 0.42)
        self.away_m = [(0.0, away[0], away[1] + away[0], self.length_m * 0.6)]
        if self.two:
            self.away_m.append((away[1] + away[0], away[1], 0.0, self.length_m * 0.3))
        self.high_m, self.beam = rng.uniform(0.45, 0.6), rng.uniform(1.5, 4.0)
        self.watts = rng.choice((175.0, 250.0)) if not self.plates else 90.0
        self.gap_m2 = rng.uniform(0.006, 0.025)
        self.wind_m_s, self.gusty = rng.uniform(0.1, 0.6), rng.uniform(0.1, 0.3)
        self.porch_c = rng.uniform(8.0, 17.0) if self.plates else rng.uniform(-4.0, 13.0)
        self.cools_k, self.cloud_k = rng.uniform(0.3, 1.0), rng.uniform(0.1, 0.4)
        mass_kg = 0.042 * exp(0.125 * self.age_days)
        self.bird_w = 0.65 * 8.0 * mass_kg**0.75
        self.bird_m2 = 0.06 * (mass_kg / 0.1) ** 0.67 * 0.16
        self.restless = rng.uniform(0.15, 0.6)
        self.every_s = rng.choice((15.0, 30.0, 30.0, 60.0))
        self.step_c = 0.5 if rng.random() < 0.25 else 0.0625
        self.lost = 0.2 if rng.random() < 0.25 else 0.01
        names = {"floor": EDGE}
        if rng.random() < 0.4:
            names["under west"] = UNDER_WEST
            if self.two:
                names["under east"] = UNDER_EAST
        if rng.random() < 0.3:
            names["cool"] = COOL
        self.outside_probe = rng.random() < 0.7 or self.event == "front"
        self.probes = names
        self.lag_s = {n: rng.uniform(35.0, 110.0) for n in (*names, "outside")}
        self.errs_k = {
            n: rng.uniform(-0.3, 0.3) + rng.uniform(0.0, 0.2) for n in (*names, "outside")
        }
        self.visits_h = [h + rng.uniform(-0.6, 0.6) for h in (20.0, 31.5, 38.0, 43.5)]
        self.front = rng.uniform(6.0, 10.0), rng.uniform(0.7, 2.5)
        if self.switched:
            self.power = 1.5
        self._hang()
        self.event_h = rng.uniform(44.5, 51.5)

    def _hang(self) -> None:
        """Lamps hung, or the thermostat turned, till the floor is about right in the mean air."""
        aim_c = self.target_c + self.rng.uniform(-0.3, 0.7)
        name = "set_c" if self.switched else "power"
        low, high = (
            ((20.0, 40.0) if not self.plates else (20.0, 110.0)) if self.switched else (0.2, 2.0)
        )
        for _ in range(9):
            middle = (low + high) / 2.0
            setattr(self, name, middle)
            if self._run(warming=True) > aim_c:
                high = middle
            else:
                low = middle

    def sensible(self) -> bool:
        """A grower could have it so: lamps as they are sold, a thermostat that has work."""
        return 0.35 < self.power < 1.7 and (not self.switched or 21.0 < self.set_c < 105.0)

    def live(self) -> None:
        """The nights, into `readings` and `floor`."""
        self._run(warming=False)

    def _air_c(self, hour: float, front: bool) -> float:
        night = (hour - 17.5) % 24.0
        low_k, day = self.cools_k * sqrt(14.0), max(0.0, night - 14.0) / 10.0 * pi
        over_k = -self.cools_k * sqrt(night)
        if day:
            over_k = low_k * (sin(day / 2.0) - 1.0 + 0.6 * sin(day))
        fall, lag_h = self.front
        since = max(0.0, hour - self.event_h) if front else 0.0
        return self.porch_c + 0.7 * low_k + over_k - fall * (1.0 - exp(-since / lag_h))

    def _shine(self, source: int, zone: int) -> float:
        """W/m2 on the litter there of one watt that shines."""
        away = self.away_m[source][zone]
        if self.plates:  # a plate of 0.4 m by 0.4 m just above the birds
            return 4.5 * (0.8 if away < 0.1 else 0.3 if away < 0.35 else 0.04)
        cos2 = self.high_m**2 / (self.high_m**2 + away**2)
        peak = (self.beam + 1.0) / (2.0 * pi * self.high_m**2)
        return peak * cos2 ** ((self.beam + 3.0) / 2.0)

    def _run(self, warming: bool) -> float:
        """The mean of the floor probe over the last two hours."""
        rng = Random(7) if warming else self.rng
        begins, ends = (BEGINS_H, BEGINS_H + 5.0) if warming else (BEGINS_H - 5.0, ENDS_H)
        sources = range(len(self.away_m))
        shines = [[self._shine(k, z) for z in range(4)] for k in sources]
        gives = self.watts * self.power
        area = sum(self.areas)
        wall_m2 = 1.1 * (self.length_m + self.width_m) + area
        cover_share = area / wall_m2
        air = self.target_c - 5.0
        wall, top, low = self.target_c - 9.0, [self.target_c] * 4, [self.target_c - 6.0] * 4
        body = [
            self.target_c + 20.0 if self.plates else 1.0 for _ in sources
        ]  # plate degC; glass share
        felt_by_switch, closed = self.target_c, True
        birds, leaning = [25.0] * 4, [0.0] * 4
        cloud = gust = 0.0
        felt: dict[str, float] = {}
        due: dict[str, float] = {}
        total = count = 0.0
        hour = begins
        while hour < ends:
            hour += STEP_S / HOUR
            over = hour >= self.event_h and not warming
            off = self.event if over else None
            if not warming:
                cloud = _wanders(rng, cloud, 2 * HOUR, self.cloud_k)
                gust = _wanders(rng, gust, 240.0, self.gusty)
            out = self.porch_c if warming else self._air_c(hour, off == "front") + cloud
            wind = self.wind_m_s * exp(gust) * (1.5 if off == "front" else 1.0)
            at_work = not warming and any(0.0 <= hour - h < 0.1 for h in self.visits_h)
            opened = 1.0 if off == "cover off" else 0.4 if at_work else 0.0
            # what each source takes, and what of it shines and what warms the air
            alive = [
                off != "all power"
                and not (off in ("one lamp", "thermostat off") and k == 0)
                and (closed or (k > 0 and not self.plates))
                for k in sources
            ]
            shine, warm_air = [], 0.0
            for k in sources:
                w = gives if alive[k] else 0.0
                if self.plates:
                    radiant = 0.16 * 5.2 * (body[k] - air)
                    lost = 0.16 * 4.0 * (body[k] - air)
                    body[k] += (w - radiant - lost) * STEP_S / 900.0
                    shine.append(max(0.0, radiant))
                    warm_air += lost
                else:
                    body[k] += ((1.0 if alive[k] else 0.0) - body[k]) * STEP_S / 80.0
                    shine.append(0.55 * w + 0.15 * gives * body[k])
                    warm_air += 0.3 * gives * body[k]
            lit = [sum(shine[k] * shines[k][z] for k in sources) for z in range(4)]
            on_walls = max(
                0.0, sum(shine) - sum(e * a for e, a in zip(lit, self.areas, strict=True))
            )
            # air, walls, two layers of litter
            leak = 1200.0 * self.gap_m2 * (0.3 * sqrt(max(0.1, 0.35 * (air - out))) + 0.4 * wind)
            leak += (
                opened * 1200.0 * area * (0.04 * sqrt(max(0.1, 0.19 * (air - out))) + 0.02 * wind)
            )
            to_wall = 5.0 * wall_m2 * (1.0 - opened * cover_share)
            gain = warm_air + leak * out + to_wall * wall
            by_k = leak + to_wall
            crowd = []
            place: list[float] = []
            for z in range(4):
                share = min(0.8, birds[z] * self.bird_m2 / self.areas[z])
                crowd.append(share)
                rough = 1.6 * max(0.5, abs(top[z] - air)) ** 0.33 * (1.0 - 0.5 * share)
                gain += rough * self.areas[z] * top[z] + 0.5 * birds[z] * self.bird_w
                by_k += rough * self.areas[z]
                into = 0.85 * lit[z] + 0.5 * birds[z] * self.bird_w / self.areas[z]
                seen = wall + 0.6 * opened * (out - wall)
                into -= rough * (top[z] - air) + 5.0 * (1 - 0.5 * share) * (top[z] - seen)
                down = 2.4 * (top[z] - low[z])
                top[z] += (into - down) * STEP_S / 3800.0
                low[z] += (down - 1.5 * (low[z] - out)) * STEP_S / 9000.0
                radiant_c = 0.5 * top[z] + 0.5 * seen
                near_c = air + 0.35 * (top[z] - air)
                op = (10.0 * near_c + 5.5 * radiant_c + 0.28 * lit[z]) / 15.5
                place.append(op + 0.12 * share * max(0.0, 37.5 - op))
            keeps = 1206.0 * area * 0.55 + 2500.0
            air = (air * keeps / STEP_S + gain) / (keeps / STEP_S + by_k)
            to_air = 4.5 + 3.0 * wind
            wall += (
                (
                    (on_walls / wall_m2 + 5.0 * (air - wall) + 2.5 * (top[EDGE] - wall))
                    - to_air * (wall - out)
                )
                * STEP_S
                / 9500.0
            )
            # birds go where it is right, and lean to where they were
            restless = self.restless * (1.0 if 6.0 <= hour % 24.0 < 20.0 else 0.4)
            for z in range(4):
                leaning[z] = 0.0 if warming else _wanders(rng, leaning[z], 900.0, restless)
            wish = [
                a * (exp(-(((p - self.target_c) / 7.0) ** 2)) + 0.02) * exp(lean)
                for a, p, lean in zip(self.areas, place, leaning, strict=True)
            ]
            for z in range(4):
                birds[z] += (100.0 * wish[z] / sum(wish) - birds[z]) * STEP_S / 280.0
            # a thermostat in the plate, or one that hangs at the edge of the heat
            felt_by_switch += (
                ((body[0] if self.plates else place[EDGE]) - felt_by_switch) * STEP_S / 100.0
            )
            if self.switched:
                half = 2.5 if self.plates else 0.5
                closed = felt_by_switch < self.set_c + (half if closed else -half)
            floor = place[EDGE] + self.errs_k["floor"]
            if hour > ends - 2.0:
                total, count = total + floor, count + 1.0
            if warming:
                continue
            second = round(hour * HOUR)
            if second % 60 < STEP_S:
                self.floor.append((second, floor))
            there = {n: place[z] for n, z in self.probes.items()}
            if self.outside_probe:
                there["outside"] = out
            if off == "probe out":
                there["floor"] = out + 1.0
            for name, temp_c in there.items():
                was = felt.get(name, temp_c)
                felt[name] = was + (temp_c - was) * STEP_S / (self.lag_s[name] + STEP_S)
                if second >= due.setdefault(name, begins * HOUR + rng.uniform(0.0, self.every_s)):
                    due[name] += self.every_s
                    if rng.random() >= self.lost and hour >= BEGINS_H:
                        said = felt[name] + self.errs_k[name] + rng.gauss(0.0, 0.03)
                        said = round(said / self.step_c) * self.step_c
                        self.readings.append((second, name, said))
        return total / count

    def write(self, folder: Path) -> None:
        """All that the monitor may see of it."""
        kind = "plate" if self.plates else "lamp"
        words = ["west", "east"][: len(self.away_m)]
        probes = [*self.probes, *(["outside"] if self.outside_probe else [])]
        place = {"floor": "floor", "cool": "cool-end", "outside": "outside"}
        lines = ['[site]\nname = "Hillside"\ntimezone = "UTC"\nunits = "celsius"\n[[brooders]]']
        lines.append(
            f'name = "porch"\nlength = "{self.length_m:.2f} m"\nwidth = "{self.width_m:.2f} m"'
        )
        lines.append(
            f'cover = "plywood"\nown_schedule = [{{from_day = 0, target = "{self.target_c} C"}}]'
        )
        for name in probes:
            where, said = place.get(name, "under-heat"), f"{name} {kind}" if " " in name else name
            lines.append(
                f'[[brooders.probes]]\nname = "{said}"\ntopic = "{name}"\nplace = "{where}"'
            )
        watts = max(25, 25 * round(self.watts * self.power / 25))
        for word in words:
            lines.append(
                f'[[brooders.heat]]\nname = "{word} {kind}"\nkind = "{kind}"\nwatts = {watts}'
            )
        (folder / "config.toml").write_text("\n".join(lines) + "\n")
        start = DAY_0 + BEGINS_H * HOUR
        hatched = datetime.fromtimestamp(start - self.age_days * 86400.0, UTC).date().isoformat()
        entry = {"at": _iso(start), "entry": "placed", "brooder": "porch", "count": 100}
        rows = [json.dumps(entry | {"hatched": hatched, "kind": "broiler"})]
        for second, name, said in self.readings:
            rows.append(
                json.dumps({"at": _iso(DAY_0 + second), "topic": name, "payload": f"{said:.4g}"})
            )
        (folder / "journal.jsonl").write_text("\n".join(rows) + "\n")

    def plain(self) -> list[float]:
        """Seconds at which the plain alarm begins to ring."""
        rang, since, ringing = [], None, False
        for second, name, said in self.readings:
            if name == "floor":
                off = abs(said - self.target_c)
                since = (since or second) if off > BAND_K else None
                ringing = ringing and off > BAND_K - 0.3
                if since and second - since >= 300.0 and not ringing:
                    ringing = True
                    rang.append(second)
        return rang


def _iso(at: float) -> str:
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def drawn(number: int, kind: type[Box] = Box, physics: str = "radiant") -> Box:
    """The night of this number: every second one without an event."""
    rng = Random(f"{physics}/{number}")
    event = list(EVENTS)[number // 2 % len(EVENTS)] if number % 2 == 0 else None
    while True:
        box = kind(Random(rng.random()), event)
        if not box.sensible():
            continue
        box.live()
        ends = box.event_h if event else ENDS_H
        nights = [
            c - box.target_c
            for s, c in box.floor
            if (s / HOUR - 8.0) % 24.0 > 12.0 and s < ends * HOUR
        ]
        if sum(abs(off) > BAND_K for off in nights) < 0.03 * len(nights):
            return box


def replayed(box: Box, folder: Path) -> tuple[list[dict], list[dict]]:
    """The told alarms of the command's events (urgent and warning), and what it foretold."""
    folder.mkdir(exist_ok=True, parents=True)
    box.write(folder)
    events, foretold = folder / "events.jsonl", folder / "foretold.jsonl"
    verb = [sys.executable, "-m", "monitor", "replay", folder / "journal.jsonl", "--quiet"]
    more = ["--events", events, "--foretold", foretold, "--config", folder / "config.toml"]
    subprocess.run([*verb, *more], check=True, stdout=subprocess.DEVNULL)
    rows = [[json.loads(row) for row in f.read_text().splitlines()] for f in (events, foretold)]
    for row in rows[0] + rows[1]:
        row["second"] = datetime.fromisoformat(row["at"]).timestamp() - DAY_0
    return [r for r in rows[0] if r["change"] in ("raised", "escalated")], rows[1]


def is_open(second: float, box: Box) -> bool:
    """Is somebody at the open box, or has just left it?"""
    return any(0.0 <= second / HOUR - h < 0.35 for h in box.visits_h)


def at_a_visit(row: dict, box: Box) -> bool:
    """Of cold, while the box is open or was so just now."""
    return row["alarm"] in HEAT and is_open(row["second"], box)


def for_nothing(row: dict, box: Box) -> bool:
    """Told though the true floor, as the probe that is named would read it, was in its band and
    stayed there for half an hour; of a cold night: for the night, by more than a probe errs. An
    open cover at a visit makes neither true."""
    until, over_k = row["second"] + AHEAD_S, 0.0
    if row["alarm"] == "cold-night":
        until, over_k = (32.0 if row["second"] < 32.0 * HOUR else ENDS_H) * HOUR, ERROR_K
    elif box.probes.get(row["probe"]) == EDGE:
        over_k = box.errs_k["floor"] - box.errs_k[row["probe"]]
    from_ = row["second"] - 600.0
    then = [c - box.target_c for s, c in box.floor if from_ <= s <= until and not is_open(s, box)]
    if row["alarm"] in (*HEAT, "cold-night"):
        return min(then, default=0.0) - over_k > -BAND_K
    return max(then, default=0.0) - over_k < BAND_K if row["alarm"] in ("hot", "overheat") else True


@dataclass
class Tally:
    """What was told of all nights. `events`: by name, of each the minutes to the first word and to
    the plain alarm's, whether the cause was right within half an hour, and whether the first word
    came before the chill limit (None: never reached)."""

    quiet: int = 0
    wrong: Counter[str] = field(default_factory=Counter)
    by_night: int = 0  # of these, from 21:00 to 07:00
    visits: int = 0
    plain_wrong: int = 0
    within: list[bool] = field(default_factory=list)
    quarter_within: list[bool] = field(default_factory=list)  # what is foretold; lags hide minutes
    events: dict[str, list[tuple[float | None, float | None, bool, bool | None, int]]] = field(
        default_factory=dict
    )

    def take(self, seed: int, box: Box, told: list[dict], foretold: list[dict]) -> list[dict]:
        """One box; what was told for nothing."""
        begins = box.event_h * HOUR if box.event else 1e9
        heard = [r for r in told if r["told"] and r["priority"] != "advice"]
        before = [r for r in heard if r["second"] < begins]
        visited = [r for r in before if at_a_visit(r, box)]
        wrong = [r for r in before if r not in visited and for_nothing(r, box)]
        if box.event:
            self._event(seed, box, told, heard, begins)
            return wrong
        self.quiet += 2
        self.wrong.update(f"{r['alarm']}/{r['cause']}" for r in wrong)
        self.by_night += sum((r["second"] / HOUR - 7.0) % 24.0 > 14.0 for r in wrong)
        self.visits += len(visited)
        at = {s // 60: c - box.target_c for s, c in box.floor}
        self.plain_wrong += sum(abs(at.get(s // 60, 9.0)) < BAND_K for s in box.plain())
        for row in foretold:
            if row["lowest"] and 44.0 <= row["second"] / HOUR < 50.0:
                low_c, _, high_c = row["lowest"]
                minutes = [c for s, c in box.floor if s >= row["second"]]
                quarters = [fmean(minutes[n : n + 15]) for n in range(len(minutes) - 14)]
                self.within.append(low_c <= min(minutes) <= high_c)
                self.quarter_within.append(low_c <= min(quarters) <= high_c)
        return wrong

    def _event(
        self, seed: int, box: Box, told: list[dict], heard: list[dict], begins: float
    ) -> None:
        assert box.event is not None
        after = [r for r in heard if r["second"] >= begins]
        if box.event == "front":  # foretold that day is told
            after = [
                r for r in heard if r["second"] > 34.0 * HOUR and r["alarm"] == "cold-night"
            ] + after
        first = after[0]["second"] if after else 1e9
        causes = [r["cause"] for r in told if begins <= r["second"] <= first + 1800.0]
        causes += [r["cause"] for r in after[:1]]
        chill = [s for s, c in box.floor if s >= begins and c < box.target_c - HARM_K]
        rang = [s for s in box.plain() if s >= begins]
        self.events.setdefault(box.event, []).append(
            (
                (first - begins) / 60.0 if after else None,
                (rang[0] - begins) / 60.0 if rang else None,
                EVENTS[box.event] in causes,
                first < chill[0] if chill else None,
                seed,
            )
        )

    def print(self) -> None:
        """The figures."""
        wrong = self.wrong.total()
        print(
            f"quiet nights {self.quiet}: told for nothing {wrong}, {self.by_night} of them from "
            f"21:00 to 07:00 {dict(self.wrong)}; at a visit {self.visits}; plain {self.plain_wrong}"
        )
        print(
            f"lowest floor in its interval, 20:00 to 02:00: {sum(self.within)}/{len(self.within)}; "
            f"lowest quarter of an hour {sum(self.quarter_within)}/{len(self.quarter_within)}"
        )
        for event, rows in self.events.items():
            ours = sorted(row[0] for row in rows if row[0] is not None)
            plain = sorted(row[1] for row in rows if row[1] is not None)
            later = [r[4] for r in rows if r[1] is not None and (r[0] is None or r[0] > r[1] + 0.1)]
            limit = [row[3] for row in rows if row[3] is not None]
            print(
                f"{event:15} told {len(ours)}/{len(rows)} {_middle(ours)}, plain {len(plain)} "
                f"{_middle(plain)}; later than plain {later}; cause right "
                f"{sum(row[2] for row in rows)}; before the limit {sum(limit)}/{len(limit)}"
            )


def _middle(minutes: list[float]) -> str:
    return f"median {median(minutes):.1f} worst {minutes[-1]:.1f} min" if minutes else "-"


def show(number: int, box: Box, told: list[dict], wrong: list[dict]) -> None:
    """What one night told."""
    event = box.event or "quiet"
    print(number, event, f"{box.event_h:.2f} h, day {box.age_days}:", *box.probes)
    for r in told:
        mark = "for nothing" if r in wrong else "" if r["told"] else "(not told anew)"
        what = f"{r['alarm']}/{r['cause']} {r['probe'] or ''} {mark}"
        print(f"  {r['second'] / HOUR:6.2f} {what}", flush=True)


def main() -> None:
    """Print the figures, and with --verbose what each night told."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--nights", type=int, default=40)
    ask.add_argument("--first", type=int, default=1)
    ask.add_argument("--keep", type=Path)
    ask.add_argument("--verbose", action="store_true")
    asked = ask.parse_args()
    tally = Tally()
    with tempfile.TemporaryDirectory() as spare:
        for seed in range(asked.first, asked.first + asked.nights):
            box = drawn(seed)
            told, foretold = replayed(box, (asked.keep or Path(spare)) / f"{seed:04d}")
            wrong = tally.take(seed, box, told, foretold)
            if asked.verbose:
                show(seed, box, told, wrong)
    tally.print()


if __name__ == "__main__":
    main()
