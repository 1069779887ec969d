"""How long a gap of a sender is believable."""

from random import Random

import pytest

from monitor.watch.gaps import Gaps


@pytest.mark.parametrize(
    ("every_s", "lost"), [(60.0, 0.2), (120.0, 0.2), (300.0, 0.1), (300.0, 0.2)]
)
def test_of_a_sender_that_loses_readings_a_silence_is_told_less_than_every_twentieth_night(
    every_s, lost
):
    """As nearly as the floor can wait: no more than forty minutes."""
    chance, gaps, gap_s, told, nights = Random(f"{every_s} {lost}"), Gaps(), 0.0, 0, 200
    for _ in range(int(nights * 86400 / every_s)):
        gap_s += every_s * chance.gauss(1.0, 0.01)
        if chance.random() >= lost:
            told += gap_s > max(600.0, min(gaps.believable_s or 2400.0, 2400.0))
            gaps.add(gap_s)
            gap_s = 0.0
    assert told <= nights / 20
    assert gaps.believable_s < 2700.0


def test_the_first_gap_of_a_sender_of_packs_is_no_outage_that_counts_by_a_part() -> None:
    """It keeps what it reads half an hour: after a gap of an hour it was silent at 52 minutes."""
    gaps = Gaps()
    gaps.came(1600.0)
    gaps.add(3840.0)
    assert gaps.believable_s > 2 * 3840.0
    gaps = Gaps()
    gaps.came(1600.0)
    gaps.add(30.0)
    assert gaps.believable_s < 600.0, "what was in store when it began is no habit"
