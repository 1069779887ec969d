"""What a reminder says is as of now."""

import pytest
from support import fake_api

from monitor.events import AlarmName, Facts
from monitor.tell.present_facts import now_facts


@pytest.mark.parametrize(("trend_c_per_h", "minutes"), [(3.6, 30.0), (-1.0, None), (None, None)])
def test_how_long_it_is_until_dangerously_hot_is_worked_out_anew(trend_c_per_h, minutes):
    box = fake_api.brooder(temp_c=36.0, trend_c_per_h=trend_c_per_h, overheat_c=37.8)
    told = Facts(temp_c=35.5, minutes_to_overheat=13.0)
    now = now_facts(told, fake_api.status(box), "porch", AlarmName.HOT)
    assert now.get("minutes_to_overheat") == (minutes and pytest.approx(minutes))
    fresh = now_facts(Facts(), fake_api.status(box), "porch", AlarmName.HOT)
    assert "minutes_to_overheat" not in fresh


def test_how_far_the_floor_came_down_is_known_from_the_alarms_that_are_on():
    low, lower = (
        fake_api.alarm(name, extreme_c=c)
        for name, c in ((AlarmName.COLD, 27.0), (AlarmName.CHILL, 25.0))
    )
    box = fake_api.brooder(temp_c=28.0, alarms=(low, lower))
    assert now_facts(Facts(), fake_api.status(box), "porch", AlarmName.COLD)["extreme_c"] == 25.0
    assert now_facts(Facts(), fake_api.status(box), "porch", AlarmName.HOT).get("extreme_c") is None
    warm = fake_api.status(fake_api.brooder())
    assert "extreme_c" not in now_facts(Facts(), warm, "porch", AlarmName.COLD)


def test_one_end_of_a_box_is_too_hot_while_another_reads_cold():
    box = fake_api.brooder(temp_c=10.7, coldest_c=10.7, hottest_c=38.6)
    for alarm, c in ((AlarmName.OVERHEAT, 38.6), (AlarmName.HOT, 38.6), (AlarmName.CHILL, 10.7)):
        assert now_facts(Facts(temp_c=39.0), fake_api.status(box), "porch", alarm)["temp_c"] == c
