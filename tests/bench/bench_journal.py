"""What the journal costs: bytes for each reading, bytes written in an hour, and how fast two
million readings come back. Run: python tests/bench/bench_journal.py [--readings N] [--minutes M]

30 days of 8 probes every 10 s by default. Each speed stands beside a bare way to do the same in
the same run, so that the ratio means something on any machine. `--minutes M` measures the bytes
written over real time instead: the kernel writes mapped pages back by the clock, which a quick run
does not see."""

import argparse
import json
import math
import random
import resource
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from monitor.events import Moment, Reading
from monitor.journal.bringing_in import Arrivals
from monitor.journal.forms import export_lines
from monitor.journal.pacing import Pacing
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit
from monitor.journal.store import Journal
from monitor.site import Place, Probe

PROBES = 8
EVERY_S = 10
T0 = 1_770_000_000.0
COMMIT_OF = Pacing().full_at


def probes() -> list[Probe]:
    return [
        Probe(key=f"porch/p{n}", brooder="porch", name=f"p{n}", topic=f"b/porch/p{n}", place=place)
        for n, place in enumerate([Place.FLOOR, *[Place.UNDER_HEAT] * 3, *[Place.COOL_END] * 4])
    ]


def invented(readings: int) -> Iterator[tuple[int, float, float]]:
    """(probe, at, degC): a 12-bit thermometer's steps about a slow wave, some network jitter."""
    chance = random.Random(1)
    level = [33.0 - n for n in range(PROBES)]
    for n in range(readings):
        probe, step = n % PROBES, n // PROBES
        wave = 1.5 * math.sin(step * EVERY_S / 14_400)
        level[probe] += 0.02 * (33.0 - probe + wave - level[probe]) + chance.gauss(0, 0.04)
        at = T0 + step * EVERY_S + probe * 0.3 + chance.gauss(0, 0.02)
        yield probe, round(at, 3), round(level[probe] * 16) / 16


def information_bytes(sample: list[tuple[int, float, float]]) -> float:
    """Entropy of a reading given the one before it of the same probe: first differences of time
    (ms) and value (steps), each by itself. No form of keeping them exactly can do much better."""
    before: dict[int, tuple[float, float]] = {}
    times: Counter[int] = Counter()
    values: Counter[int] = Counter()
    for probe, at, temp in sample:
        if probe in before:
            times[round((at - before[probe][0]) * 1000)] += 1
            values[round((temp - before[probe][1]) * 16)] += 1
        before[probe] = (at, temp)
    return (entropy(times) + entropy(values)) / 8


def entropy(counts: Counter[int]) -> float:
    total = sum(counts.values())
    return -sum(c / total * math.log2(c / total) for c in counts.values())


