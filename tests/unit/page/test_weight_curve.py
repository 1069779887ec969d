"""Weights against the breeder's table."""

import pytest
from support.fake_api import NIGHT, placed, site

from monitor.brooding.ledger import fold
from monitor.events import Entry, EntryKind
from monitor.page.phrases import Phrases
from monitor.page.weight_curve import WeightCurve, weight_curve


def curve(*notes: str) -> WeightCurve:
    weighed = [
        Entry(at=NIGHT - 86400 * (2 - n), entry=EntryKind.WEIGHED, brooder="porch", number=10 + n,
              count=10, note=note)
        for n, note in enumerate(notes)
    ]  # fmt: skip
    return weight_curve(fold([*placed(), *weighed]).of("porch")[0], Phrases(site(), NIGHT))


def test_what_was_weighed_stands_against_the_table_of_its_age():
    drawn = curve("150 g", "190 g")
    assert [x for x, _ in drawn.points] == [
        pytest.approx(100 * 7.1 / 14, abs=1), pytest.approx(100 * 8.1 / 14, abs=1)
    ]  # fmt: skip
    assert drawn.points[1][1] < drawn.points[0][1], "heavier is higher"
    assert "by the breeder's table" in drawn.words
    assert drawn.needs is not None
    assert drawn.needs.startswith("feed about")


def test_without_a_weighing_it_says_how_to_begin():
    drawn = curve()
    assert drawn.points == ()
    assert drawn.words.startswith("None weighed yet.")
    assert drawn.table.startswith("M0,")
