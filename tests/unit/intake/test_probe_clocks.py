"""A probe whose own clock is behind: found by its stamps, and its readings set right by it."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count, product
from random import Random

import pytest
from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_site

from monitor.events import CameLate, Moment
from monitor.intake.probe_clocks import LEAST_S, ProbeClocks
from monitor.service.core import Core
from monitor.tell.contact import Contact
from monitor.tell.message import Message

WARM_C, COLD_C = 34.0, 26.0


class Porch:
    """One floor probe that stamps what it says; `t`: seconds since the evening."""

    def __init__(self) -> None:
        box = a_brooder()
        floor = replace(box.probes[0], value_pointer="/temperature", time_pointer="/taken")
        self.t = 0.0
        self.core = Core(
            a_site(replace(box, probes=(floor,))),
            self.now,
            contacts=(Contact(name="me", url="json://127.0.0.1:9/hook"),),
            next_entry_number=count(1).__next__,
        )
        self.core.enter(chicks_in(EVENING), self.now)

    @property
    def now(self) -> Moment:
        return Moment(EVENING + self.t, 1000.0 + self.t)

    def says(self, temp_c: float, *, stamps: list[float]) -> None:
        """Its words come now, with stamps of `t`."""
        for t in stamps:
            word = f'{{"temperature": {temp_c}, "taken": {EVENING + t:.3f}}}'
            self.core.hear("brooder/porch/floor", word.encode(), self.now)

    def goes_on(self, temp_c: float, for_s: float, *, behind_s: float) -> None:
        """A word each half minute, by a clock that is so far behind."""
        until = self.t + for_s
        while self.t < until:
            self.t += 30.0
            self.says(temp_c, stamps=[self.t - behind_s])

    @property
    def taken_late_s(self) -> float:
        """How long ago the latest reading was taken, as it is kept."""
        (probe,) = self.core.status(self.now).brooders[0].probes
        assert probe.at is not None
        return self.now.at - probe.at

    def told(self) -> list[Message]:
        return self.core.take(self.now).messages


@pytest.mark.parametrize("behind_s", [40.0, 200.0, 800.0])
def test_a_clock_that_is_behind_is_set_right_once_that_was_so_for_five_minutes(
    behind_s: float,
) -> None:
    porch = Porch()
    porch.goes_on(WARM_C, 240.0, behind_s=behind_s)
    assert porch.taken_late_s == behind_s
    porch.goes_on(WARM_C, 180.0, behind_s=behind_s)
    assert porch.taken_late_s == pytest.approx(0.0, abs=0.01)


def test_a_clock_that_is_put_right_is_believed_at_once() -> None:
    porch = Porch()
    porch.goes_on(WARM_C, 900.0, behind_s=200.0)
    porch.goes_on(WARM_C, 30.0, behind_s=0.0)
    assert porch.taken_late_s == pytest.approx(0.0, abs=0.01)
    porch.goes_on(WARM_C, 600.0, behind_s=0.0)
    porch.says(WARM_C, stamps=[porch.t - 25.0])
    assert porch.core.hearing.clocks.behind_s == {}


def test_a_probe_that_sends_packs_has_no_wrong_clock() -> None:
    porch = Porch()
    for _ in range(12):
        porch.t += 120.0
        porch.says(WARM_C, stamps=[porch.t - ago_s for ago_s in (90.0, 60.0, 30.0, 2.0)])
    assert porch.core.hearing.clocks.behind_s == {}


def test_a_store_that_is_emptied_by_and_by_is_no_wrong_clock() -> None:
    porch = Porch()
    porch.goes_on(WARM_C, 600.0, behind_s=0.0)
    porch.t += 840.0
    behind_s = 840.0
    while behind_s > 0.0:  # two words for each that it takes
        porch.goes_on(WARM_C, 30.0, behind_s=behind_s)
        behind_s -= 30.0
    assert porch.core.hearing.clocks.behind_s == {}


def test_a_store_that_pauses_while_it_is_emptied_is_hardly_ever_taken_for_a_clock() -> None:
    """Its lag goes up in few steps and down in many: of 100 words 25 were set right by it."""
    wrong = words = 0
    for store_s, every_s, quicker, in_a_row, pause_s in product(
        (300, 600, 850), (10, 30, 60), (1.5, 2.0, 5.0), (5, 10, 20), (30, 60, 120, 240)
    ):
        dice, clocks = Random(f"{store_s} {every_s} {quicker}"), ProbeClocks()
        came, stamp, said, taken = float(store_s), 0.0, 0, 0
        while stamp < came - 1.0 and said < 400:
            said += 1
            came += every_s / quicker * dice.uniform(0.5, 1.5)
            came += pause_s * dice.uniform(0.5, 1.5) if said % in_a_row == 0 else 0.0
            clocks.see(CameLate(came, came, "porch/floor", came - stamp))
            taken += "porch/floor" in clocks.behind_s
            stamp += every_s
        if stamp < came - 1.0:  # filled as quickly as it is emptied: as late for ever as a clock
            continue
        words, wrong = words + said, wrong + taken
    assert words > 10_000
    assert wrong / words < 0.03


# How long a message is on its way, s.
WAYS: dict[str, Callable[[Random], float]] = {
    "up to a minute": lambda dice: dice.uniform(0.0, 60.0),
    "up to a minute and a half": lambda dice: dice.uniform(0.0, 90.0),
    "up to three minutes": lambda dice: dice.uniform(0.0, 200.0),
    "up to ten minutes": lambda dice: dice.uniform(0.0, 600.0),
    "half a minute, by chance": lambda dice: dice.expovariate(1 / 30.0),
    "five minutes, by chance": lambda dice: dice.expovariate(1 / 300.0),
    "mostly none": lambda dice: dice.uniform(0.0, 300.0 if dice.random() < 0.1 else 3.0),
    "hardly ever none": lambda dice: dice.uniform(30.0, 300.0) if dice.random() < 0.8 else 1.0,
}


def heard(
    way: Callable[[Random], float], *, every_s: float, lost: float, behind_s: float, words: int
) -> Iterator[tuple[float, float]]:
    """After each word that came: when, and what its clock is taken to be behind."""
    dice, clocks = Random(f"{every_s} {lost}"), ProbeClocks()
    sent = [n * every_s for n in range(words) if dice.random() >= lost]
    for came, at in sorted((at + way(dice), at) for at in sent):
        clocks.see(CameLate(came, came, "porch/floor", came - at + behind_s))
        yield came, clocks.behind_s.get("porch/floor", 0.0)


@pytest.mark.parametrize("lost", [0.0, 0.1, 0.3])
@pytest.mark.parametrize("way", WAYS)
def test_a_way_of_random_delay_is_hardly_ever_taken_for_a_clock(way: str, lost: float) -> None:
    """Delays up to 200 s, a word each four minutes: for 76 in 100 of them a clock was behind."""
    for every_s in (10.0, 30.0, 60.0, 120.0, 240.0, 300.0):
        found = heard(WAYS[way], every_s=every_s, lost=lost, behind_s=0.0, words=2000)
        wrong = [behind_s > 0.0 for _, behind_s in found]
        assert sum(wrong) / len(wrong) < 0.01, every_s


@pytest.mark.parametrize("lost", [0.0, 0.3])
@pytest.mark.parametrize("way", [way for way in WAYS if way != "five minutes, by chance"])
@pytest.mark.parametrize("behind_s", [200.0, 600.0])
def test_a_clock_that_is_behind_is_found_whatever_the_way(
    way: str, lost: float, behind_s: float
) -> None:
    """By 40 words the shortest way is known well enough; not where the longest is seven times as
    long as the clock is behind."""
    for every_s in (10.0, 30.0, 60.0, 120.0, 240.0, 300.0):
        every = list(heard(WAYS[way], every_s=every_s, lost=lost, behind_s=behind_s, words=300))
        known = [came for came, found_s in every if abs(found_s - behind_s) <= 2 * LEAST_S]
        assert known, every_s
        if way in ("mostly none", "up to a minute"):
            assert known[0] <= max(600.0, 25 * every_s / (1.0 - lost))


def test_a_word_that_comes_again_and_again_says_nothing_of_a_clock() -> None:
    """As the broker has kept it, at each new connection: the probe may be dead since."""
    porch = Porch()
    porch.goes_on(WARM_C, 600.0, behind_s=0.0)
    last = porch.t
    porch.t += 100.0
    for _ in range(30):
        porch.t += 20.0
        porch.says(WARM_C, stamps=[last])
    assert porch.core.hearing.clocks.behind_s == {}
    assert porch.taken_late_s == porch.t - last


@pytest.mark.parametrize("every_s", [60.0, 240.0])
def test_a_clock_that_is_always_behind_by_the_same_is_known_by_its_third_word(
    every_s: float,
) -> None:
    found = heard(lambda _: 0.5, every_s=every_s, lost=0.0, behind_s=120.0, words=20)
    learnt = next(came for came, behind_s in found if behind_s > 0.0)
    assert learnt == pytest.approx(max(300.0, 2 * every_s), abs=1.0)


@pytest.mark.parametrize("behind_s", [0.0, 200.0, 800.0])
def test_nothing_is_told_as_having_begun_later_than_it_is_told(behind_s: float) -> None:
    """A message of 18:31 said that the floor was below the chill limit since 18:33."""
    porch = Porch()
    porch.goes_on(WARM_C, 3000.0, behind_s=behind_s)
    assert porch.told() == []
    began = porch.now.at
    porch.goes_on(COLD_C, 900.0, behind_s=behind_s)
    core = porch.core
    changes = core.waiting.changes
    assert changes
    for change in changes:
        assert began <= change.facts["since"] <= change.at
    messages = porch.told()
    assert messages
    for message in messages:
        assert began < message.at <= porch.now.at
