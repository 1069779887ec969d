"""The rows under the temperatures show what plugs and switches said, and only where they did."""

from dataclasses import replace

import numpy as np
import pytest
from support.review_scenes import night

from monitor.quantities import COVER, MAINS, POWER, Quantity
from monitor.review.chart import describe
from monitor.review.scene import Measure
from monitor.review.strips import mean_between


def said(title: str, quantity: Quantity, *words: tuple[float, float]) -> Measure:
    """Seconds into the night, and values."""
    begins = night().start
    times, values = zip(*words, strict=True)
    return Measure(
        title=title, quantity=quantity, times=np.array(times) + begins, values=np.array(values)
    )


def titles(*measures: Measure) -> list[str]:
    spec = describe(replace(night(), measures=measures))
    return [p["title"]["text"] for p in spec["vconcat"] if "title" in p]


def test_a_value_holds_until_the_next_one_or_until_it_is_silent() -> None:
    times, values = np.array([0.0, 60.0, 120.0]), np.array([100.0, 0.0, 50.0])
    means = mean_between(times, values, np.array([-60.0, 0.0, 120.0, 240.0, 360.0]), 90.0)
    assert means == pytest.approx([np.nan, 50.0, 50.0, np.nan], nan_ok=True)


def test_each_plug_and_switch_that_spoke_has_a_row_and_a_cover_that_was_never_opened_none() -> None:
    bare = titles()
    lamp = said("west lamp", POWER, *((s, 240.0) for s in range(0, 50400, 60)))
    opened = said("cover", COVER, (0, 0.0), (7200, 1.0), (7500, 0.0))
    shut = said("cover", COVER, (0, 0.0))
    out = said("mains power", MAINS, (0, 1.0), (9000, -1.0), (9600, 1.0))
    assert titles(lamp, opened, out) == [*bare, "west lamp, W", "cover open", "mains off"]
    assert titles(shut) == bare


def test_a_thermostats_share_of_the_time_is_seen_over_the_width_of_a_picture() -> None:
    """Half of the time lit: about half its watts, wherever a column is wide enough."""
    words = ((s, 240.0 if s % 1200 < 600 else 0.0) for s in range(0, 50400, 60))
    scene = replace(night(), measures=(said("plate", POWER, *words),))
    panel = describe(scene, wide_px=21)["vconcat"][-1]
    watts = [row["v"] for row in panel["layer"][0]["data"]["values"]]
    assert watts == pytest.approx([120.0] * len(watts))


def test_a_cover_open_for_a_minute_fills_its_column() -> None:
    scene = replace(night(), measures=(said("cover", COVER, (0, 0.0), (7000, 1.0), (7060, 0.0)),))
    panel = describe(scene)["vconcat"][-1]
    filled = [row["v"] for row in panel["layer"][0]["data"]["values"] if row["v"]]
    assert filled == [1.0]
