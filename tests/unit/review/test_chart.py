"""What the chart's description promises, read from the description itself."""

import dataclasses
import json

import numpy as np
import pytest
from support.review_scenes import HOLD_S, at, days, line, night

from monitor.review.chart import describe
from monitor.review.local_axis import LocalAxis
from monitor.review.points import Points
from monitor.review.scene import Event
from monitor.site import Place
from monitor.units import Unit, from_celsius


def rows_of(spec, mark, field):
    """The data rows of every layer with that mark and that y field."""
    found = []

    def look(part):
        if isinstance(part, dict):
            kind = part.get("mark", {}).get("type") if isinstance(part.get("mark"), dict) else None
            if kind == mark and part["encoding"].get("y", {}).get("field") == field:
                found.append(part["data"]["values"])
            for value in part.values():
                look(value)
        elif isinstance(part, list):
            for value in part:
                look(value)

    look(spec)
    return found


def axis_of(scene):
    return LocalAxis(start=scene.start, stop=scene.stop, zone=scene.zone)


def test_a_silence_leaves_the_line_open():
    spec = describe(night())
    west, east = rows_of(spec, "line", "v")[:2]
    assert not any(row["v"] is None for row in west)
    holes = [n for n, row in enumerate(east) if row["v"] is None]
    assert len(holes) == 1
    before, after = east[holes[0] - 1], east[holes[0] + 1]
    assert (after["t"] - before["t"]) / 3.6e6 == pytest.approx(1.2, abs=0.02)


def test_one_minute_at_18_degrees_is_in_every_picture_of_a_month():
    scene = days(30)
    times = np.arange(scene.start, scene.stop, 60.0)
    temps = np.full(len(times), 33.0)
    temps[12345] = 18.0
    probe = line("floor", Place.FLOOR, times, temps)
    month = dataclasses.replace(scene, lines=(probe,), units=Unit.CELSIUS)
    lows = [row["low"] for row in rows_of(describe(month), "area", "low")[1]]
    assert min(low for low in lows if low is not None) == 18.0
    day = dataclasses.replace(month, start=times[12345] - 40000, stop=times[12345] + 40000)
    assert 18.0 in [row["v"] for row in rows_of(describe(day), "line", "v")[0]]


def test_an_envelope_is_open_where_nothing_was_read():
    rows = rows_of(describe(days(7)), "area", "low")[1]
    nulls = [row["t"] for row in rows if row["low"] is None]
    assert nulls
    assert (max(nulls) - min(nulls)) / 3.6e6 == pytest.approx(0.4 * 24, abs=1.0)


def test_values_are_in_the_site_s_units():
    fahrenheit = rows_of(describe(night()), "line", "v")[0]
    celsius = rows_of(describe(night(units=Unit.CELSIUS)), "line", "v")[0]
    assert len(fahrenheit) == len(celsius)
    for hot, cold in zip(fahrenheit, celsius, strict=True):
        assert hot["v"] == pytest.approx(from_celsius(cold["v"], Unit.FAHRENHEIT), abs=0.02)


def test_the_band_steps_with_the_schedule():
    treads = rows_of(describe(days(30)), "area", "low")[0]
    wide = [row["high"] - row["low"] for row in treads]
    # for half a day after each step the old upper edge stands
    band, step = 2 * 2.8 * 1.8, 5.0
    assert wide == pytest.approx([band, *[band + step, band] * 4, band], abs=0.03)
    assert [row["low"] for row in treads] == sorted((r["low"] for r in treads), reverse=True)
    assert len({row["low"] for row in treads}) == 5


def test_a_month_of_eight_probes_stays_a_small_picture():
    scene = days(30)
    eight = dataclasses.replace(scene, lines=tuple(scene.lines[0] for _ in range(8)))
    assert len(json.dumps(describe(eight))) < 200_000


def test_every_line_has_a_name_and_a_look_of_its_own():
    scene = night()
    floors = [dataclasses.replace(scene.lines[0], name=f"floor {n}") for n in range(6)]
    spec = describe(dataclasses.replace(scene, lines=tuple(floors)))
    layers = spec["vconcat"][0]["layer"]
    lines = [x["mark"] for x in layers if x.get("mark", {}).get("type") == "line"][2:]
    points = [x["mark"] for x in layers if x.get("mark", {}).get("type") == "point"]
    assert len({mark["color"] for mark in lines}) == 6
    assert len({tuple(mark["strokeDash"]) for mark in lines}) == 6
    assert len({mark["shape"] for mark in points}) == 6
    names = json.dumps(layers[-1])
    assert all(f"floor {n}" in names for n in range(6))


def test_the_description_says_the_story_without_eyes():
    spec = describe(night())
    assert spec["description"].startswith("Hillside, porch: night to 11 Feb")
    assert "3 h 20 min below the band" in spec["description"]


def test_a_scene_without_any_reading_is_still_a_picture():
    empty = dataclasses.replace(
        night(), lines=(), alarms=(), events=(Event(at=at("2026-02-10 20:00"), what="note",
                                                    text="probe fell off"),)
    )  # fmt: skip
    spec = describe(empty)
    assert len(spec["vconcat"]) == 2
    assert Points(empty, axis_of(empty), 100).reach([], []) == (-0.5, 1.5)
    assert empty.hold_s == HOLD_S
