"""The grower turns the heat down and says so: that is no lost heat, and no cold is hidden by it."""

from datetime import date, timedelta
from math import exp
from random import Random

import pytest
from support.engine_night import EVENING, Night

from monitor.events import Entry, EntryKind

NOON = EVENING - 6 * 3600.0
LOST, COLD = "porch/heat-loss", "porch/cold"
TURNED_DOWN_C = 31.5  # below the band: it would be out of that in a while


class Box:
    """A floor that is held, and then heads for another temperature as a box does."""

    def __init__(self, seed: int, *, age_days: int = 0) -> None:
        self.night = Night(start=NOON, batch=False)
        self.night.placed(hatched=(date(2026, 2, 8) - timedelta(days=age_days)).isoformat())
        self._rng, self.floor_c = Random(seed), 36.0
        self.goes_on(4 * 3600.0)

    def goes_on(self, for_s: float, *, to_c: float | None = None) -> None:
        to_c = self.floor_c if to_c is None else to_c
        for _ in range(int(for_s / 30.0)):
            self.floor_c += (to_c - self.floor_c) * (1.0 - exp(-30.0 / 1500.0))
            self.night.says(self.floor_c + self._rng.gauss(0.0, 0.05))
            self.night.t += 30.0

    def changed(self, *, ago_s: float = 0.0) -> None:
        at = self.night.start + self.night.t - ago_s
        said = Entry(at=at, entry=EntryKind.HEAT_CHANGED, brooder="porch", number=2)
        self.night.engine.entry(said, self.night.now())

    @property
    def standing(self) -> set[str]:
        status = self.night.engine.status(self.night.now())
        return {f"{a.brooder}/{a.alarm}" for a in status.all_alarms if a.ended_at is None}

    @property
    def lost(self) -> bool:
        return LOST in self.night.told()


@pytest.fixture(params=range(3))
def box(request: pytest.FixtureRequest) -> Box:
    return Box(request.param)


def test_a_turn_down_that_nobody_tells_of_is_called_lost_heat(box: Box) -> None:
    box.goes_on(4 * 3600.0, to_c=TURNED_DOWN_C)
    assert box.lost, "the next claims would show nothing"


@pytest.mark.parametrize("age_days", [5, 6])
def test_a_lamp_raised_in_the_evening_before_a_step_down_is_not_called_lost_heat(
    age_days: int,
) -> None:
    """The target comes down at midnight; the cold that counts until then is told all the same."""
    box = Box(0, age_days=age_days)
    box.goes_on(2.5 * 3600.0)
    box.goes_on(3 * 3600.0, to_c=TURNED_DOWN_C)
    assert box.lost == (age_days == 5)
    assert COLD in box.night.told()


def test_a_turn_down_that_is_told_of_is_never_called_lost_heat(box: Box) -> None:
    box.changed()
    box.goes_on(6 * 3600.0, to_c=TURNED_DOWN_C)
    assert not box.lost


def test_what_was_called_lost_heat_is_over_once_it_is_told_of(box: Box) -> None:
    while LOST not in box.standing and box.floor_c > 32.5:
        box.goes_on(60.0, to_c=TURNED_DOWN_C)
    assert LOST in box.standing
    box.changed()
    box.goes_on(1800.0, to_c=34.0)
    assert LOST not in box.standing


def test_cold_after_a_turn_down_is_told_all_the_same(box: Box) -> None:
    box.changed()
    box.goes_on(4800.0, to_c=26.0)
    assert COLD in box.night.told()


def test_a_lamp_that_dies_when_the_floor_has_settled_is_told(box: Box) -> None:
    box.changed()
    box.goes_on(4 * 3600.0, to_c=34.0)
    assert not box.lost
    box.goes_on(3 * 3600.0, to_c=27.0)
    assert box.lost


def test_it_is_remembered_over_a_restart(box: Box) -> None:
    box.changed()
    box.night.restarts(5000.0)
    box.goes_on(4 * 3600.0, to_c=TURNED_DOWN_C)
    assert not box.lost


def test_an_entry_that_is_taken_back_changes_nothing(box: Box) -> None:
    box.changed()
    undo = Entry(at=box.night.now().at, entry=EntryKind.UNDO, undoes=2, number=3)
    box.night.engine.entry(undo, box.night.now())
    box.goes_on(3000.0)
    box.goes_on(2000.0, to_c=31.0)
    assert box.lost


def test_a_change_of_this_morning_hides_no_loss_of_now(box: Box) -> None:
    box.goes_on(3600.0, to_c=TURNED_DOWN_C)
    was = box.standing
    assert LOST in was
    box.changed(ago_s=4 * 3600.0)
    box.goes_on(300.0, to_c=TURNED_DOWN_C)
    assert box.standing >= was
