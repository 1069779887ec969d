"""Batches beside each other, and how much heat each has used: measured, or reckoned and said so."""

import re
from dataclasses import replace

import numpy as np
import pytest
from support import split_batch
from support.engine_night import plugged
from support.review_journal import at
from support.short_record import placed, recorded
from typer.testing import CliRunner, Result

from monitor.commands import build
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Sample
from monitor.journal.store import Journal
from monitor.measures import price
from monitor.review.batches import figures, heat_words, rows
from monitor.review.boxes import open_each
from monitor.review.energy import heat_used
from monitor.review.record import NotFound
from monitor.site import HeatSource

CONFIG = """
[site]
name = "Hillside"
timezone = "America/Chicago"
[[brooders]]
name = "porch"
length_m = 1.5
width_m = 1.5
height_m = 0.56
[[brooders]]
name = "shed"
length_m = 1.0
width_m = 1.0
height_m = 0.5
"""
DATES = {"start": "2026-02-08 12:00", "stop": "2026-02-10 12:00"}
HOURS = 48.0
HALF = at("2026-02-09 12:00")
LAMP = HeatSource(name="west lamp", kind="lamp", watts=250.0)
LEVEL = {"porch/west": lambda _t: 34.5, "porch/east": lambda _t: 34.5}


def of_box(record, **changes):
    return replace(record, brooder=replace(record.brooder, **changes))


def test_a_source_that_nothing_watches_is_reckoned_as_lit_all_the_time_and_at_most(tmp_path):
    with recorded(tmp_path, LEVEL, placed("2026-02-08 12:00"), **DATES) as record:
        (used,) = heat_used(of_box(record, heat=(LAMP,)))
        assert not used.measured
        assert used.kwh == pytest.approx(0.25 * HOURS, rel=0.01)


def test_what_a_plug_measured_counts_and_only_the_rest_of_the_time_is_reckoned(tmp_path):
    with recorded(tmp_path, LEVEL, placed("2026-02-08 12:00"), **DATES) as record:
        box = plugged(replace(record.brooder, heat=(LAMP,)))
        series = next(meter.series for meter in box.meters)
        half = np.arange(record.start, HALF, 300.0).tolist()
        with Journal.open(tmp_path / "journal.db") as journal:
            journal.commit(Commit(samples=[Sample(t, "porch", series, 100.0) for t in half]))
        (used,) = heat_used(replace(record, brooder=box))
        assert not used.measured, "half of it is not measured"
        assert used.kwh == pytest.approx(0.1 * 24 + 0.25 * 24, rel=0.02)
        whole = np.arange(HALF, record.stop, 300.0).tolist()
        with Journal.open(tmp_path / "journal.db") as journal:
            journal.commit(Commit(samples=[Sample(t, "porch", series, 100.0) for t in whole]))
        (used,) = heat_used(replace(record, brooder=box))
        assert used.measured
        assert used.kwh == pytest.approx(0.1 * HOURS, rel=0.02)


def test_a_batch_in_two_boxes_is_one_of_the_batches(journal):
    site = replace(split_batch.split_site(), price_per_kwh=price("$0.20"))
    with JournalReader(journal) as kept:
        found = [figures(r, n) for n, r in open_each(kept, site, now=at("2026-06-01 00:00"))]
        (one,) = found
        assert one is not None
        assert (one.placed, one.lost, one.lost_first_week, one.dead_on_arrival) == (100, 3, 3, 3)
        assert (one.days, one.cold_days, one.hot_days) == (6, 1, 1)
        assert one.below_s == pytest.approx(3600, abs=300)
        said = dict(rows(one, site))
        assert said["lost"] == "3 (3.0 %)"
        assert said["boxes"] == "porch and shed"
        assert said["days too cold"].startswith("1 of 6, ")
        hours = (one.stop - one.began) / 3600
        assert one.kwh == pytest.approx(0.25 * hours, rel=0.01), (
            "the porch's lamp; the shed has none"
        )
        assert said["its cost"] == f"at most ${0.20 * one.kwh:.2f}"
        assert said["a bird reared"] == f"at most ${0.20 * one.kwh / 97:.2f}"


def test_without_a_price_no_cost_is_made_up_and_it_is_said_how_to_give_one(journal):
    site = split_batch.split_site()
    with JournalReader(journal) as kept:
        ((number, records),) = open_each(kept, site, now=at("2026-06-01 00:00"))
        one = figures(records, number)
        assert one is not None
        assert "its cost" not in dict(rows(one, site))
        assert "give the price of a kWh" in " ".join(heat_words([one], None))


def test_no_batch_at_all_is_said(tmp_path):
    with Journal.open(tmp_path / "journal.db"):
        pass
    with (
        JournalReader(tmp_path / "journal.db") as kept,
        pytest.raises(NotFound, match="the ledger has no batch yet"),
    ):
        list(open_each(kept, split_batch.split_site(), now=0.0))


@pytest.mark.parametrize(
    ("text", "of_ten"),
    [("$0.17", "$1.70"), ("0.17 USD", "1.70 USD"), ("0,30 EUR", "3.00 EUR"), ("32p", "320.00p")],
)
def test_a_price_is_written_with_its_currency_as_people_do(text, of_ten):
    assert price(text).of(10.0) == of_ten


@pytest.mark.parametrize("text", ["", "free", "-1 USD", "0.1.7 USD", "0.17 per kilowatt-hour"])
def test_what_is_no_price_is_refused(text):
    with pytest.raises(ValueError, match="a price has its currency with it"):
        price(text)


@pytest.fixture
def review(journal, tmp_path):
    (tmp_path / "brooder.toml").write_text(CONFIG, encoding="utf-8")
    app = build("review")
    paths = ["--config", str(tmp_path / "brooder.toml"), "--journal", str(journal)]

    def call(*words: str) -> Result:
        return CliRunner().invoke(app, ["review", *paths, *words], catch_exceptions=False)

    return call


def test_the_command_shows_them(review):
    shown = review("--batches")
    assert shown.exit_code == 0, shown.output
    assert re.search(r"^lost +3 \(3\.0 %\)", shown.output, re.MULTILINE)
    assert "leave --brooder" in review("--batches", "--brooder", "porch").output
