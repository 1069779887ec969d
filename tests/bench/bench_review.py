"""How long the review takes on a month: 8 probes every 10 seconds, two million readings, beside
plain SQL that does less on the same readings in a plain table.

    python tests/bench/bench_review.py [--days 30] [--floors 6]

Plain SQL here answers "lowest, highest, average and readings below, by day and probe" from a table
of rows: no held readings, no gaps, no coldest of several probes, no spells."""

import argparse
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import numpy as np  # noqa: E402
from support import review_journal as made  # noqa: E402
from support.birds import chicks_in  # noqa: E402

from monitor.events import Entry, EntryKind, Moment, Reading  # noqa: E402
from monitor.journal.reader import JournalReader  # noqa: E402
from monitor.journal.records import Commit, Entered  # noqa: E402
from monitor.journal.store import Journal  # noqa: E402
from monitor.review.chart import describe  # noqa: E402
from monitor.review.days import Cut  # noqa: E402
from monitor.review.draw import draw  # noqa: E402
from monitor.review.loss_review import losses  # noqa: E402
from monitor.review.record import Asked, open_record  # noqa: E402
from monitor.review.scenes import scene  # noqa: E402
from monitor.review.sheet import sheet  # noqa: E402
from monitor.site import Brooder, Place, Probe, Site  # noqa: E402
from monitor.units import Unit  # noqa: E402

START = made.at("2026-02-08 12:00")


def site(floors: int) -> Site:
    """Eight probes: so many on the floor, the others beneath lamps."""
    probes = tuple(
        Probe(key=f"porch/p{n}", brooder="porch", name=f"p{n}", topic=f"b/{n}",
              place=Place.FLOOR if n < floors else Place.UNDER_HEAT)
        for n in range(8)
    )  # fmt: skip
    porch = Brooder(name="porch", length_m=1.5, width_m=1.5, height_m=0.56, probes=probes)
    return Site(name="Hillside", timezone=made.ZONE, units=Unit.FAHRENHEIT, brooders=(porch,))


def temperatures(days: int) -> tuple[np.ndarray, list[np.ndarray]]:
    """Eight walks about a floor that is stepped down week by week."""
    rng = np.random.default_rng(5)
    times = START + np.arange(0, days * 86400, 10.0)
    target = 35.0 - 2.8 * ((times - START) // (7 * 86400))
    day = np.sin((times - START) / 86400 * 2 * np.pi)
    return times, [
        np.round(target + 2.2 * day + rng.normal(0, 0.1, len(times)) + 0.2 * n, 2) for n in range(8)
    ]


def write(folder: Path, days: int) -> tuple[Path, Path]:
    """The same readings in the journal and in a plain table."""
    times, temps = temperatures(days)
    journal_path, plain_path = folder / "journal.db", folder / "plain.db"
    with Journal.open(journal_path) as journal:
        journal.know(site(6).all_probes)
        placed = chicks_in(START, hatched="2026-02-07", number=journal.next_entry_number())
        lost = Entry(at=START + 3.7 * 86400, entry=EntryKind.LOSS, brooder="porch", count=2,
                     number=journal.next_entry_number())  # fmt: skip
        first = Moment(START, START)
        journal.commit(Commit(inputs=[Entered(placed, first), Entered(lost, first)],
                             advanced_to=first))  # fmt: skip
        step = 8640
        for begin in range(0, len(times), step):
            end = min(begin + step, len(times))
            inputs = [
                Reading(at=at, tick=at, probe=f"porch/p{n}", temp_c=temp)
                for n in range(8)
                for at, temp in zip(
                    times[begin:end].tolist(), temps[n][begin:end].tolist(), strict=True
                )
            ]
            now = Moment(float(times[end - 1]), float(times[end - 1]))
            # Readings settle once a snapshot lies behind them, as in the service.
            journal.commit(Commit(inputs=inputs, advanced_to=now, snapshots={"engine": {}}))
            journal.tidy(now.at)
    with sqlite3.connect(plain_path) as plain:
        plain.execute(
            "CREATE TABLE r (probe INT, at INT, milli INT, PRIMARY KEY (probe, at)) WITHOUT ROWID"
        )
        for n in range(8):
            at = (times * 1000).astype(np.int64).tolist()
            milli = np.round(temps[n] * 1000).astype(np.int64).tolist()
            plain.executemany("INSERT INTO r VALUES (?, ?, ?)",
                              zip([n] * len(at), at, milli, strict=True))  # fmt: skip
    return journal_path, plain_path


class Took(NamedTuple):
    """By the clock, and of the processor: on a busy machine only the latter says much."""

    wall_s: float
    cpu_s: float


def best(work: Callable[[], object], times: int = 3) -> Took:
    """The least of some runs: what the work takes when nothing else does."""
    found = []
    for _ in range(times):
        began, cpu = time.perf_counter(), time.process_time()
        work()
        found.append(Took(time.perf_counter() - began, time.process_time() - cpu))
    return Took(min(one.wall_s for one in found), min(one.cpu_s for one in found))


def main() -> None:
    """Prints seconds, and the ratio to plain SQL in the same run."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=30)
    asked.add_argument("--floors", type=int, default=6)
    told = asked.parse_args()
    where = site(told.floors)
    with tempfile.TemporaryDirectory() as folder:
        journal_path, plain_path = write(Path(folder), told.days)
        end = START + told.days * 86400

        def record() -> object:
            return open_record(JournalReader(journal_path), where, Asked(brooder="porch"), now=end)

        def plain(start: float, stop: float, floors: int) -> list[object]:
            with sqlite3.connect(plain_path) as connection:
                return connection.execute(
                    "SELECT probe, (at - ?) / 86400000 AS day, min(milli), max(milli), avg(milli),"
                    " sum(milli < 32200) FROM r WHERE probe < ? AND at >= ? AND at < ?"
                    " GROUP BY probe, day",
                    (int(START * 1000), floors, int(start * 1000), int(stop * 1000)),
                ).fetchall()

        night = (START + 3.25 * 86400, START + 3.8 * 86400)
        sql = best(lambda: plain(START, end, told.floors))
        sql_night = best(lambda: plain(*night, 8))
        rows: list[tuple[str, Took, Took | None, str]] = [
            ("plain SQL, by day and probe", sql, None, ""),
            ("record sheet, everything read",
             best(lambda: sheet(record(), Cut.NOON)), sql, "<= 2 s"),
            ("loss by loss, everything read", best(lambda: losses(record())), sql, ""),
            ("plain SQL, one night", sql_night, None, ""),
            ("one night's picture data", best(lambda: describe(scene(record(), *night))), sql_night,
             "<= 0.2 s"),
            ("the batch's picture data",
             best(lambda: describe(scene(record(), START, end))), sql, ""),
            ("drawing that night as PNG, in a child",
             best(lambda: draw(describe(scene(record(), *night)), "png"), 1), None, ""),
        ]  # fmt: skip
        readings = told.days * 8640 * 8
        print(f"{readings:,} readings, {told.floors} of 8 probes on the floor")
        for name, took, beside, wanted in rows:
            ratio = "" if beside is None else f"{took.cpu_s / beside.cpu_s:5.2f} x plain SQL"
            print(
                f"{name:40} {took.wall_s:7.3f} s, {took.cpu_s:7.3f} s of CPU  {ratio:18} {wanted}"
            )


if __name__ == "__main__":
    main()
