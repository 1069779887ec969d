"""The plan before the order: the same balance as everywhere, and no figure that cannot be."""

import json
import time
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from monitor.brooding import space
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.heat_balance import Flock, balance
from monitor.brooding.rearing_plan import rearing_plan
from monitor.commands import build
from monitor.commands.plan import PLAIN
from monitor.site import HeatSource

COUNTS = st.integers(1, 300)
LOWS = st.floats(-25.0, 20.0)


@given(kind=st.sampled_from(sorted(KINDS)), count=COUNTS, low_c=LOWS)
def test_the_first_night_is_the_balance_of_every_other_answer(kind, count, low_c) -> None:
    plan = rearing_plan(PLAIN, kind, count, low_c)
    flock = Flock(kind=kind, age_days=1.0, head_count=count)
    assert plan.weeks[0].floor_c == balance(PLAIN, flock, outside_c=low_c).floor_c
    own = next(each for each in plan.covers if each.cover == PLAIN.cover)
    assert own.floor_c == plan.weeks[0].floor_c


@given(count=COUNTS, low_c=LOWS)
def test_the_watts_that_are_missing_bring_the_floor_to_its_target(count, low_c) -> None:
    week = rearing_plan(PLAIN, "broiler", count, low_c).weeks[0]
    lamp = HeatSource(name="one more", kind="lamp", watts=week.missing_w)
    mended = rearing_plan(replace(PLAIN, heat=(*PLAIN.heat, lamp)), "broiler", count, low_c)
    assert mended.weeks[0].floor_c >= week.target_c - 1.0
    assert week.missing_w == 0 or week.floor_c < week.target_c


@given(count=COUNTS)
def test_the_day_it_gets_crowded_is_the_day_the_advice_comes(count) -> None:
    plan = rearing_plan(PLAIN, "broiler", count, 0.0)
    area_m2 = PLAIN.floor_area_m2
    days = range(1, plan.out_days)
    crowded = [d for d in days if space.is_crowded("broiler", d, area_m2=area_m2, head_count=count)]
    assert plan.crowded_days == (crowded[0] if crowded else None)


def said(*arguments: str) -> tuple[int, str]:
    answer = CliRunner().invoke(build("plan"), ["plan", *arguments])
    return answer.exit_code, answer.output


def test_it_answers_where_nothing_is_configured_yet(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("monitor.commands.plan.DEFAULT_FILES", (tmp_path / "none.toml",))
    code, text = said("25", "--low", "18C", "--heat", "lamp 250", "--heat", "lamp 250")
    assert code == 0
    assert "Yes: with all the heat on" in text
    assert "Starter feed" in text
    assert "No open flame" in text
    code, text = said("115", "--low", "28F", "--units", "fahrenheit")
    assert code == 1
    assert "No: the heat does not hold." in text
    assert "°C" not in text


def test_without_a_low_it_goes_by_the_forecast_and_says_so(tmp_path: Path) -> None:
    config = tmp_path / "brooder.toml"
    box = '[[brooders]]\nname = "porch"\nlength_m = 1.5\nwidth_m = 1.5\n'
    config.write_text(f'[journal]\nfolder = "."\n[forecast]\nlatitude = 1\nlongitude = 1\n{box}')
    code, text = said("25", "--config", str(config))
    assert code == 2
    assert "--low is missing, and no forecast is known" in text
    now = time.time()
    hours = [(now + 3600.0 * hour, -7.0 if 30 <= hour < 45 else 3.0) for hour in range(-24, 96)]
    (tmp_path / "forecast.json").write_text(json.dumps([now, hours]))
    code, text = said("25", "--config", str(config))
    assert "19.4 °F is the coldest of the next 3 nights by the forecast" in " ".join(text.split())
    assert "by the forecast" not in said("25", "--low", "3C", "--config", str(config))[1]


@pytest.mark.parametrize(
    ("arguments", "names"),
    [
        (("0", "--low", "5C"), "count is 0"),
        (("50", "--low", "cold"), '--low is "cold"'),
        (("50", "--low", "5C", "--kind", "ostrich"), '--kind is "ostrich"'),
        (("50", "--low", "5C", "--length", "wide"), '--length is "wide"'),
        (("50", "--low", "5C", "--length", "900 ft"), "a box is 4 in to 164 ft 1 in long"),
        (("50", "--low", "5C", "--length", "90 m", "--units", "celsius"), "a box is 0.1 m to 50 m"),
        (("50", "--low", "5C", "--heat", "stove 900"), '"stove 900" is no heat source'),
        (("50", "--low", "5C", "--cover", "glass"), '--cover is "glass"'),
    ],
)
def test_what_cannot_be_is_named(arguments, names) -> None:
    code, text = said(*arguments)
    assert code == 2
    assert names in text
