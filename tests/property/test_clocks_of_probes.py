"""Whatever the clocks of a probe and of the board do, a floor that is cold for good is told."""

import json
import os
from dataclasses import replace
from itertools import count
from random import Random
from typing import NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st
from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_site

from monitor.events import Moment, Priority
from monitor.service.core import Core

EXAMPLES = 200 if os.environ.get("BROODER_LONG") else 8
HOUR_S, DAY_S, YEARS_S = 3600.0, 86400.0, 5e8
# What a probe's clock shows more than it should, and by what the board's is set, s.
PROBE_OFF_S = [
    0.0, 0.0, -20.0, -100.0, -300.0, -700.0, -HOUR_S, -DAY_S, -YEARS_S,
    50.0, 100.0, 300.0, HOUR_S, DAY_S, YEARS_S,
]  # fmt: skip
BOARD_SET_S = [
    s * by for s in (-1.0, 1.0) for by in (60.0, 300.0, HOUR_S, DAY_S, 30 * DAY_S)
]  # fmt: skip
# A probe is waited for for a quarter of an hour; once more, where one of its words could be used in
# between (one reading raises nothing); and five minutes until it is sure that the others lag alike.
TOLD_BY_S = 2100.0


class Night(NamedTuple):
    """By chance: words, each with when it comes, and when the board's clock is set by how much."""

    cold_from: float
    words: list[tuple[float, str | float]]


def a_night(dice: Random) -> Night:
    every_s = dice.choice([5.0, 10.0, 30.0, 60.0, 120.0])
    cold_from = HOUR_S + dice.uniform(0.0, HOUR_S)
    ends = cold_from + 2 * HOUR_S
    steps = sorted(dice.uniform(0.0, ends) for _ in range(dice.choice([0, 1, 2, 4])))
    off_s = [(at, dice.choice(PROBE_OFF_S)) for at in (0.0, *steps)]
    bare, twice = dice.choice([0.0, 0.0, 0.1, 0.5]), dice.choice([0.0, 0.0, 0.2])
    late_s, lost = dice.choice([0.0, 0.0, 5.0, 90.0]), dice.choice([0.0, 0.1, 0.3])
    words: list[tuple[float, str | float]] = []
    at = dice.uniform(0.0, every_s)
    while at < ends:
        said = {
            "temperature": round(dice.uniform(0.0, 0.1) + (12.0 if at > cold_from else 34.0), 2)
        }
        if dice.random() >= bare:
            by_its_clock = at + [by for since, by in off_s if since <= at][-1]
            said["taken"] = round(EVENING + by_its_clock, 3)
        if dice.random() >= lost:
            came = at + dice.uniform(0.0, late_s)
            words.append((came, json.dumps(said)))
            if dice.random() < twice:
                words.append((came + dice.choice([0.1, 20.0, 300.0]), json.dumps(said)))
        at += every_s
    for _ in range(dice.choice([0, 0, 1, 2])):
        words.append((dice.uniform(0.0, ends), dice.choice(BOARD_SET_S)))
    return Night(cold_from, sorted(words, key=lambda word: word[0]))


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_cold_floor_is_told_whatever_the_clocks_show(seed: int) -> None:
    """The cold, or that its probe cannot be heard; and it stays told."""
    night = a_night(Random(seed))
    box = a_brooder()
    floor = replace(box.probes[0], value_pointer="/temperature", time_pointer="/taken")
    set_by_s = 0.0

    def moment(t: float) -> Moment:
        return Moment(EVENING + t + set_by_s, 1000.0 + t)

    site = a_site(replace(box, probes=(floor,)))
    core = Core(site, moment(0.0), next_entry_number=count(1).__next__)
    core.enter(chicks_in(EVENING), moment(0.0))
    looked, told_at = 0.0, night.cold_from
    for at, word in night.words:
        while looked < at:
            core.advance(moment(looked))
            alarms = core.status(moment(looked)).all_alarms
            if any(a.active and a.priority is Priority.URGENT for a in alarms):
                told_at = max(told_at, looked)
            assert looked - told_at <= TOLD_BY_S
            looked += 30.0
        if isinstance(word, str):
            core.hear("brooder/porch/floor", word.encode(), moment(at))
        else:
            set_by_s += word
            core.clock_jumped(moment(at), word)
