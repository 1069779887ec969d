"""Set-ups drawn by chance, not by thought, in the physics of `bench_radiant`: one to six probes
anywhere, each with its own period, step, unit, lag, error and losses, doubled, late or in packs;
hours unheard, clocks put forward or back; birds of any age; measured weather on the porch. What
`brooder replay` tells of them, beside a plain alarm. With --restarts the watch is stopped one to
four times, for seconds or up to an hour and a half, and goes on from what it kept.

    python tests/bench/bench_odd_setups.py [--boxes 60] [--first 1] [--keep FOLDER] [--restarts]
        [--verbose]

Odd numbers have no event. The weather is the daily extremes of four years in one place (NOAA, in
vega_datasets 0.9, `seattle-weather`), along half cosines between them. All else is invented."""

import argparse
import json
import sys
import tempfile
from bisect import bisect
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from math import cos, exp, pi
from pathlib import Path
from random import Random

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]

# ruff: noqa: E402
from bench_radiant import (
    COOL,
    DAY_0,
    EDGE,
    HOUR,
    UNDER_EAST,
    UNDER_WEST,
    Box,
    Tally,
    _iso,
    drawn,
    replayed,
    show,
)
from vega_datasets import local_data

from monitor.events import AlarmName, Facts, Moment
from monitor.service.replay import Replay, event_of
from monitor.service.startup import DOWN_WORTH_TELLING_S
from monitor.settings import load_settings

ZONES = {"floor": EDGE, "cool-end": COOL, "under-heat": UNDER_WEST}
TABLE = local_data.seattle_weather()


@dataclass
class Sender:
    """How one probe sends."""

    every_s: float
    step_c: float
    unit: str
    lost: float
    doubled: float
    late_s: float  # up to so late; 0: at once, and unstamped
    pack: int  # readings sent at once, each with its own time


