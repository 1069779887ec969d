"""A floor above its band: who is called at night, who reads of it in the morning."""

from math import exp
from random import Random

from support.engine_night import Night, a_brooder, a_site

from monitor.events import AlarmName, Change, ChangeKind, Priority

HIGH_C = 35.0 + 2.8


def warm(night: Night) -> list[Change]:
    return [c for c in night.changes if c.alarm is AlarmName.HOT and c.change is ChangeKind.RAISED]


class Box:
    """One floor probe read every 30 s, with a little noise."""

    def __init__(self, start_h: float = 18.0) -> None:
        self.night = Night(a_site(a_brooder()))
        self.night.t = (start_h - 18.0) * 3600.0
        self._rng = Random(1)
        self.temp_c = 35.0

    def goes(self, for_s: float, *, by_k_per_h: float = 0.0, sat_on_k: float = 0.0) -> None:
        """`sat_on_k`: by how much a bird warms the probe, with the probe's lag."""
        end, began = self.night.t + for_s, self.night.t
        while self.night.t < end:
            self.temp_c += by_k_per_h * 30.0 / 3600.0
            bird_k = sat_on_k * (1.0 - exp(-(self.night.t - began) / 90.0))
            self.night.says(self.temp_c + bird_k + self._rng.gauss(0, 0.04))
            self.night.t += 30.0


def test_a_bird_on_the_probe_wakes_nobody() -> None:
    box = Box()
    box.temp_c = 36.5
    box.goes(4 * 3600)
    box.goes(25 * 60, sat_on_k=2.4)
    box.goes(3600)
    (told,) = warm(box.night)
    assert told.priority is Priority.ADVICE


def test_a_floor_that_grazes_its_bands_edge_all_night_waits_for_the_morning() -> None:
    box = Box()
    box.temp_c = HIGH_C - 0.3
    box.goes(3600)
    box.goes(3600, by_k_per_h=0.5)
    box.goes(8 * 3600)
    assert {told.priority for told in warm(box.night)} == {Priority.ADVICE}


def test_a_floor_that_heads_for_harm_is_told_as_a_warning() -> None:
    box = Box()
    box.temp_c = 36.0
    box.goes(4 * 3600)
    box.goes(75 * 60, by_k_per_h=2.6)
    assert warm(box.night)[-1].priority is Priority.WARNING


def test_an_hour_above_the_band_by_more_than_a_probe_errs_is_a_warning_told_anew() -> None:
    box = Box()
    box.goes(4 * 3600)
    box.temp_c = HIGH_C + 0.9
    box.goes(50 * 60)
    assert [told.priority for told in warm(box.night)] == [Priority.ADVICE]
    box.goes(20 * 60)
    assert [told.priority for told in warm(box.night)] == [Priority.ADVICE, Priority.WARNING]
    assert not warm(box.night)[-1].facts.get("folded")


def test_by_day_a_floor_is_told_before_the_sun_has_driven_it_out_of_its_band() -> None:
    box = Box(start_h=27.0)  # three in the morning
    box.goes(4 * 3600)
    box.goes(3600, by_k_per_h=2.4)
    (told,) = warm(box.night)
    assert told.priority is Priority.WARNING
    assert told.facts["temp_c"] < HIGH_C


def test_by_night_no_sun_is_foretold() -> None:
    box = Box()
    box.goes(4 * 3600)
    box.goes(3600, by_k_per_h=2.4)
    assert warm(box.night) == []
