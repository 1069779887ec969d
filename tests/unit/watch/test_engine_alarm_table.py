"""The alarm table: nothing is missing, and each row weighs what it should."""

import pytest

from monitor.events import AlarmName, Priority
from monitor.site import Limits
from monitor.watch.alarm_table import TABLE, Family

URGENT = {
    AlarmName.CHILL,
    AlarmName.OVERHEAT,
    AlarmName.HEAT_LOSS,
    AlarmName.NO_READINGS,
    AlarmName.UNWATCHED,
    AlarmName.NAME_TAKEN,
    AlarmName.MAINS_LOST,
    AlarmName.BATTERY_LOW,
}
ADVICE = {
    AlarmName.METER_SILENT,
    AlarmName.AIR,
    AlarmName.STEP_DOWN,
    AlarmName.CROWDED,
    AlarmName.LOSSES_HIGH,
    AlarmName.READY_TO_MOVE,
}


@pytest.mark.parametrize("name", AlarmName)
def test_every_alarm_has_a_row_and_its_priority(name: AlarmName) -> None:
    rule = TABLE[name]
    expected = (
        Priority.URGENT
        if name in URGENT
        else Priority.ADVICE
        if name in ADVICE
        else Priority.WARNING
    )
    assert rule.priority is expected


def test_what_is_urgent_cannot_be_put_aside_for_a_night() -> None:
    for rule in TABLE.values():
        longest_h = rule.shelve_max_s / 3600
        assert longest_h == (4 if rule.priority is Priority.URGENT else 24)


def test_nothing_urgent_is_told_only_once() -> None:
    assert not [r for r in TABLE.values() if r.told_once and r.priority is Priority.URGENT]


def test_delays_are_the_brooders_own_limits() -> None:
    limits = Limits(band_delay_s=17.0, harm_delay_s=3.0, clear_delay_s=5.0)
    for name, on_s in ((AlarmName.COLD, 17.0), (AlarmName.HOT, 17.0), (AlarmName.CHILL, 3.0)):
        rule = TABLE[name]
        assert rule.delay_s(rule.on_delay, limits) == on_s
        assert rule.delay_s(rule.off_delay, limits) == 5.0


@pytest.mark.parametrize(
    ("worse", "than"),
    [
        (AlarmName.CHILL, AlarmName.COLD),
        (AlarmName.CHILL, AlarmName.HEAT_LOSS),
        (AlarmName.HEAT_LOSS, AlarmName.COLD),
        (AlarmName.COLD, AlarmName.COLD_NIGHT),
        (AlarmName.OVERHEAT, AlarmName.HOT),
    ],
)
def test_the_worse_form_of_a_trouble_outranks_the_other(worse: AlarmName, than: AlarmName) -> None:
    assert TABLE[worse].family is TABLE[than].family
    assert TABLE[worse].rank > TABLE[than].rank


def test_only_fire_and_the_watchers_own_troubles_need_no_birds() -> None:
    cold_and_hot = [r for r in TABLE.values() if r.family in (Family.COLD, Family.HOT)]
    assert [r.alarm for r in cold_and_hot if not r.needs_batch] == [AlarmName.OVERHEAT]