@dataclass
class OddBox(Box):
    """A box of `bench_radiant` whose set-up was drawn once more, wider."""

    places: dict[str, str] = field(default_factory=dict)
    senders: dict[str, Sender] = field(default_factory=dict)
    unheard_h: tuple[float, float] = (0.0, 0.0)
    warmer_k: float = 0.0
    weather: list[tuple[float, float]] = field(default_factory=list)  # hour, degC
    clock_step: tuple[float, float] | None = None  # hour, seconds: of the broker's host

    def _hang(self) -> None:
        rng = self.rng
        self.age_days = rng.randint(0, 40)
        self.target_c = max(21.0, 35.0 - 2.8 * (self.age_days // 7))
        mass_kg = 0.042 * exp(0.125 * min(self.age_days, 28) + 0.06 * max(0, self.age_days - 28))
        self.bird_w = 0.65 * 8.0 * mass_kg**0.75
        self.bird_m2 = 0.06 * (mass_kg / 0.1) ** 0.67 * 0.16
        self.probes, self.places = {"floor": EDGE}, {"floor": "floor"}
        for number in range(rng.randint(0, 5)):
            place = rng.choice(("floor", "floor", "cool-end", "under-heat", "under-heat"))
            name = f"{place} {number}"
            east = place == "under-heat" and self.two and rng.random() < 0.5
            self.probes[name] = UNDER_EAST if east else ZONES[place]
            self.places[name] = place
        self.outside_probe = self.outside_probe or rng.random() < 0.3
        names = [*self.probes, *(["outside"] if self.outside_probe else [])]
        self.places["outside"] = "outside"
        for name in (*self.probes, "outside"):
            self.lag_s[name] = exp(rng.uniform(2.5, 6.0))
            self.errs_k[name] = rng.gauss(0.0, 0.5)
        self.errs_k["floor"] = rng.gauss(0.0, 0.25)
        self.every_s, self.lost, self.step_c = 5.0, 0.0, 0.001  # each sender thins and rounds
        for name in names:
            stamped = rng.random() < 0.3
            self.senders[name] = Sender(
                every_s=exp(rng.uniform(1.61, 6.4)),
                step_c=rng.choice((0.0625, 0.0625, 0.1, 0.1, 0.25, 0.5, 1.0)),
                unit=rng.choice(("celsius", "celsius", "fahrenheit")),
                lost=rng.choice((0.0, 0.02, 0.1, 0.3)),
                doubled=rng.choice((0.0, 0.0, 0.1)),
                late_s=rng.choice((20.0, 120.0, 400.0)) if stamped else 0.0,
                pack=rng.choice((1, 1, 5)) if stamped else 1,
            )
        if rng.random() < 0.2:
            begins = rng.uniform(20.0, 40.0)
            self.unheard_h = begins, begins + exp(rng.uniform(-1.5, 1.5))
        if rng.random() < 0.1:
            self.clock_step = rng.uniform(20.0, 40.0), rng.choice((-3600.0, -200.0, 200.0, 3600.0))
        days = TABLE.iloc[:0]
        while not 0.0 < (days.temp_max + days.temp_min).mean() / 2.0 < self.target_c - 9.0:
            begin = rng.randrange(len(TABLE) - 5)
            days = TABLE.iloc[begin : begin + 4]
        for day, row in enumerate(days.itertuples()):
            self.weather += [(24.0 * day - 18.0, row.temp_min), (24.0 * day - 9.0, row.temp_max)]
        self.warmer_k = rng.uniform(0.0, 6.0)  # the porch, than the weather station
        self.porch_c = sum(c for _, c in self.weather[2:6]) / 4.0 + self.warmer_k
        super()._hang()

    def _air_c(self, hour: float, front: bool) -> float:
        after = bisect(self.weather, (hour, 99.0))
        (from_h, from_c), (to_h, to_c) = self.weather[after - 1], self.weather[after]
        share = (1.0 - cos(pi * (hour - from_h) / (to_h - from_h))) / 2.0
        fall_k, lag_h = self.front
        since_h = max(0.0, hour - self.event_h) if front else 0.0
        now_c = from_c + (to_c - from_c) * share + self.warmer_k
        return float(now_c - fall_k * (1.0 - exp(-since_h / lag_h)))

    def live(self) -> None:
        """As the senders let it be heard: `readings` are what was said, in order of measuring."""
        super().live()
        rng, due, heard = self.rng, dict.fromkeys(self.senders, 0.0), []
        for second, name, temp_c in self.readings:
            sender = self.senders[name]
            if second < due[name]:
                continue
            due[name] = max(due[name], second - sender.every_s) + sender.every_s
            if rng.random() < sender.lost or self.unheard(second):
                continue
            heard.append((second, name, temp_c))
        self.readings = heard

    def true_second(self, stamped: float) -> float:
        """When it was, by a clock that was never set."""
        hour, step_s = self.clock_step or (0.0, 0.0)
        return stamped - step_s if stamped - step_s >= hour * HOUR else stamped

    def unheard(self, second: float) -> bool:
        """Is nothing of it heard then?"""
        begins_h, ends_h = self.unheard_h
        return begins_h <= second / HOUR < ends_h

    def write(self, folder: Path) -> None:
        """All that the monitor may see of it."""
        super().write(folder)
        head, _, rest = (folder / "config.toml").read_text().partition("[[brooders.probes]]")
        lines = [head.rstrip()]
        for name, sender in self.senders.items():
            lines += ["[[brooders.probes]]", f'name = "{name}"', f'topic = "{name}"']
            lines += [f'place = "{self.places[name]}"', f'unit = "{sender.unit}"']
            if sender.late_s:
                lines += ['value = "/v"', 'time = "/t"']
        lines += ["[[brooders.heat]]" + part for part in rest.split("[[brooders.heat]]")[1:]]
        (folder / "config.toml").write_text("\n".join(lines) + "\n")
        entry, *_ = (folder / "journal.jsonl").read_text().splitlines()
        rows = sorted(self._lines(), key=lambda row: row[0])
        said = [json.dumps({"at": _iso(self._clock(at)), **row}) for at, row in rows]
        (folder / "journal.jsonl").write_text("\n".join([entry, *said]) + "\n")

    def _clock(self, at: float) -> float:
        stepped = self.clock_step and at >= DAY_0 + self.clock_step[0] * HOUR
        return at + self.clock_step[1] if self.clock_step and stepped else at

    def _lines(self) -> list[tuple[float, dict[str, str]]]:
        rng, rows = Random(self.rng.random()), []
        waiting: dict[str, list[tuple[float, str]]] = {}
        for second, name, temp_c in self.readings:
            sender, at = self.senders[name], DAY_0 + second
            said = temp_c * 1.8 + 32.0 if sender.unit == "fahrenheit" else temp_c
            said = f"{round(said / sender.step_c) * sender.step_c:.5g}"
            if not sender.late_s:
                rows.append((at, {"topic": name, "payload": said}))
                continue
            own = json.dumps({"v": float(said), "t": _iso(at)})
            waiting.setdefault(name, []).append((at, own))
            if len(waiting[name]) >= sender.pack:
                sent = at + (rng.uniform(0.0, sender.late_s) if rng.random() < 0.3 else 0.0)
                rows += [(sent, {"topic": name, "payload": own}) for _, own in waiting.pop(name)]
            if rng.random() < sender.doubled:
                rows.append((at + 1.0, {"topic": name, "payload": own}))
        return rows


def restarts(number: int) -> list[tuple[float, float, bool]]:
    """Unix second, for how long, and whether a persistent session keeps what came meanwhile."""
    rng, drawn_ = Random(f"restarts/{number}"), []
    for _ in range(rng.randint(1, 4)):
        down_s = rng.choice((3.0, 30.0, exp(rng.uniform(4.5, 8.5))))
        drawn_.append((DAY_0 + rng.uniform(19.0, 54.0) * HOUR, down_s, rng.random() < 0.5))
    drawn_.sort()
    apart = all(one[0] + one[1] + 600.0 < then[0] for one, then in pairwise(drawn_))
    return drawn_ if apart else drawn_[:1]


def restarted(box: Box, folder: Path, number: int) -> tuple[list[dict], list[dict]]:
    """As `replayed`, by a watch that is stopped and started again."""
    folder.mkdir(exist_ok=True, parents=True)
    box.write(folder)
    given, rows = load_settings(folder / "config.toml"), []
    run = Replay(given, lambda h: rows.extend(event_of(c, given.site) for c in h.batch.changes))
    lines = [(_at(row), row) for row in (folder / "journal.jsonl").read_text().splitlines()]
    for down, for_s, queued in [*restarts(number), (1e18, 0.0, False)]:
        heard = [line for line in lines if line[0] < down]
        missed = [line for line in lines if down <= line[0] < down + for_s]
        lines = lines[len(heard) + len(missed) :]
        run.feed(row for _, row in heard)
        if not lines:
            break
        kept = json.loads(json.dumps(run.core.snapshots()))
        now = Moment(down + for_s, down + for_s)
        run.core = run._begin(now)
        run.core.restore(kept, 0.0)
        if for_s >= DOWN_WORTH_TELLING_S:
            run.core.fault(AlarmName.WAS_DOWN, True, now, Facts(down_from=down, down_to=now.at))
        if queued:
            run.feed(json.dumps(json.loads(row) | {"at": _iso(now.at)}) for _, row in missed)
    for row in rows:
        row["second"] = datetime.fromisoformat(row["at"]).timestamp() - DAY_0
    said = [r for r in rows if r["change"] in ("raised", "escalated")]
    return [r for r in said if r["alarm"] != AlarmName.WAS_DOWN], []


def _at(row: str) -> float:
    return datetime.fromisoformat(json.loads(row)["at"]).timestamp()


def main() -> None:
    """Print the figures, and with --verbose what each box told."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--boxes", type=int, default=60)
    ask.add_argument("--first", type=int, default=1)
    ask.add_argument("--keep", type=Path)
    ask.add_argument("--restarts", action="store_true")
    ask.add_argument("--verbose", action="store_true")
    asked = ask.parse_args()
    tally, probes = Tally(), Counter[str]()
    with tempfile.TemporaryDirectory() as spare:
        for number in range(asked.first, asked.first + asked.boxes):
            box = drawn(number, OddBox, "odd")
            folder = (asked.keep or Path(spare)) / f"{number:04d}"
            told, foretold = (
                restarted(box, folder, number) if asked.restarts else replayed(box, folder)
            )
            for row in (*told, *foretold):
                row["second"] = box.true_second(row["second"])
            told = [r for r in told if not box.unheard(r["second"]) or r["cause"] != "silence"]
            wrong = tally.take(number, box, told, foretold)
            blamed = [r for r in told if r["alarm"] == "probe-fault" and box.event != "probe out"]
            probes.update(r["priority"] for r in blamed)
            if asked.verbose:
                show(number, box, told, wrong)
    tally.print()
    print(f"sound probes blamed {dict(probes)}")


if __name__ == "__main__":
    main()
