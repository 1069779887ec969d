"""How many readings a second the whole engine takes in a replay on one core, beside a bare loop
that only parses the same journal lines.

    python tests/bench/bench_engine.py [--days 14] [--brooders 1]"""

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from support.scenarios import Night, make
from support.watched import DAY_0, placed, readings, site_of

from monitor.events import Moment, Reading
from monitor.service.replay import Replay
from monitor.settings import Settings, load_settings
from monitor.site import Brooder, Site
from monitor.thermal.estimator import none, thermal
from monitor.watch.engine import Engine

MOST_TIMES_BARE = 30.0  # of the bare loop, for a replay


def stretch(night: Night, days: int) -> Iterator[Reading]:
    """The night's first day, day after day."""
    one_day = [r for r in readings(night) if r.at < DAY_0 + night.from_s + 86400.0]
    for day in range(days):
        for r in one_day:
            yield Reading(r.at + 86400.0 * day, r.tick + 86400.0 * day, r.probe, r.temp_c)


def boxes(night: Night, count: int) -> tuple[Brooder, ...]:
    """The night's box, `count` times under different names."""
    made = [night.brooder]
    for index in range(1, count):
        name = f"box {index}"
        probes = tuple(
            replace(p, key=f"{name}/{p.name}", brooder=name, topic=f"{name}/{p.name}")
            for p in night.brooder.probes
        )
        made.append(replace(night.brooder, name=name, probes=probes))
    return tuple(made)


def written(site: Site) -> Settings:
    """The site as a configuration file has it."""
    text = ['[site]\nname = "Bench"\ntimezone = "UTC"\n']
    for box in site.brooders:
        text.append(f'[[brooders]]\nname = "{box.name}"\nlength_m = 1.5\nwidth_m = 1.5\n')
        text += [
            f'[[brooders.probes]]\nname = "{p.name}"\ntopic = "{p.key}"\nplace = "{p.place}"\n'
            for p in box.probes
        ]
    text += [
        f'[[site.probes]]\nname = "{p.name}"\ntopic = "{p.key}"\nplace = "outside"\n'
        for p in site.probes
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "brooder.toml"
        path.write_text("".join(text), encoding="utf-8")
        return load_settings(path, {})


def main() -> int:
    """Print the table; 1 if a replay is too slow beside the bare loop."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--days", type=int, default=7)
    ask.add_argument("--brooders", type=int, default=1)
    ask.add_argument("--repeats", type=int, default=3)
    told = ask.parse_args()
    night = make("quiet", 3, layout="full")
    site = replace(site_of(night), brooders=boxes(night, told.brooders))
    stream = [
        reading._replace(probe=reading.probe.replace("porch", brooder.name))
        for reading in stretch(night, told.days)
        for brooder in site.brooders
    ]
    lines = [
        json.dumps(
            {
                "at": datetime.fromtimestamp(r.at).astimezone().isoformat(),
                "topic": r.probe,
                "payload": str(r.temp_c),
            }
        )
        for r in stream
    ]

    def parse() -> float:
        begun = process_time()
        for line in lines:
            row = json.loads(line)
            datetime.fromisoformat(row["at"]).timestamp()
            float(row["payload"])
        return process_time() - begun

    def run(make_estimator: object) -> float:
        start = Moment(DAY_0 + night.from_s, DAY_0 + night.from_s)
        engine = Engine(site, start, make_estimator=make_estimator)  # type: ignore[arg-type]
        for number, brooder in enumerate(site.brooders, 1):
            engine.entry(replace(placed(night), brooder=brooder.name, number=number), start)
        take = engine.reading
        begun = process_time()
        for reading in stream:
            take(reading)
        return process_time() - begun

    settings = written(site)
    first = json.dumps(
        {
            "at": datetime.fromtimestamp(DAY_0 + night.from_s).astimezone().isoformat(),
            "entry": "placed",
            "brooder": site.brooders[0].name,
            "count": 50,
            "hatched": placed(night).hatched,
            "kind": "broiler",
        }
    )

    def replay() -> float:
        begun = process_time()
        tally = Replay(settings, lambda _happened: None).feed([first, *lines])
        assert tally.messages_heard == len(lines)
        assert tally.unclaimed == 0
        assert tally.objections == []
        return process_time() - begun

    # the least of a few: what others do on this machine only ever adds
    bare = min(parse() for _ in range(told.repeats))
    without = min(run(none) for _ in range(told.repeats))
    whole = min(run(thermal) for _ in range(told.repeats))
    service = min(replay() for _ in range(told.repeats))
    count = len(stream)
    print(f"{count} readings of {len(site.all_probes)} probes, {told.days} days")
    for name, spent in (
        ("bare loop that parses the lines", bare),
        ("engine without the estimate", without),
        ("whole engine", whole),
        ("parsing and whole engine", bare + whole),
        ("brooder replay, with its messages", service),
    ):
        print(
            f"{name:32} {count / spent:9.0f} readings/s, {spent / count * 1e6:5.1f} us each,"
            f" {spent / bare:4.2f} x the bare loop"
        )
    return 0 if service / bare <= MOST_TIMES_BARE else 1


if __name__ == "__main__":
    raise SystemExit(main())
