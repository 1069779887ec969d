"""What an alarm says on the page is as of now."""

from dataclasses import replace

import pytest
from support import fake_api

from monitor.events import AlarmName, Facts
from monitor.page.alarm_words import alarm_view
from monitor.page.phrases import Phrases
from monitor.tell.wording.temperature import COOLS, WARMS


@pytest.mark.parametrize(
    ("trend_c_per_h", "said"), [(3.6, "Dangerously hot in about 30 min."), (-2.0, None)]
)
def test_how_long_it_is_until_dangerously_hot_is_not_as_old_as_the_alarm(trend_c_per_h, said):
    told = Facts(temp_c=35.5, target_c=32.2, high_c=35.0, overheat_c=37.8, minutes_to_overheat=13.0)
    box = fake_api.brooder(temp_c=36.0, in_band=False, trend_c_per_h=trend_c_per_h, overheat_c=37.8)
    hot = fake_api.alarm(AlarmName.HOT, facts=told)
    here = fake_api.site()
    view = alarm_view(hot, here, Phrases(here, fake_api.NIGHT), box)
    assert "about 13 min" not in view.first
    assert said is None or said in view.first


@pytest.mark.parametrize(
    ("name", "extreme_c", "temp_c", "trend_c_per_h", "first"),
    [
        (AlarmName.CHILL, 24.0, 26.5, 10.0, WARMS),
        (AlarmName.COLD, 24.0, 27.0, 10.0, WARMS),
        (AlarmName.OVERHEAT, 40.0, 37.0, -0.2, COOLS),
    ],
)
def test_what_is_on_its_way_back_is_so_on_the_page_as_on_the_phone(
    name, extreme_c, temp_c, trend_c_per_h, first
):
    told = Facts(temp_c=extreme_c, target_c=32.2, low_c=29.4, overheat_c=37.8)
    alarm = replace(fake_api.alarm(name, facts=told), extreme_c=extreme_c)
    box = fake_api.brooder(
        temp_c=temp_c, in_band=False, trend_c_per_h=trend_c_per_h, alarms=(alarm,)
    )
    here = fake_api.site()
    view = alarm_view(alarm, here, Phrases(here, fake_api.NIGHT), box)
    assert first in view.first
    assert "Go now" not in view.first


def test_of_two_ends_one_too_hot_and_one_too_cold_neither_is_said_to_be_over():
    box = fake_api.brooder(temp_c=25.0, hottest_c=39.0, in_band=False)
    here = fake_api.site()
    for name in (AlarmName.OVERHEAT, AlarmName.HOT, AlarmName.COLD, AlarmName.CHILL):
        alarm = fake_api.alarm(name, facts=Facts(temp_c=39.0, target_c=32.2, overheat_c=37.8))
        view = alarm_view(alarm, here, Phrases(here, fake_api.NIGHT), box)
        assert " was " not in view.title