def timed(what: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    result = what()
    return time.perf_counter() - start, result


def bytes_written() -> int:
    """By this process, as the kernel counts pages made dirty (Linux)."""
    for line in Path("/proc/self/io").read_text().splitlines():
        if line.startswith("write_bytes"):
            return int(line.split()[1])
    return 0


def record(path: Path, readings: int) -> None:
    """Through the service's own door: commits of a few readings, snapshots, tidying."""
    start, wrote = time.perf_counter(), bytes_written()
    chance = random.Random(2)
    commits = 0
    with Journal.open(path) as journal:
        journal.know(probes())
        batch = Commit()
        tidied = snapped = T0
        for probe, at, temp in invented(readings):
            batch.inputs.append(Reading(at, at, f"porch/p{probe}", temp))
            if len(batch.inputs) < COMMIT_OF:
                continue
            batch.redelivery_marks = chance.randbytes(10 * COMMIT_OF)
            batch.advanced_to = Moment(at, at)
            if at - snapped >= 900:
                snapped = at
                batch.snapshots = {"engine": {"numbers": [chance.random() for _ in range(300)]}}
            journal.commit(batch)
            commits += 1
            batch = Commit()
            if at - tidied >= 300:
                tidied = at
                journal.tidy(at)
    took = time.perf_counter() - start
    hours = readings / PROBES * EVERY_S / 3600
    per_hour = (bytes_written() - wrote) / hours
    print(f"recorded {readings:,} readings in {commits:,} commits: {readings / took:,.0f} a second")
    print(
        f"  written {per_hour / 1e6:.2f} MB per hour of record (goal 4; quick run, see --minutes)"
    )
    size = path.stat().st_size
    least = information_bytes(list(invented(min(readings, 80_000))))
    print(
        f"  on disk {size / readings:.2f} bytes a reading (goal 40) with snapshots and marks;"
        f" information in it {least:.2f}: ratio {size / readings / least:.2f}"
    )


def fill(path: Path, readings: int) -> None:
    """The same readings at once, as an import brings them."""
    arrivals = Arrivals()
    for probe, at, temp in invented(readings):
        arrivals.add(f"porch/p{probe}", at, temp)
    with Journal.open(path) as journal:
        journal.know(probes())
        took, _ = timed(lambda: journal.bring_in(arrivals))
    size = path.stat().st_size / readings
    print(f"imported {readings:,} readings: {readings / took:,.0f} a second; {size:.2f} bytes each")


def read(path: Path, bare_path: Path, readings: int) -> None:
    """Bulk reading and export, beside plain SQL on a plain table of the same."""
    bare = sqlite3.connect(bare_path)
    bare.execute(
        "CREATE TABLE r (probe INTEGER, at INTEGER, mc INTEGER, PRIMARY KEY (probe, at))"
        " WITHOUT ROWID"
    )
    bare.executemany(
        "INSERT OR IGNORE INTO r VALUES (?, ?, ?)",
        ((p, round(at * 1000), round(t * 10_000)) for p, at, t in invented(readings)),
    )
    bare.commit()
    print(f"  plain table: {bare_path.stat().st_size / readings:.1f} bytes a reading")
    reader = JournalReader(path)
    import numpy  # noqa: F401, PLC0415 - its import is not what is measured

    everything, all_of_it = timed(reader.readings_of)
    found = sum(at.size for at, _ in all_of_it.values())
    assert found == readings, found
    plain, _ = timed(lambda: bare.execute("SELECT at, mc FROM r").fetchall())
    print(
        f"all {readings:,} as arrays: {everything:.3f} s; fetchall of the plain table"
        f" {plain:.3f} s: {plain / everything:.1f}x as fast"
    )
    end = T0 + readings / PROBES * EVERY_S
    night = (end - 50_400, end - 7_200)
    one, (at, _) = timed(lambda: reader.readings("porch/p0", *night))
    low, high = (round(t * 1000) for t in night)
    plain, _ = timed(
        lambda: bare.execute(
            "SELECT at, mc FROM r WHERE probe = 0 AND at BETWEEN ? AND ?", (low, high)
        ).fetchall()
    )
    print(f"a night of one probe: {one * 1000:.1f} ms; plain table {plain * 1000:.1f} ms")
    assert at.size > 1000
    night_all, _ = timed(lambda: reader.readings_of(None, *night))
    print(f"a night of all probes: {night_all * 1000:.1f} ms (goal 200)")
    daemon, _ = timed(lambda: reader.readings_plain("porch/p0", *night))
    print(f"  without numpy, one probe: {daemon * 1000:.1f} ms")

    def bare_lines() -> int:
        written = 0
        for probe, at, mc in bare.execute("SELECT probe, at, mc FROM r ORDER BY at"):
            line = {"at": at / 1000, "topic": f"b/porch/p{probe}", "payload": str(mc / 10_000)}
            written += len(json.dumps(line)) + 1
        return written

    ours, lines = timed(lambda: sum(chunk.count("\n") for chunk in export_lines.chunks(reader)))
    assert lines == readings
    loop, _ = timed(bare_lines)
    print(
        f"export {lines / ours:,.0f} lines a second ; bare sqlite3 + json"
        f" {readings / loop:,.0f}: {loop / ours:.1f}x as fast"
    )


def start_up(path: Path) -> None:
    """Opening checks the whole file; a service may take 2 s in all."""
    took, journal = timed(lambda: Journal.open(path))
    journal.close()
    print(f"opened and checked ({path.stat().st_size / 1e6:.1f} MB): {took:.3f} s")


def real_time(path: Path, minutes: float) -> None:
    """Eight probes every ten seconds by the clock."""
    with Journal.open(path) as journal:
        journal.know(probes())
        begun, wrote, n = time.time(), bytes_written(), 0
        snapped = begun
        batch = Commit()
        while (now := time.time()) - begun < minutes * 60:
            at = round(now, 3)
            batch.inputs.append(Reading(at, at, f"porch/p{n % PROBES}", 33.0625))
            n += 1
            if len(batch.inputs) >= COMMIT_OF:
                batch.advanced_to = Moment(at, at)
                batch.redelivery_marks = bytes(10 * COMMIT_OF)
                if now - snapped > 900:
                    snapped, batch.snapshots = now, {"engine": {"numbers": list(range(300))}}
                journal.commit(batch)
                batch = Commit()
                journal.tidy(at)
            time.sleep(max(0.0, begun + n * EVERY_S / PROBES - time.time()))
        per_hour = (bytes_written() - wrote) / (time.time() - begun) * 3600
    print(f"over {minutes:g} min of real time: {per_hour / 1e6:.2f} MB an hour written (goal 4)")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=2_073_600)
    parser.add_argument("--recorded", type=int, default=138_240, help="through single commits")
    parser.add_argument("--minutes", type=float, default=0.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:  # /tmp may be memory
        home = Path(folder)
        if asked.minutes:
            real_time(home / "clock.db", asked.minutes)
            return
        record(home / "recorded.db", asked.recorded)
        fill(home / "full.db", asked.readings)
        start_up(home / "full.db")
        read(home / "full.db", home / "bare.db", asked.readings)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of this run {peak:.0f} MB")


if __name__ == "__main__":
    main()
