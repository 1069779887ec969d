"""What the heat drew stands in the record: each plug's word until the next one, a silence not."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.engine_night import plugged
from support.review_journal import at, site

from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Sample
from monitor.journal.store import Journal
from monitor.review.energy import energy_line, kwh
from monitor.review.record import Asked, open_record
from monitor.review.scenes import story
from monitor.review.sheet import Cut, sheet
from monitor.review.sheet_text import foot

PLUG = "west lamp power_w"


def test_watts_count_until_the_next_word_but_no_longer_than_a_quarter_of_an_hour() -> None:
    times = np.array([0.0, 600.0, 7200.0])  # the plug is silent from 1500 s to 7200 s
    watts = np.array([240.0, 240.0, 120.0])
    assert kwh(times, watts, 0.0, 7800.0) * 3.6e6 == pytest.approx(240 * 1500 + 120 * 600)
    assert kwh(times, watts, 300.0, 900.0) * 3.6e6 == pytest.approx(240 * 600)


def test_a_night_says_what_its_heat_drew_and_so_does_the_record_sheet(
    journal_path: Path, tmp_path: Path
) -> None:
    path = tmp_path / "journal.db"
    shutil.copy(journal_path, path)
    start, stop = at("2026-02-10 18:00"), at("2026-02-11 06:00")
    drawn = [
        Sample(when, "porch", PLUG, 0.4 if when > at("2026-02-11 02:00") else 245.0)
        for when in np.arange(start, stop, 60.0)
    ]
    with Journal.open(path) as journal:
        journal.commit(Commit(samples=drawn))
    here = site()
    here = replace(here, brooders=(plugged(here.brooders[0]), *here.brooders[1:]))
    with JournalReader(path) as reader:
        record = open_record(reader, here, Asked(brooder="porch"), now=at("2026-06-01 00:00"))
        assert energy_line(record, start, stop) == "heat drew 2.0 kWh"  # 245 W for eight hours
        assert "heat drew 2.0 kWh" in story(record, start, stop)
        assert "heat drew 2.0 kWh" in foot(record, sheet(record, Cut.NOON), [])
        bare = open_record(reader, site(), Asked(brooder="porch"), now=at("2026-06-01 00:00"))
        assert energy_line(bare, start, stop) is None
