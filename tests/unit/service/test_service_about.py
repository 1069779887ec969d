"""What the service says about the forecast at each box."""

from dataclasses import replace

from support.fake_api import brooder, outlook, status

from monitor.service.service_api import forecast_learned


def test_what_the_forecast_means_at_a_box_is_said_only_where_it_rests_on_it() -> None:
    known = replace(outlook(), outside_from="forecast, 3 h old", outside_low_c=0.5)
    boxes = (
        replace(brooder(), name="porch", outlook=known),
        replace(brooder(), name="shed", outlook=replace(known, outside_from="the low you gave")),
        replace(brooder(), name="empty", outlook=None),
    )
    assert forecast_learned(replace(status(), brooders=boxes)) == {"porch": 0.5}
